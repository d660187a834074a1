"""Pages of a run recorded on paper: marked, its scans, the comparison, and where it shows."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from gradation.models import Run
from gradation.policy import Role
from gradation.services import clock, transcribing
from tests import factories, paper_runs


@pytest.fixture
def laboratory(db):
    return factories.make_laboratory()


@pytest.fixture
def technician(laboratory):
    return factories.technician()


@pytest.fixture
def reviewer(laboratory):
    return factories.reviewer()


def page_of(client, name, *keys):
    return client.get(reverse(name, args=keys)).content.decode()


def link_to(name, run):
    return f'href="{reverse(name, args=[run.pk])}"'


def uploaded(content=paper_runs.PICTURE):
    return SimpleUploadedFile("sheet.png", content, "application/x-whatever")


@pytest.fixture
def second(laboratory):
    return factories.make_person(Role.TECHNICIAN)


def test_r50_run_is_marked_on_its_page_while_nothing_is_weighed(client, technician):
    run = factories.make_run(technician)
    client.force_login(technician)
    assert link_to("bench:paper-mark", run) in page_of(client, "bench:run-weigh", run.pk)

    answer = client.post(
        reverse("bench:paper-mark", args=[run.pk]),
        {
            "performed_on": clock.today().isoformat(),
            "performed_by": technician.pk,
            "reason": "Power cut.",
            "file": uploaded(),
        },
    )

    assert answer.status_code == 302
    shown = page_of(client, "bench:run-weigh", run.pk)
    assert "from paper" in shown
    assert "sheet.png" in shown
    assert link_to("bench:paper-mark", run) not in shown


def test_r50_page_of_a_run_with_readings_offers_no_mark(client, technician):
    run = factories.make_run(technician)
    factories.weigh(run)
    client.force_login(technician)

    shown = page_of(client, "bench:run-weigh", run.pk)

    assert link_to("bench:paper-mark", run) not in shown


def test_r50_what_is_no_scan_is_refused_beside_its_field(client, technician):
    run = factories.make_run(technician)
    client.force_login(technician)

    answer = client.post(
        reverse("bench:paper-mark", args=[run.pk]),
        {
            "performed_on": clock.today().isoformat(),
            "performed_by": technician.pk,
            "reason": "Power cut.",
            "file": uploaded(b"\x00\x01"),
        },
    )

    assert answer.status_code == 422
    assert "Only PDF, PNG, JPEG" in answer.context["form"].errors["file"][0]


def test_r50_second_person_compares_beside_the_scan(client, technician, second):
    run = paper_runs.make_typed_run(technician)
    client.force_login(second)
    address = reverse("bench:paper-compare", args=[run.pk])
    assert address in page_of(client, "bench:run-weigh", run.pk)

    shown = page_of(client, "bench:paper-compare", run.pk)
    picture = reverse("bench:scan-picture", args=[run.pk, run.transcription.scans.get().pk])
    assert f'<img src="{picture}"' in shown
    refused = client.post(address, {"agrees": "differs", "note": ""})
    assert refused.status_code == 422
    answer = client.post(address, {"agrees": "agrees", "note": ""})

    assert answer.status_code == 302
    assert "agrees" in page_of(client, "bench:run-weigh", run.pk)
    assert run.transcription.comparisons.get().made_by == second


def test_r50_who_typed_is_told_that_somebody_else_compares(client, technician):
    run = paper_runs.make_typed_run(technician)
    client.force_login(technician)

    assert "Somebody else compares it" in page_of(client, "bench:paper-compare", run.pk)


def test_r50_review_shows_the_paper_and_refuses_until_it_is_compared(client, technician, reviewer):
    run = paper_runs.make_typed_run(technician)
    client.force_login(reviewer)
    assert "not compared with its paper" in page_of(client, "review:run-queue")

    shown = page_of(client, "review:run-review", run.pk)
    assert reverse("bench:paper-compare", args=[run.pk]) in shown
    asked = {
        "version": Run.objects.get(pk=run.pk).version,
        "seen": 10_000,
        "answer": "accept",
        "went_through": "on",
    }
    refused = client.post(reverse("review:run-review", args=[run.pk]), asked)
    transcribing.compare_with_paper(actor=reviewer, run=run, agrees=True)
    accepted = client.post(reverse("review:run-review", args=[run.pk]), asked)

    assert refused.status_code == 422
    assert "nobody has compared it with the paper" in refused.content.decode()
    assert accepted.status_code == 302
    assert Run.objects.get(pk=run.pk).state == Run.State.ACCEPTED


def test_r50_scan_leaves_as_it_came_and_is_shown_as_a_picture_only(client, technician):
    run = paper_runs.make_paper_run(technician)
    text = transcribing.ScanGiven("<b>back.txt", b"<script>alert(1)</script>")
    note = transcribing.add_scan(actor=technician, run=run, scan=text)
    picture = run.transcription.scans.get(name="sheet.png")
    client.force_login(technician)

    given = client.get(reverse("bench:scan-show", args=[run.pk, note.pk]))
    shown = client.get(reverse("bench:scan-picture", args=[run.pk, picture.pk]))
    no_picture = client.get(reverse("bench:scan-picture", args=[run.pk, note.pk]))

    assert given.content == b"<script>alert(1)</script>"
    assert given["Content-Type"] == "application/octet-stream"
    assert given["Content-Disposition"].startswith("attachment;")
    assert (shown.content, shown["Content-Type"]) == (paper_runs.PICTURE, "image/png")
    for answer in (given, shown):
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert no_picture.status_code == 404


def test_r50_customer_sees_no_scan_and_a_scan_of_another_run_is_not_there(client, technician):
    run = paper_runs.make_paper_run(technician)
    other = paper_runs.make_paper_run(technician)
    scan = run.transcription.scans.get()
    customer = factories.make_person(Role.CUSTOMER, customer=run.portion.sample.customer)

    client.force_login(customer)
    assert client.get(reverse("bench:scan-show", args=[run.pk, scan.pk])).status_code == 403
    assert "sheet.png" not in page_of(client, "bench:run-weigh", run.pk)
    client.force_login(technician)
    assert client.get(reverse("bench:scan-show", args=[other.pk, scan.pk])).status_code == 404


def test_r50_lists_of_runs_mark_those_from_paper(client, technician):
    run = paper_runs.make_paper_run(technician)
    factories.make_run(technician)
    client.force_login(technician)

    assert page_of(client, "bench:run-queue").count("state--paper") == 1
    number = run.portion.sample.number
    assert page_of(client, "intake:sample-show", number).count("state--paper") == 1
