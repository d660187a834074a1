"""A table as a file for other programs, written row by row: CSV, XLSX, JSON or Parquet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import islice
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

from gradation.documents.csv_text import safe_cell
from gradation.documents.workbook import MEDIA_TYPE as XLSX
from gradation.documents.workbook import stream_workbook

__all__ = ["DICTIONARY", "MEDIA_TYPES", "MOST_IN_XLSX", "Heading", "TooLong", "write_table"]

MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": XLSX,
    "json": "application/json",
    "parquet": "application/vnd.apache.parquet",
}
#: Headings of a dictionary: one row a column.
DICTIONARY = ("column", "meaning", "unit", "type")
#: Rows that a sheet holds below its heading line, the format's own limit.
MOST_IN_XLSX = 1_048_575
#: Rows of one group of a Parquet file: of sixty columns five thousand take forty megabytes more.
_AT_ONCE = 1_000

_ARROW = {
    "text": pa.string(),
    "number": pa.float64(),
    "whole number": pa.int64(),
    "yes or no": pa.bool_(),
    "time": pa.timestamp("us", tz="UTC"),
    "day": pa.date32(),
}


class TooLong(Exception):
    """The table has more rows than a sheet holds."""


@dataclass(frozen=True)
class Heading:
    """One column as a file tells of it."""

    name: str
    meaning: str
    unit: str
    kind: str

    @property
    def told(self) -> tuple[str, str, str, str]:
        """Give its row of the dictionary."""
        return self.name, self.meaning, self.unit, self.kind


Rows = Iterable[Sequence[object]]


def write_table(out: IO[bytes], form: str, headings: Sequence[Heading], rows: Rows) -> int:
    """Write a table in a form of `MEDIA_TYPES`; say how many rows it has.

    Raises `TooLong` for a workbook of more than `MOST_IN_XLSX` rows.
    """
    counted = _Counted(rows)
    _WRITERS[form](out, headings, counted)
    return counted.count


class _Counted:
    """Rows that are counted as they pass."""

    def __init__(self, rows: Rows) -> None:
        self.rows, self.count = rows, 0

    def __iter__(self) -> Iterator[Sequence[object]]:
        for row in self.rows:
            self.count += 1
            yield row


def _write_csv(out: IO[bytes], headings: Sequence[Heading], rows: Rows) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180
    writer.writerow([heading.name for heading in headings])
    writer.writerows([safe_cell(_words(value)) for value in row] for row in rows)
    text.detach()


def _words(value: object) -> str | bool | None:
    """Write a value so that nothing of it is lost; a time in UTC."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{Decimal(repr(value)):f}"
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _write_json(out: IO[bytes], headings: Sequence[Heading], rows: Rows) -> None:
    columns = [dict(zip(DICTIONARY, heading.told, strict=True)) for heading in headings]
    out.write(f'{{"columns": {json.dumps(columns, ensure_ascii=False)},\n"rows": ['.encode())
    before = "\n"
    for row in rows:
        told = {
            heading.name: value if isinstance(value, int) else _words(value)
            for heading, value in zip(headings, row, strict=True)
        }
        out.write(f"{before}{json.dumps(told, ensure_ascii=False)}".encode())
        before = ",\n"
    out.write(b"\n]}\n")


def _write_parquet(out: IO[bytes], headings: Sequence[Heading], rows: Rows) -> None:
    schema = pa.schema(
        [
            pa.field(
                each.name,
                _ARROW[each.kind],
                metadata={"meaning": each.meaning, "unit": each.unit},
            )
            for each in headings
        ]
    )
    with pq.ParquetWriter(out, schema) as writer:
        left = iter(rows)
        while piece := list(islice(left, _AT_ONCE)):
            arrays = [
                pa.array([_plain(value) for value in column], field.type)
                for column, field in zip(zip(*piece, strict=True), schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def _plain(value: object) -> object:
    return float(value) if isinstance(value, Decimal) else value


def _write_xlsx(out: IO[bytes], headings: Sequence[Heading], rows: Rows) -> None:
    cells = ([_cell(value) for value in row] for row in _not_too_many(rows))
    stream_workbook(
        out,
        [
            ("Rows", [heading.name for heading in headings], cells),
            ("Columns", DICTIONARY, (heading.told for heading in headings)),
        ],
    )


def _not_too_many(rows: Rows) -> Iterator[Sequence[object]]:
    for number, row in enumerate(rows, start=1):
        if number > MOST_IN_XLSX:
            msg = f"A workbook holds {MOST_IN_XLSX} rows. Take CSV or Parquet, or a shorter period."
            raise TooLong(msg)
        yield row


def _cell(value: object) -> str | float | bool | None:
    if value is None or isinstance(value, bool | int | float):
        return value
    return float(value) if isinstance(value, Decimal) else _words(value)


_WRITERS: dict[str, Callable[[IO[bytes], Sequence[Heading], Any], None]] = {
    "csv": _write_csv,
    "xlsx": _write_xlsx,
    "json": _write_json,
    "parquet": _write_parquet,
}
