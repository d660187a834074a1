"""Import of a sieve file: all of it or nothing, every fault by row and column."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from gradation.errors import Invalid, NotAllowed
from gradation.models import LedgerEntry, Sieve
from gradation.services import equipment_import
from tests import factories

GOOD = """serial;aperture;frame_diameter_mm;edition;bench;is_master;bought_on;check_interval_days
T-1;No. 200;203,2;ASTM E11-17;;no;2024-05-31;180
T-2;4,75 mm;200;;Bench of Import;yes;;
"""


def read(text, name="sieves.csv"):
    return equipment_import.read_sieves(text.encode(), name)


def run_import(keeper, file, *, dry_run=False, name="sieves.csv"):
    content = file.encode() if isinstance(file, str) else file
    return equipment_import.import_sieves(actor=keeper, file=content, name=name, dry_run=dry_run)


def workbook(*rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def cells(report):
    return [(fault.row, fault.column) for fault in report.faults]


@pytest.fixture
def bench(keeper):
    return factories.make_bench(name="Bench of Import")


def test_sieves_of_a_good_file_are_registered_as_typed(keeper, bench):
    report = run_import(keeper, GOOD)

    assert report.registered == 2
    first, second = Sieve.objects.order_by("serial")
    assert (first.aperture_um, first.designation, first.alternative) == (75, "75 µm", "No. 200")
    assert (first.frame_diameter_mm, first.edition) == (Decimal("203.2"), "astm_e11_17")
    assert (first.bought_on, first.check_interval_days) == (date(2024, 5, 31), 180)
    assert (second.bench, second.is_master) == (bench, True)
    assert LedgerEntry.objects.filter(action="sieve imported").count() == 2


def test_dry_run_shows_every_fault_by_row_and_column_and_changes_nothing(keeper):
    known = factories.make_sieve(600)
    entries = LedgerEntry.objects.count()
    text = (
        "serial,aperture,frame_diameter_mm,bench,bought_on,grade,check_interval_days\n"
        f"{known.serial.lower()},600 µm,200,,,,\n"
        "T-1,63,200,,,,\n"
        "T-2,63 µm,,Nowhere,31.05.2024,best,0\n"
        "t-1,63 µm,-200,,,,\n"
    )

    report = run_import(keeper, text, dry_run=True)

    assert cells(report) == [
        (2, "serial"),
        (3, "aperture"),
        (4, "frame_diameter_mm"),
        (4, "bench"),
        (4, "bought_on"),
        (4, "grade"),
        (4, "check_interval_days"),
        (5, "frame_diameter_mm"),
        (5, "serial"),
    ]
    assert Sieve.objects.count() == 1
    assert LedgerEntry.objects.count() == entries


def test_dry_run_of_a_good_file_changes_nothing_either(keeper, bench):
    report = run_import(keeper, GOOD, dry_run=True)

    assert (len(report.rows), report.faults, report.registered) == (2, (), 0)
    assert not Sieve.objects.exists()


def test_file_with_one_fault_registers_nothing(keeper, bench):
    with pytest.raises(Invalid) as refusal:
        run_import(keeper, GOOD + "T-3;no size;200;;;;;\n")

    assert refusal.value.field == "row 4, aperture"
    assert not Sieve.objects.exists()


def test_workbook_is_read_with_its_numbers_and_dates(keeper):
    file = workbook(
        ["Serial", "Aperture", "Frame diameter mm", "Bought on"],
        [142.0, "125 µm", 200, date(2023, 2, 1)],
        [None, None, None, None],
        ["T-9", "3/8 in.", 203.2, None],
    )

    report = run_import(keeper, file, name="sieves.xlsx")

    assert report.registered == 2
    sieve = Sieve.objects.get(serial="142")
    assert (sieve.aperture_um, sieve.bought_on) == (125, date(2023, 2, 1))
    assert Sieve.objects.get(serial="T-9").frame_diameter_mm == Decimal("203.2")


def test_rows_are_counted_as_the_spreadsheet_counts_them(keeper):
    file = workbook(
        ["serial", "aperture", "frame_diameter_mm"],
        [None, None, None],
        ["T-1", "sixty", 200],
    )

    assert cells(run_import(keeper, file, dry_run=True)) == [(3, "aperture")]


def test_columns_that_are_unknown_missing_or_doubled_are_named(db):
    report = read("serial,mesh,serial\nT-1,200,T-2\n")

    assert cells(report) == [
        (1, "serial"),
        (1, "mesh"),
        (1, "serial"),
        (1, "aperture"),
        (1, "frame_diameter_mm"),
    ]
    assert report.rows == ()


def too_large_unpacked():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/workbook.xml", b" " * 51_000_000)
    return file.getvalue()


def with_entities():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as parts:
        parts.writestr("xl/workbook.xml", '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>')
    return file.getvalue()


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (b"", "no row of sieves"),
        (b"serial,aperture,frame_diameter_mm\n", "no row of sieves"),
        ("serial\nS-1 µ".encode("cp1252"), "UTF-8"),
        (b"serial\n\x00", "no text"),
        (b'serial\n"T-1', "cannot be read"),
        (b"PK\x03\x04 not a workbook", "cannot be read"),
        (b"serial\n" + b"T\n" * 5_001, "more than 5000 rows"),
        (b"x" * 5_000_001, "more than 5 MB"),
        (too_large_unpacked(), "too large unpacked"),
        (with_entities(), "declarations"),
    ],
)
def test_what_is_no_sieve_file_is_refused_with_what_to_do(db, file, words):
    with pytest.raises(Invalid, match=words) as refusal:
        equipment_import.read_sieves(file, "sieves.csv")

    assert refusal.value.field == "file"


def test_technician_may_not_even_try(technician):
    with pytest.raises(NotAllowed):
        run_import(technician, GOOD, dry_run=True)
