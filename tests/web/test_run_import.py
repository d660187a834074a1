"""The pages of an import: from a form and a table to runs that wait for review."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from gradation.models import Run, RunImport, SheetForm
from tests import factories

ROW = "T-1;2026-02-03;I. Orre;500;50;150;200;100;"
FAULTY = "T-2;2026-02-31;I. Orre;500;50;150;twenty;100;"


def upload(*rows):
    return SimpleUploadedFile("tarnholt.csv", factories.runs_table(*rows), "text/csv")


def until_done(client, job):
    """Ask for the progress as the page does, until the work has ended."""
    for _ in range(400):
        job.refresh_from_db()
        if not job.is_busy:
            return client.get(reverse("bench:import-show", args=[job.pk])).content.decode()
        client.get(reverse("bench:import-progress", args=[job.pk]))
    pytest.fail(f"the work did not end: {job.state}")


@pytest.mark.django_db(transaction=True)
def test_table_is_given_in_looked_through_and_taken_in(client):
    clerk = factories.technician()
    form = factories.make_sheet_form(clerk)
    client.force_login(clerk)

    client.post(reverse("bench:import-give"), {"form": form.pk, "file": upload(ROW)})
    job = RunImport.objects.get()
    client.post(reverse("bench:import-look", args=[job.pk]))
    looked = until_done(client, job)
    client.post(reverse("bench:import-take-in", args=[job.pk]), {"way": "all or nothing"})
    taken = until_done(client, job)

    assert "Every row can be taken in." in looked
    assert "1 run came in and waits for" in taken
    assert Run.objects.get().run_import == job


@pytest.mark.django_db(transaction=True)
def test_faulty_rows_are_shown_by_row_and_column(client):
    clerk = factories.technician()
    form = factories.make_sheet_form(clerk)
    client.force_login(clerk)

    client.post(reverse("bench:import-give"), {"form": form.pk, "file": upload(ROW, FAULTY)})
    job = RunImport.objects.get()
    client.post(reverse("bench:import-look", args=[job.pk]))
    shown = until_done(client, job)

    assert "1 of 2 rows is faulty." in shown
    assert "250 µm" in shown
    assert "Take all" not in shown


@pytest.mark.django_db
def test_headings_of_a_table_are_given_their_meaning_before_a_form_is_kept(client):
    clerk, other = factories.technician(), factories.make_sheet_form()
    client.force_login(clerk)
    told = {
        "name": "Kiln sands",
        "customer": other.customer_id,
        "material": other.material_id,
        "bench": other.bench_id,
        "nest": other.nest_id,
        "unit": "g",
    }

    asked = client.post(reverse("bench:sheet-form-add"), {**told, "file": upload(ROW)})
    seen = asked.context["form"]
    filled = {name: seen[name].value() or "" for name in seen.columns}
    headings = seen["headings"].value()
    client.post(reverse("bench:sheet-form-add"), {**told, **filled, "headings": headings})

    kept = SheetForm.objects.get(name="Kiln sands")
    assert kept.columns == other.columns
    assert "Remarks" in asked.content.decode()


@pytest.mark.django_db
def test_column_without_which_there_is_no_run_is_named(client):
    form = factories.make_sheet_form()
    client.force_login(factories.technician())
    address = reverse("bench:sheet-form-change", args=[form.pk])
    page = client.get(address).context["form"]
    filled = {name: page[name].value() or "" for name in page.fields if name != "file"}
    pan = next(name for name, heading in page.columns.items() if heading == "Pan")

    answer = client.post(address, {**filled, pan: ""})

    assert answer.status_code == 422
    assert "No column means pan; it is needed." in answer.content.decode()


@pytest.mark.django_db
def test_list_says_what_to_do_first(client):
    client.force_login(factories.technician())

    answer = client.get(reverse("bench:import-list"))

    assert "Describe first, in a form" in answer.content.decode()
