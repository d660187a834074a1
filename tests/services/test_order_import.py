"""Orders from another system: looked through first, then logged whole or without faulty rows."""

import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import LedgerEntry, RunImport, Sample, SheetForm
from gradation.policy import Role
from gradation.services import intake, run_import
from gradation.services.ledger import digest_of
from tests import factories

pytestmark = pytest.mark.django_db

SOUND = "A-1;Tarnholt Quarry;Sand 0/4;North face;L 7;2026-02-02;2026-02-03;12,5;2026-02-20;wet"


@pytest.fixture
def clerk():
    return factories.technician()


@pytest.fixture
def form(clerk):
    customer = factories.make_customer(name="Tarnholt Quarry")
    factories.make_source(customer, name="North face")
    factories.make_material(factories.make_procedure(), name="Sand 0/4")
    return factories.make_order_form(clerk)


def given(clerk, form, *rows):
    file = factories.orders_table(*rows)
    return run_import.add_table(actor=clerk, form=form, file=file, name="orders.csv")


def looked(clerk, form, *rows):
    return run_import.look_through(actor=clerk, job=given(clerk, form, *rows))


def taken(clerk, form, *rows, way=RunImport.Way.ALL):
    return run_import.take_in(actor=clerk, job=looked(clerk, form, *rows), way=way)


def test_order_becomes_a_logged_sample_with_all_that_its_row_says(clerk, form):
    job = taken(clerk, form, SOUND)

    sample = Sample.objects.get()
    assert (job.state, job.rows_stored, job.rows_faulty) == ("taken in", 1, 0)
    assert sample.state == Sample.State.LOGGED
    assert sample.number == "26-0001"
    assert (str(sample.customer), str(sample.material)) == ("Tarnholt Quarry", "Sand 0/4")
    assert sample.source.name == "North face"
    assert (sample.customer_reference, sample.lot) == ("A-1", "L 7")
    assert sample.description == "wet"
    assert sample.sampled_at.date() == date(2026, 2, 2)
    assert sample.received_at.date() == date(2026, 2, 3)
    assert sample.mass_received_g == Decimal(12_500)  # 12.5 kg
    assert sample.due_on == date(2026, 2, 20)
    assert sample.procedure_version is not None
    assert (sample.order_import, sample.import_row) == (job, 2)


def test_sample_of_an_order_is_as_one_that_a_person_logs(clerk, form):
    taken(clerk, form, SOUND)
    ordered = Sample.objects.get()

    typed = intake.log_sample(
        actor=clerk,
        delivery=intake.Delivery(
            customer=ordered.customer,
            material=ordered.material,
            source=ordered.source,
            condition="not stated",
            lot="L 7",
            customer_reference="A-1",
            description="wet",
            sampled_at=ordered.sampled_at,
            received_at=ordered.received_at,
            mass_received_g=Decimal(12_500),
            due_on=date(2026, 2, 20),
        ),
    )

    typed.refresh_from_db()
    own = {"id", "number", "search_text", "order_import_id", "import_row"}
    names = {field.attname for field in Sample._meta.concrete_fields} - own
    assert {name: getattr(ordered, name) for name in names} == {
        name: getattr(typed, name) for name in names
    }


def test_every_sample_has_one_entry_in_a_whole_chain(clerk, form):
    taken(clerk, form, SOUND, SOUND.replace("A-1", "A-2"))

    entries = LedgerEntry.objects.filter(chain__startswith="sample/")
    assert [entry.action for entry in entries] == ["sample logged"] * 2
    assert all(digest_of(entry) == entry.digest for entry in entries)


def test_looking_through_changes_nothing_and_uses_no_number(clerk, form):
    job = looked(clerk, form, SOUND)

    assert (job.state, job.rows_faulty) == ("looked through", 0)
    assert not Sample.objects.exists()
    taken(clerk, form, SOUND.replace("A-1", "A-9"))
    assert Sample.objects.get().number == "26-0001"


@pytest.mark.parametrize(
    ("old", "new", "column", "said"),
    [
        ("Tarnholt Quarry", "Nobody", "Client", "There is no customer 'Nobody'."),
        ("Sand 0/4", "", "Product", "The material is missing"),
        ("North face", "South face", "Pit", "There is no source 'South face' of this customer."),
        ("2026-02-02", "2026-02-05", "Sampled", "taken after it was received"),
        ("2026-02-03", "3 Feb", "Received", "'3 Feb' is no date."),
        ("2026-02-03", "2036-02-03", "Received", "lies in the future"),
        ("12,5", "0", "Mass", "must be above zero"),
        ("12,5", "1.2.3", "Mass", "1.2.3"),
        ("L 7", "L" * 121, "Batch", "120"),
    ],
)
def test_fault_names_its_row_and_column(clerk, form, old, new, column, said):
    job = looked(clerk, form, SOUND, SOUND.replace("A-1", "A-2").replace(old, new, 1))

    assert job.rows_faulty == 1
    row, heading, message = job.faults[0]
    assert (row, heading) == (3, column)
    assert said in message


def test_row_that_names_no_order_is_faulty(clerk, form):
    job = looked(clerk, form, SOUND.replace("A-1", "").replace("L 7", ""))

    assert job.faults == [[2, "", "Nothing in the row names the order."]]


