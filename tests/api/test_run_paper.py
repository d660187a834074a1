"""A run recorded on paper through the interface: marked, its scans, compared by a second person."""

import base64
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import Run
from gradation.policy import Role
from gradation.services import clock
from tests import factories, paper_runs

SCAN = {"name": "sheet.png", "file_base64": base64.b64encode(paper_runs.PICTURE).decode()}


@pytest.fixture
def technician(db):
    return factories.technician()


@pytest.fixture
def reviewer(db):
    return factories.reviewer()


def send(client, name, run, body, seen=""):
    headers = {"Idempotency-Key": str(uuid4())} | ({"If-Match": seen} if seen else {})
    at = reverse(f"api:{name}", args=[run.pk])
    return client.post(at, body, content_type="application/json", headers=headers)


def code_of(answer):
    return answer.json()["type"].rpartition(":")[2]


def tag(client, name, run):
    return client.get(reverse(f"api:{name}", args=[run.pk]))["ETag"]


@pytest.fixture
def paper(technician):
    return {
        **SCAN,
        "performed_on": clock.today().isoformat(),
        "performed_by": technician.username,
        "reason": "Power cut.",
    }


def test_r50_run_is_marked_with_its_scan(client, technician, paper):
    run = factories.make_run(technician)
    client.force_login(technician)
    at = reverse("api:run-paper", args=[run.pk])
    assert client.get(at).status_code == 404

    made = send(client, "run-paper", run, paper, tag(client, "run", run))

    assert made.status_code == 201
    assert made.json()["performed_on"] == paper["performed_on"]
    told = client.get(at).json()
    assert (told["performed_by"], told["reason"]) == (technician.username, "Power cut.")
    assert [(scan["name"], scan["media_type"]) for scan in told["scans"]] == [
        ("sheet.png", "image/png")
    ]
    assert told["is_compared"] is False
    one = client.get(reverse("api:run-scan", args=[run.pk, told["scans"][0]["id"]]))
    assert one.content == paper_runs.PICTURE
    assert one["Content-Disposition"].startswith("attachment;")


def test_r50_readings_sent_to_such_a_run_come_from_paper(client, technician):
    run = paper_runs.make_paper_run(technician)
    client.force_login(technician)
    body = {"key": str(uuid4()), "slot": "dry mass", "text": "500"}

    kept = client.post(
        reverse("api:run-weighings", args=[run.pk]), body, content_type="application/json"
    )

    assert kept.json()["source"] == "paper"


def test_r50_unknown_worker_and_missing_scan_are_named(client, technician, paper):
    run = factories.make_run(technician)
    client.force_login(technician)
    seen = tag(client, "run", run)

    nobody = send(client, "run-paper", run, {**paper, "performed_by": "nobody"}, seen)
    bare = {name: value for name, value in paper.items() if name != "file_base64"}
    without = send(client, "run-paper", run, bare, seen)

    assert nobody.status_code == 422
    assert [fault["code"] for fault in nobody.json()["errors"]] == ["unknown-person"]
    assert without.status_code == 400


def test_r50_second_person_compares_what_it_saw(client, technician):
    run = paper_runs.make_typed_run(technician)
    client.force_login(factories.make_person(Role.TECHNICIAN))
    seen = tag(client, "run-paper", run)

    bare = send(client, "run-comparisons", run, {"agrees": True})
    made = send(client, "run-comparisons", run, {"agrees": True}, seen)

    assert bare.status_code == 428
    assert made.status_code == 201
    assert made.json()["is_compared"] is True
    (one,) = made.json()["comparisons"]
    assert one["compared_sha256"] == made.json()["sha256"]


def test_r50_typist_compares_nothing_and_the_run_is_not_accepted(client, technician, reviewer):
    run = paper_runs.make_typed_run(technician)
    client.force_login(technician)
    own = send(client, "run-comparisons", run, {"agrees": True}, tag(client, "run-paper", run))
    client.force_login(reviewer)
    accepted = send(client, "run-accept", run, {}, tag(client, "run", run))

    assert (own.status_code, code_of(own)) == (403, "second-person")
    assert (accepted.status_code, code_of(accepted)) == (409, "paper-not-compared")
    assert Run.objects.get(pk=run.pk).state == Run.State.WEIGHED


def test_r50_further_page_is_added(client, technician):
    run = paper_runs.make_paper_run(technician)
    client.force_login(technician)
    page = {"name": "back.txt", "file_base64": base64.b64encode(b"pan 20.0 g").decode()}

    made = send(client, "run-scans", run, page)
    again = send(client, "run-scans", run, page)

    assert [scan["name"] for scan in made.json()["scans"]] == ["sheet.png", "back.txt"]
    assert (again.status_code, code_of(again)) == (409, "attached-already")


def test_r50_customer_sees_no_paper(client, technician):
    run = paper_runs.make_paper_run(technician)
    customer = factories.make_person(Role.CUSTOMER, customer=run.portion.sample.customer)
    client.force_login(customer)

    assert client.get(reverse("api:run-paper", args=[run.pk])).status_code == 403
    scan = run.transcription.scans.get()
    assert client.get(reverse("api:run-scan", args=[run.pk, scan.pk])).status_code == 403
