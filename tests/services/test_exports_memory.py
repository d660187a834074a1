"""Exports hold a batch of rows at a time, however many rows there are."""

import io
import tracemalloc

import pytest

from gradation.documents import table_files
from gradation.documents.table_files import MEDIA_TYPES, Heading, write_table
from gradation.policy import Role
from gradation.queries import exports
from gradation.queries.exports import Table, Wanted, columns_of, rows_of
from gradation.services import exports as taking
from tests import factories
from tests.many_runs import make_series, pattern_of

HEADINGS = [
    *(Heading(f"word_{n}", "A word.", "", "text") for n in range(4)),
    *(Heading(f"figure_{n}", "A figure.", "g", "number") for n in range(2)),
]
#: Of each row four texts of some 80 bytes and two numbers of 24: more than 350 bytes if it is kept.
KEPT_A_ROW = 350


class Nowhere(io.BytesIO):
    """A file that keeps nothing."""

    def write(self, data):
        return len(data)


def table(count):
    for n in range(count):
        yield [*(f"text {n} {column} {'x' * 30}" for column in range(4)), n / 7, n / 3]


def peak_of(work):
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("form", list(MEDIA_TYPES))
def test_file_of_many_rows_takes_no_more_memory_than_one_of_few(form, monkeypatch):
    monkeypatch.setattr(table_files, "_AT_ONCE", 100)
    few, many = 300, 2300
    write_table(Nowhere(), form, HEADINGS, table(1))  # what a first file loads stays loaded

    of_few = peak_of(lambda: write_table(Nowhere(), form, HEADINGS, table(few)))
    of_many = peak_of(lambda: write_table(Nowhere(), form, HEADINGS, table(many)))

    assert of_many - of_few < (many - few) * KEPT_A_ROW / 4


@pytest.mark.django_db
@pytest.mark.parametrize("name", list(Table))
def test_rows_of_many_runs_are_read_and_let_go(name, monkeypatch):
    monkeypatch.setattr(exports, "AT_ONCE", 10)
    material = factories.make_material(factories.make_procedure())
    make_series(pattern_of(material), {"passing_600": [50.0] * 150})
    auditor = factories.make_person(Role.AUDITOR)
    columns = columns_of(name, auditor, Wanted())

    def read(count):
        rows = rows_of(name, columns, auditor, Wanted())
        return sum(1 for _ in zip(range(count), rows, strict=False))

    assert read(30) == 30
    of_few, of_many = peak_of(lambda: read(30)), peak_of(lambda: read(150))

    # A row in memory is a run, its portion and its sample: more than 3 kB of 120 more, if kept.
    assert of_many - of_few < 120 * 1000


@pytest.mark.django_db
def test_long_file_waits_on_the_disk(monkeypatch):
    monkeypatch.setattr(taking, "_IN_MEMORY", 10)
    factories.make_sample()

    exported = taking.export_records(
        actor=factories.make_person(Role.AUDITOR), table="samples", form="csv", wanted=Wanted()
    )

    assert exported.file._rolled
    assert exported.file.read().startswith(b"sample,customer,")
