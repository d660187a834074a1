"""Runs recorded elsewhere: looked through first, taken in whole or without the faulty rows."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    ChainHead,
    LedgerEntry,
    Run,
    RunImport,
    Sample,
    SheetForm,
    Sieve,
    Stage,
    Weighing,
)
from gradation.policy import Role
from gradation.queries.run_checks import findings, review_findings
from gradation.services import run_import
from gradation.services.ledger import digest_of
from gradation.services.run_sheet_rows import guess_columns
from tests import factories

pytestmark = pytest.mark.django_db

#: 500 g: 50 + 150 + 200 + 100, so that 90, 60 and 20 % pass.
SOUND = "T-1;2026-02-03;I. Orre;500;50;150;200;100;"
FAULTY = "T-2;2026-02-31;I. Orre;500;50;150;twenty;100;"


@pytest.fixture
def clerk():
    return factories.technician()


@pytest.fixture
def form(clerk):
    return factories.make_sheet_form(clerk)


def given(clerk, form, *rows):
    return run_import.add_table(
        actor=clerk, form=form, file=factories.runs_table(*rows), name="tarnholt.csv"
    )


def looked(clerk, form, *rows):
    return run_import.look_through(actor=clerk, job=given(clerk, form, *rows))


def test_headings_say_what_the_columns_mean():
    columns = guess_columns(["Sample No", "Date tested", "63 µm", "No. 200", "Pan", "Colour"])

    assert columns == {
        "Sample No": "sample",
        "Date tested": "tested_on",
        "63 µm": "fraction:63",
        "No. 200": "fraction:75",  # ASTM E11: No. 200 is 75 µm
        "Pan": "pan",
    }


def test_looking_through_changes_nothing_but_says_what_would_be(clerk, form):
    job = looked(clerk, form, SOUND, FAULTY)

    assert (job.state, job.rows_total, job.rows_faulty) == ("looked through", 2, 1)
    assert [fault[:2] for fault in job.faults] == [[3, "250 µm"], [3, "Date"]]
    assert not Run.objects.exists()
    assert not Sample.objects.exists()


def test_runs_come_in_with_their_readings_and_wait_for_review(clerk, form):
    job = looked(clerk, form, SOUND)

    job = run_import.take_in(actor=clerk, job=job, way=RunImport.Way.ALL)

    run = Run.objects.get()
    assert (job.state, job.rows_stored) == ("taken in", 1)
    assert run.state == Run.State.WEIGHED
    assert run.portion.sample.customer_reference == "T-1"
    assert f"{run.opened_at:%Y-%m-%d}" == "2026-02-03"
    assert "I. Orre" in run.deviations
    assert set(run.weighings.values_list("source", flat=True)) == {Weighing.Source.IMPORT}
    curve = run.results.get().curve
    assert [Decimal(str(passing)) for _, passing in curve] == [90, 60, 20]


def test_every_new_thing_has_one_entry_in_a_whole_chain(clerk, form):
    run_import.take_in(actor=clerk, job=looked(clerk, form, SOUND), way=RunImport.Way.ALL)

    entries = LedgerEntry.objects.filter(chain__startswith="sample/").order_by("sequence")
    acts = [entry.action for entry in entries]
    assert acts == ["sample logged", "portion prepared", "run imported"]
    assert entries[2].after["readings"]["4000 µm"] == "50"
    assert entries[2].previous_digest == entries[1].digest
    assert all(digest_of(entry) == entry.digest for entry in entries)
    assert ChainHead.objects.get(chain=entries[0].chain).digest == entries[2].digest


def test_day_in_the_future_is_named_with_its_column(clerk, form):
    job = looked(clerk, form, SOUND.replace("2026-02-03", "2926-02-03"))

    row, column, said = job.faults[0]
    assert (row, column) == (2, "Date")
    assert "03 Feb 2926 lies in the future" in said


def test_a_long_transaction_lets_the_database_count_what_it_wrote(clerk, form, monkeypatch):
    """PostgreSQL plans by counts that see nothing of a transaction before it ends (ANALYZE)."""
    job = looked(clerk, form, SOUND)
    monkeypatch.setattr(run_import, "FIRST_COUNTED", 1)

    with CaptureQueriesContext(connection) as asked:
        run_import.take_in(actor=clerk, job=job, way=run_import.Way.ALL)

    counted = [each["sql"] for each in asked if each["sql"].startswith("ANALYZE")]
    if connection.vendor != "postgresql":
        assert counted == []
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'gradation_weighing'")
        assert cursor.fetchone() == (Weighing.objects.count(),)
    assert len(counted) == len(set(counted))


def test_faulty_row_lets_nothing_in_where_all_or_nothing_is_asked(clerk, form):
    job = looked(clerk, form, SOUND, FAULTY)

    with pytest.raises(Conflict, match="1 row is faulty"):
        run_import.take_in(actor=clerk, job=job, way=RunImport.Way.ALL)

    assert not Run.objects.exists()


def test_faulty_rows_are_left_out_where_that_is_asked(clerk, form):
    job = looked(clerk, form, SOUND, FAULTY, SOUND.replace("T-1", "T-3"))

    job = run_import.take_in(actor=clerk, job=job, way=RunImport.Way.SOUND)

    assert (job.rows_stored, job.rows_faulty) == (2, 1)
    references = Sample.objects.order_by("id").values_list("customer_reference", flat=True)
    assert list(references) == ["T-1", "T-3"]


def test_row_that_cannot_be_computed_is_named_and_the_others_come_in(clerk, form):
    nothing = "T-4;2026-02-03;I. Orre;0;0;0;0;0;"

    job = looked(clerk, form, SOUND, nothing)
    job = run_import.take_in(actor=clerk, job=job, way=RunImport.Way.SOUND)

    assert (job.rows_stored, job.rows_faulty) == (1, 1)
    assert job.faults[0][0] == 3


def test_f19_same_file_is_refused_with_the_import_that_holds_it(clerk, form):
    run_import.take_in(actor=clerk, job=looked(clerk, form, SOUND), way=RunImport.Way.ALL)

    with pytest.raises(Conflict, match=r"taken in before, as tarnholt\.csv"):
        given(clerk, form, SOUND)


def test_r89_import_that_died_with_its_server_goes_on_without_repeating(clerk, form):
    rows = [SOUND.replace("T-1", f"T-{n}") for n in range(1, 6)]
    job = looked(clerk, form, *rows)
    run_import.take_in(actor=clerk, job=job, way=RunImport.Way.SOUND)
    # As a server leaves it that died after the second row: state and count, three runs not there.
    RunImport.objects.filter(pk=job.pk).update(
        state="taking in", rows_done=5, rows_stored=5, beat_at=factories.NOW
    )

    job = run_import.take_in(actor=clerk, job=job, way=RunImport.Way.SOUND)

    assert job.rows_stored == 5
    assert Run.objects.count() == 5


def test_masses_in_kilograms_are_kept_in_grams_with_what_was_written(clerk, form):
    form.unit = SheetForm.Unit.KILOGRAM
    run_import.change_sheet_form(actor=clerk, form=form)
    kilos = "T-1;2026-02-03;I. Orre;0,5;0,05;0,15;0,2;0,1;"

    run_import.take_in(actor=clerk, job=looked(clerk, form, kilos), way=RunImport.Way.ALL)

    dry = Weighing.objects.get(slot="dry mass")
    assert (dry.mass_g, dry.entered_text) == (Decimal(500), "0,5")


def test_form_is_refused_that_reads_a_size_the_nest_has_not(clerk, form):
    form.columns = {**form.columns, "2 mm": "fraction:2000"}

    with pytest.raises(Invalid, match=r"has no sieve of 2 mm"):
        run_import.change_sheet_form(actor=clerk, form=form)


def test_row_names_a_sample_that_is_here(clerk, form):
    sample = factories.make_sample(clerk, material=form.material)
    form.columns = {**form.columns, "Reference": "sample"}
    run_import.change_sheet_form(actor=clerk, form=form)
    row = SOUND.replace("T-1", sample.number)

    run_import.take_in(actor=clerk, job=looked(clerk, form, row), way=RunImport.Way.ALL)

    assert Run.objects.get().portion.sample == sample


def take_out(form, day):
    """Take the middle sieve of the nest out of service on a day."""
    sieve = form.nest.places.get(position=2).sieve
    Sieve.objects.filter(pk=sieve.pk).update(
        state="out of service", state_since=day, state_reason="torn cloth"
    )
    return sieve


def test_row_is_refused_whose_sieve_was_out_of_service_on_the_day(clerk, form):
    sieve = take_out(form, "2026-01-15")

    job = looked(clerk, form, SOUND)

    assert job.rows_faulty == 1
    row, _, said = job.faults[0]
    assert row == 2
    assert f"Sieve {sieve} is out of service since 15 Jan 2026: torn cloth" in said


def test_sieve_that_left_service_after_the_day_keeps_no_run_out(clerk, form):
    take_out(form, "2026-02-10")

    job = looked(clerk, form, SOUND)

    assert (job.rows_faulty, job.faults) == (0, [])


def test_sieve_that_stands_in_an_open_run_keeps_no_run_out(clerk, form):
    factories.make_run(
        actor=clerk,
        sample=factories.make_sample(clerk, material=form.material),
        sieves=[place.sieve for place in form.nest.places.order_by("position")],
    )

    job = looked(clerk, form, SOUND)

    assert job.rows_faulty == 0


def test_nest_that_lacks_a_sieve_of_the_procedure_lets_nothing_in(clerk, form):
    form.nest.places.get(position=2).delete()
    form.columns = {name: what for name, what in form.columns.items() if what != "fraction:1000"}
    run_import.change_sheet_form(actor=clerk, form=form)

    job = looked(clerk, form, SOUND)

    assert "asks for sizes that are missing: 1 mm" in job.faults[0][2]
    assert job.rows_faulty == 1


def test_what_the_checks_find_is_kept_with_the_run_and_in_its_ledger(clerk, form):
    # 500 g went in, 490 g came out: 2 % missing, above the procedure's limit of 1 %.
    loss = "T-5;2026-02-03;I. Orre;500;50;150;200;90;"

    run_import.take_in(actor=clerk, job=looked(clerk, form, loss), way=RunImport.Way.ALL)

    run = Run.objects.get()
    kept = {(row.stage, row.code): row.severity for row in run.check_findings.all()}
    assert kept["hand-over", "loss-over-limit"] == "reason"
    assert kept["opening", "not-competent"] == "note"
    assert not run.check_answers.exists()
    entry = LedgerEntry.objects.get(action="run imported")
    assert "14 loss-over-limit: reason" in entry.after["findings"]
    assert entry.after["deviations"] == run.deviations


def test_reviewer_sees_what_was_found_in_a_run_recorded_elsewhere(clerk, form):
    loss = "T-5;2026-02-03;I. Orre;500;50;150;200;90;"
    run_import.take_in(actor=clerk, job=looked(clerk, form, loss), way=RunImport.Way.ALL)

    found = review_findings(Run.objects.get(), factories.reviewer())

    assert "loss-over-limit" in {each.code for each in found if each.is_open}
    assert "impossible-time" not in {each.code for each in found}, "it came in late by nature"


def test_auditor_takes_nothing_in(form):
    with pytest.raises(NotAllowed):
        run_import.add_table(
            actor=factories.make_person(Role.AUDITOR),
            form=form,
            file=factories.runs_table(SOUND),
            name="t.csv",
        )


def of_other_days(samples, count):
    """Give rows that share little: each of another day, for another sample that is here."""
    days = (date(2026, 1, 5) + timedelta(days=n) for n in range(count))
    return [
        SOUND.replace("T-1", sample.number).replace("2026-02-03", f"{day:%Y-%m-%d}")
        for sample, day in zip(samples, days, strict=False)
    ]


def test_f13_number_of_queries_does_not_grow_with_the_rows(clerk, form):
    form.columns = {**form.columns, "Reference": "sample"}
    run_import.change_sheet_form(actor=clerk, form=form)
    samples = [factories.make_sample(clerk, material=form.material) for _ in range(24)]
    few = given(clerk, form, *of_other_days(samples, 8))
    many = given(clerk, form, *of_other_days(samples, 24))

    with CaptureQueriesContext(connection) as of_few:
        run_import.look_through(actor=clerk, job=few)
    with CaptureQueriesContext(connection) as of_many:
        run_import.look_through(actor=clerk, job=many)

    # 16 rows more; SQLite takes the portions and the runs of 24 rows in one statement more each.
    assert len(of_many) - len(of_few) <= 3
    assert len(of_many) <= 75


def test_many_runs_are_asked_the_same_as_one_alone(clerk, form):
    # 500 g went in, 490 g came out; 20 % of the first run and 40 % of the second pass 250 µm.
    rows = ["T-5;2026-02-03;I. Orre;500;50;150;200;90;", "T-6;2026-02-04;I. Orre;500;0;0;300;200;"]
    run_import.take_in(actor=clerk, job=looked(clerk, form, *rows), way=RunImport.Way.ALL)

    for run in Run.objects.order_by("pk"):
        kept = run.check_findings.filter(stage=Stage.HAND_OVER)
        alone = findings(run, Stage.HAND_OVER)
        assert {(row.code, row.sentence) for row in kept} == {
            (each.code, each.sentence) for each in alone
        }


def test_determinations_of_one_sample_in_one_table_are_compared(clerk):
    # The procedure allows 1 % between determinations; 20 and 40 % pass 250 µm.
    procedure = factories.make_procedure(apertures_um=(4000, 1000, 250), repeatability_limit=1)
    form = factories.make_sheet_form(
        clerk,
        material=factories.make_material(procedure),
        nest=factories.make_nest(procedure),
    )
    form.columns = {**form.columns, "Reference": "sample"}
    run_import.change_sheet_form(actor=clerk, form=form)
    sample = factories.make_sample(clerk, material=form.material)
    rows = [
        f"{sample.number};2026-02-03;I. Orre;500;50;150;200;100;",
        f"{sample.number};2026-02-04;I. Orre;500;50;150;100;200;",
    ]

    run_import.take_in(actor=clerk, job=looked(clerk, form, *rows), way=RunImport.Way.ALL)

    codes = [
        set(run.check_findings.values_list("code", flat=True)) for run in Run.objects.order_by("pk")
    ]
    assert all("not-repeatable" in each for each in codes)