def test_faulty_row_lets_nothing_in_where_all_or_nothing_is_asked(clerk, form):
    with pytest.raises(Conflict, match="1 row is faulty"):
        taken(clerk, form, SOUND, SOUND.replace("Tarnholt", "Nobody"))

    assert not Sample.objects.exists()


def test_faulty_rows_are_left_out_where_that_is_asked(clerk, form):
    wrong = SOUND.replace("Tarnholt", "Nobody")

    job = taken(clerk, form, SOUND, wrong, SOUND.replace("A-1", "A-3"), way=RunImport.Way.SOUND)

    assert (job.rows_stored, job.rows_faulty) == (2, 1)
    rows = job.samples.order_by("import_row").values_list("import_row", "customer_reference")
    assert list(rows) == [(2, "A-1"), (4, "A-3")]


def test_order_that_stands_in_the_table_twice_is_faulty(clerk, form):
    job = looked(clerk, form, SOUND, SOUND)

    assert job.faults == [[3, "", "The same order stands in row 2."]]


def test_order_on_record_is_not_logged_again_out_of_a_mended_table(clerk, form):
    taken(clerk, form, SOUND)

    job = looked(clerk, form, SOUND, SOUND.replace("A-1", "A-2"))

    assert job.faults == [[2, "", "This order is on record as sample 26-0001."]]


def test_customer_and_material_of_the_form_stand_where_no_column_says_so(clerk, form):
    one = factories.make_order_form(
        clerk,
        customer=factories.make_customer(name="Brook Works"),
        material=factories.make_material(factories.make_procedure(), name="Grit 2/5"),
        columns={"No": "customer_reference"},
    )
    job = run_import.add_table(actor=clerk, form=one, file=b"No;Colour\n17;red", name="b.csv")

    run_import.take_in(
        actor=clerk, job=run_import.look_through(actor=clerk, job=job), way=RunImport.Way.ALL
    )

    sample = Sample.objects.get()
    assert (str(sample.customer), str(sample.material)) == ("Brook Works", "Grit 2/5")


def test_workbook_is_read_as_the_same_table(clerk, form):
    book = openpyxl.Workbook()
    book.active.append(list(factories.ORDER_HEADINGS))
    book.active.append(
        [
            *("A-1", "Tarnholt Quarry", "Sand 0/4", "North face", "L 7"),
            *(date(2026, 2, 2), date(2026, 2, 3), 12.5, date(2026, 2, 20), "wet"),
        ]
    )
    file = io.BytesIO()
    book.save(file)
    job = run_import.add_table(actor=clerk, form=form, file=file.getvalue(), name="orders.xlsx")

    job = run_import.take_in(
        actor=clerk, job=run_import.look_through(actor=clerk, job=job), way=RunImport.Way.ALL
    )

    sample = job.samples.get()
    assert sample.mass_received_g == Decimal(12_500)
    assert sample.sampled_at.date() == date(2026, 2, 2)


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"Order": "customer_reference", "Client": "customer"}, "No column means the material"),
        ({"Client": "customer", "Product": "material"}, "No column names the order"),
        ({"A": "lot", "B": "lot", "C": "customer", "D": "material"}, "Two columns mean lot"),
        ({"A": "lot", "B": "colour", "C": "customer", "D": "material"}, "colour is nothing"),
    ],
)
def test_form_is_refused_from_which_no_order_comes(clerk, form, columns, said):
    with pytest.raises(Invalid, match=said):
        factories.make_order_form(clerk, columns=columns)


def test_form_of_runs_is_refused_without_bench_and_nest(clerk):
    runs = factories.make_sheet_form(clerk)
    bare = SheetForm(
        name="Bare", customer=runs.customer, material=runs.material, columns=runs.columns
    )

    with pytest.raises(Invalid) as refused:
        run_import.change_sheet_form(actor=clerk, form=bare)

    assert {fault.field for fault in refused.value.faults} >= {"bench", "nest"}


def test_auditor_takes_no_orders_in(clerk, form):
    job = looked(clerk, form, SOUND)

    with pytest.raises(NotAllowed):
        run_import.take_in(
            actor=factories.make_person(Role.AUDITOR), job=job, way=RunImport.Way.ALL
        )


def test_import_that_is_stopped_keeps_nothing_and_can_begin_again(clerk, form):
    rows = [SOUND.replace("A-1", f"A-{n}") for n in range(1, 6)]
    job = looked(clerk, form, *rows)
    job = run_import.begin_take_in(actor=clerk, job=job, way=RunImport.Way.ALL)
    run_import.stop_import(actor=clerk, job=job)

    stopped = run_import.do_work(actor=clerk, job=job)

    assert (stopped.state, stopped.rows_stored) == ("stopped", 0)
    assert not Sample.objects.exists()
    again = run_import.look_through(actor=clerk, job=stopped)
    run_import.take_in(actor=clerk, job=again, way=RunImport.Way.ALL)
    assert Sample.objects.count() == 5


def test_number_of_queries_does_not_grow_with_the_rows(clerk, form, django_assert_max_num_queries):
    rows = [SOUND.replace("A-1", f"A-{n}") for n in range(150)]
    job = looked(clerk, form, *rows)

    with django_assert_max_num_queries(60):
        run_import.take_in(actor=clerk, job=job, way=RunImport.Way.ALL)

    assert Sample.objects.count() == 150
