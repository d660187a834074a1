"""Exports: whole, typed, explained, safe to open, and on the record."""

import csv
import hashlib
import io
import json
from datetime import timedelta
from decimal import Decimal

import openpyxl
import pandas
import pyarrow.parquet as pq
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gradation.documents import table_files
from gradation.documents.csv_text import safe_cell
from gradation.errors import Invalid, NotAllowed
from gradation.models import LedgerEntry
from gradation.policy import Role
from gradation.queries import exports as queries
from gradation.queries.exports import Table, Wanted
from gradation.services import clock
from gradation.services.exports import export_records
from tests import factories
from tests.paper_runs import make_typed_run

pytestmark = pytest.mark.django_db

#: Full-width equals, plus, minus and at signs; blanks, a non-breaking one, a byte order mark.
DANGEROUS = [
    "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "\n=1",
    "\uff1d1+1", "\uff0b1", "\uff0d1+1", "\uff20A1",
    "  =1+1", "\u00a0=1+1", "\ufeff=1+1", "\u200b=1+1", "sand\n=1+1", "sand\r\n  @A1",
]  # fmt: skip


@pytest.fixture
def auditor():
    factories.make_laboratory()
    return factories.make_person(Role.AUDITOR)


def taken(actor, table="samples", form="csv", **wanted):
    exported = export_records(actor=actor, table=table, form=form, wanted=Wanted(**wanted))
    return exported, exported.file.read()


def rows_in(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_only_auditors_and_quality_managers_take_records_out(auditor):
    with pytest.raises(NotAllowed):
        taken(factories.technician())


def test_an_export_stands_in_the_ledger_with_the_digest_of_its_file(auditor):
    material = factories.make_sample().material

    exported, data = taken(auditor, material=material)

    entry = LedgerEntry.objects.get(action="records exported")
    assert entry.actor == auditor
    assert entry.after["sha256"] == exported.sha256 == hashlib.sha256(data).hexdigest()
    assert (entry.after["table"], entry.after["rows"]) == ("samples", 1)
    assert entry.after["material"] == material.name


@pytest.mark.parametrize("table", list(Table))
@pytest.mark.parametrize("form", list(table_files.MEDIA_TYPES))
def test_every_column_of_every_form_is_explained(auditor, table, form):
    factories.make_accepted_run()
    told = queries.columns_of(table, auditor, Wanted())

    _, data = taken(auditor, table, form)

    assert headings(form, data) == [heading.name for heading in told]
    assert len({heading.name for heading in told}) == len(told)
    assert all(heading.meaning.endswith((".", "...")) for heading in told)
    assert all(heading.unit for heading in told if heading.name.endswith(("_g", "_um", "_pct")))


def headings(form, data):
    if form == "csv":
        return next(csv.reader(io.StringIO(data.decode())))
    if form == "json":
        body = json.loads(data)
        assert list(body["rows"][0]) == [column["column"] for column in body["columns"]]
        return list(body["rows"][0])
    if form == "xlsx":
        book = openpyxl.load_workbook(io.BytesIO(data))
        names = [cell.value for cell in book["Rows"][1]]
        assert [row[0].value for row in book["Columns"].iter_rows(min_row=2)] == names
        return names
    schema = pq.read_schema(io.BytesIO(data))
    assert all(b"meaning" in field.metadata for field in schema)
    return schema.names


def test_the_long_form_holds_what_was_weighed(auditor):
    """500 g: 10, 75, 100, 125, 110, 60 and 20 g on six sieves and the pan; passing by hand."""
    run = factories.make_accepted_run()
    passing = {4750: 98, 2360: 83, 1180: 63, 600: 38, 300: 16, 150: 4}

    _, data = taken(auditor, Table.RESULTS_LONG)

    rows = [row for row in rows_in(data) if row["figure"].startswith("passing_")]
    assert {Decimal(row["aperture_um"]): Decimal(row["value"]) for row in rows} == passing
    assert {row["unit"] for row in rows} == {"%"}
    assert {row["sample"] for row in rows} == {run.portion.sample.number}
    loss = next(row for row in rows_in(data) if row["figure"] == "loss")
    assert Decimal(loss["value"]) == 0
    assert loss["aperture_um"] == ""


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_pandas_takes_the_wide_form_as_it_is(auditor, form):
    factories.make_accepted_run()
    factories.make_accepted_run()
    read = {"csv": pandas.read_csv, "parquet": pandas.read_parquet}[form]

    _, data = taken(auditor, Table.RESULTS_WIDE, form)
    frame = read(io.BytesIO(data))

    assert len(frame) == 2
    assert frame["passing_600_pct"].tolist() == pytest.approx([38, 38], abs=1e-9)
    assert frame["run"].dtype.kind == "i"
    assert pandas.to_datetime(frame["opened_at"]).dt.tz is not None
    assert frame["counts"].tolist() in ([True, True], ["yes", "yes"])


@pytest.mark.parametrize("table", [Table.RUNS, Table.RESULTS_LONG, Table.RESULTS_WIDE])
def test_a_run_from_paper_tells_the_day_of_its_work(auditor, table):
    """Typed two days after the work; the run beside it was weighed here and tells no such day."""
    day = clock.today() - timedelta(days=2)
    sample = factories.make_sample(received_at=clock.now() - timedelta(days=3))
    on_paper = make_typed_run(sample=sample, performed_on=day)
    at_the_bench = factories.make_accepted_run()

    _, data = taken(auditor, table)

    told = {(row["run"], row["recorded_on_paper_on"]) for row in rows_in(data)}
    assert told == {(str(on_paper.pk), day.isoformat()), (str(at_the_bench.pk), "")}


@pytest.mark.parametrize("table", [Table.RUNS, Table.RESULTS_LONG, Table.RESULTS_WIDE])
def test_many_runs_from_paper_cost_no_further_queries(auditor, table):
    make_typed_run()
    taken(auditor, table)  # what is asked once for good, such as the actor's roles
    with CaptureQueriesContext(connection) as of_one:
        taken(auditor, table)
    make_typed_run()
    make_typed_run()

    with CaptureQueriesContext(connection) as of_three:
        taken(auditor, table)

    assert len(of_three) == len(of_one)


def test_a_period_is_half_open_and_by_receipt(auditor):
    at = clock.now() - timedelta(days=10)
    inside = factories.make_sample(received_at=at)
    factories.make_sample(received_at=at + timedelta(days=1))

    _, data = taken(auditor, since=at, until=at + timedelta(days=1))

    assert [row["sample"] for row in rows_in(data)] == [inside.number]


def test_only_one_customers_rows(auditor):
    mine = factories.make_sample()
    factories.make_sample()

    _, data = taken(auditor, customer=mine.customer)

    assert [row["sample"] for row in rows_in(data)] == [mine.number]


def test_a_period_that_ends_before_it_begins_is_refused(auditor):
    now = clock.now()

    with pytest.raises(Invalid, match="Exchange the two days"):
        taken(auditor, since=now, until=now - timedelta(days=1))


@pytest.mark.parametrize(("table", "form"), [("people", "csv"), ("samples", "exe")])
def test_an_unknown_table_or_form_is_refused(auditor, table, form):
    with pytest.raises(Invalid, match="Choose from"):
        taken(auditor, table, form)


def test_rows_are_read_some_at_a_time(auditor, monkeypatch):
    for _ in range(5):
        factories.make_sample()
    monkeypatch.setattr(queries, "AT_ONCE", 2)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        _, data = taken(auditor)

    assert len(rows_in(data)) == 5
    pieces = [each for each in asked if "LIMIT 2" in each["sql"] and "_sample" in each["sql"]]
    assert len(pieces) == 4  # two, two, one, none


def test_more_rows_than_a_sheet_holds_are_refused(auditor, monkeypatch):
    monkeypatch.setattr(table_files, "MOST_IN_XLSX", 1)
    factories.make_sample()
    factories.make_sample()

    with pytest.raises(Invalid, match="CSV or Parquet"):
        taken(auditor, form="xlsx")

    assert not LedgerEntry.objects.filter(action="records exported").exists()


@pytest.mark.parametrize("text", DANGEROUS)
def test_s29_what_a_spreadsheet_would_run_is_text(text):
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-0.42", "-5", "sand 0/4", "5-10 mm", "a=b", "x@example.org"])
def test_s29_numbers_and_plain_words_stay_as_they_are(text):
    assert safe_cell(text) == text


@pytest.mark.parametrize("text", DANGEROUS[:4])
def test_s29_in_an_exported_table_nothing_runs(auditor, text):
    factories.make_sample(description=text, lot='say "1,2"\r\nnext')

    _, as_csv = taken(auditor)
    _, as_xlsx = taken(auditor, form="xlsx")

    [row] = rows_in(as_csv)
    assert row["description"] == f"'{text}"
    assert row["lot"] == 'say "1,2"\r\nnext'  # RFC 4180: quoted, quotes doubled
    sheet = openpyxl.load_workbook(io.BytesIO(as_xlsx))["Rows"]
    place = [cell.value for cell in sheet[1]].index("description")
    assert (sheet[2][place].value, sheet[2][place].data_type) == (text, "s")


def test_s30_the_name_of_the_file_holds_nothing_from_outside(auditor, client):
    material = factories.make_material(name='sand";\r\nX: y\u202e.exe')
    factories.make_sample(material=material)
    client.force_login(auditor)

    answer = client.post(
        "/records/export/", {"table": "samples", "form": "csv", "material": material.pk}
    )

    today = f"{clock.today():%Y-%m-%d}"
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == f'attachment; filename="samples_{today}.csv"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert b"".join(answer.streaming_content).count(b"\r\n") >= 2
