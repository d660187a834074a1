"""A sieve file that a laboratory already keeps: rows and columns of CSV or XLSX, read and judged.

Nothing is written here. Every fault names its row as the spreadsheet counts it, and its column.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django.core.exceptions import ValidationError

from gradation.models import Bench, Equipment, Sieve, User
from gradation.science.apertures import parse_aperture
from gradation.science.conformity import Edition
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_grid import MOST_ROWS, grid_of, refusal

__all__ = ["COLUMNS", "CellFault", "ImportReport", "SieveRow", "read_sieves"]

Row = dict[str, str]
Named = TypeVar("Named", Bench, User)


@dataclass(frozen=True)
class SieveRow:
    """One sieve as it would be registered."""

    row: int
    sieve: Sieve


@dataclass(frozen=True)
class ImportReport:
    """What a file holds, what is wrong with it, and how many sieves were registered from it."""

    rows: tuple[SieveRow, ...]
    faults: tuple[CellFault, ...]
    registered: int = 0


@dataclass(frozen=True)
class _Known:
    """What the cells of a file refer to, read once."""

    serials: frozenset[str]
    benches: Mapping[str, Bench]
    people: Mapping[str, User]
    earlier: dict[str, int] = field(default_factory=dict)
    """Serials met in the file so far, with their rows."""


def read_sieves(file: bytes, name: str) -> ImportReport:
    """Read and judge a file; refuses (`Invalid`) what is no table of sieves at all."""
    header, cells = _table(file, name)
    faults = list(_header_faults(header))
    if faults:
        return ImportReport((), tuple(faults))
    known = _known()
    rows = []
    for number, values in cells:
        typed = dict(zip(header, values, strict=False))
        found, wrong = _sieve(number, typed, known)
        faults += wrong
        if found is not None:
            rows.append(SieveRow(number, found))
    return ImportReport(tuple(rows), tuple(faults))


def _known() -> _Known:
    return _Known(
        frozenset(
            serial.casefold() for serial in Equipment.objects.values_list("serial", flat=True)
        ),
        {bench.name.casefold(): bench for bench in Bench.objects.filter(is_active=True)},
        {user.username.casefold(): user for user in User.objects.filter(is_active=True)},
    )


def _table(file: bytes, name: str) -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """Give the header and the numbered rows below it; empty rows are skipped."""
    grid = grid_of(file, name)
    numbered = [(n, row) for n, row in enumerate(grid, start=1) if any(row)]
    if len(numbered) < 2:
        raise refusal("The file has no row of sieves below its header. Fill in at least one.")
    if len(numbered) > MOST_ROWS + 1:
        raise refusal(f"The file has more than {MOST_ROWS} rows. Split it.")
    header = [_column(cell) for cell in numbered[0][1]]
    return header, iter(numbered[1:])


def _column(cell: str) -> str:
    return cell.strip().casefold().replace(" ", "_")


def _header_faults(header: Sequence[str]) -> Iterator[CellFault]:
    for column in header:
        if column and column not in COLUMNS:
            known = ", ".join(COLUMNS)
            yield CellFault(1, column, f"There is no column of this name. Known: {known}.")
        if column and header.count(column) > 1:
            yield CellFault(1, column, "The column stands there twice. Keep one.")
    for column in _NEEDED:
        if column not in header:
            yield CellFault(1, column, "The column is missing; it is needed.")


def _sieve(number: int, typed: Row, known: _Known) -> tuple[Sieve | None, list[CellFault]]:
    """Build the sieve of one row, with all that is wrong with it."""
    values: dict[str, Any] = {}
    faults = [
        CellFault(number, column, "The cell is empty; it is needed.")
        for column in _NEEDED
        if not typed.get(column)
    ]
    for column, text in typed.items():
        if not column or not text:
            continue
        try:
            values[_FIELDS.get(column, column)] = COLUMNS[column](text, known)
        except (GradationError, LookupError, ValueError) as error:
            faults.append(CellFault(number, column, str(error.args[0])))
    serial = values.get("serial", "")
    faults += _serial_faults(number, serial, known)
    if faults:
        return None, faults
    sieve = Sieve(kind=Equipment.Kind.SIEVE, **values)
    faults = list(_field_faults(number, sieve))
    return (None if faults else sieve), faults


def _serial_faults(number: int, serial: str, known: _Known) -> Iterator[CellFault]:
    key = serial.casefold()
    if not key:
        return
    if key in known.serials:
        yield CellFault(number, "serial", f"{serial} is on file already.")
    if key in known.earlier:
        yield CellFault(number, "serial", f"{serial} stands in row {known.earlier[key]} too.")
    known.earlier.setdefault(key, number)


def _field_faults(number: int, sieve: Sieve) -> Iterator[CellFault]:
    try:
        sieve.clean_fields(exclude={"equipment_ptr", "designation"})
    except ValidationError as error:
        for name, messages in error.message_dict.items():
            column = next((col for col, field_ in _FIELDS.items() if field_ == name), name)
            yield CellFault(number, column, " ".join(messages))


def _words(text: str, known: _Known) -> str:
    return text


def _aperture(text: str, known: _Known) -> Decimal:
    return parse_aperture(text)


def _figure(text: str, known: _Known) -> Decimal:
    figure = parse_decimal(text)
    if figure <= 0:
        msg = f"{text!r} is not above zero."
        raise ValueError(msg)
    return figure


def _whole(text: str, known: _Known) -> int:
    if not (text.isascii() and text.isdigit()) or int(text) == 0:
        msg = f"{text!r} is no whole number above zero."
        raise ValueError(msg)
    return int(text)


def _day(text: str, known: _Known) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        msg = f"{text!r} is no date. Write it as year-month-day: 2026-03-31."
        raise ValueError(msg) from error


def _yes(text: str, known: _Known) -> bool:
    try:
        return {"yes": True, "no": False}[text.casefold()]
    except KeyError as error:
        msg = f"{text!r} is neither yes nor no."
        raise ValueError(msg) from error


def _bench(text: str, known: _Known) -> Bench:
    return _of(known.benches, text, "bench")


def _keeper(text: str, known: _Known) -> User:
    return _of(known.people, text, "account")


def _of(known: Mapping[str, Named], text: str, noun: str) -> Named:
    if text.casefold() not in known:
        msg = f"There is no {noun} {text!r}. Add it first, or leave the cell empty."
        raise LookupError(msg)
    return known[text.casefold()]


def _one_of(*words: str) -> Callable[[str, _Known], str]:
    def choose(text: str, known: _Known) -> str:
        for word in words:
            if text.casefold() == word.casefold():
                return word
        msg = f"{text!r} is none of: {', '.join(words)}."
        raise ValueError(msg)

    return choose


def _edition(text: str, known: _Known) -> str:
    for edition in Edition:
        if text.casefold() in {edition.value, edition.words.casefold()}:
            return edition.value
    msg = f"No table of {text!r} is kept here. Known: {', '.join(e.words for e in Edition)}."
    raise ValueError(msg)


#: Columns of the file and how each cell is read.
COLUMNS: dict[str, Callable[[str, _Known], Any]] = {
    "serial": _words,
    "aperture": _aperture,
    "designation": _words,
    "alternative": _words,
    "standard": _words,
    "edition": _edition,
    "grade": _one_of(*(grade.value for grade in Sieve.Grade)),
    "medium": _one_of(*(medium.value for medium in Sieve.Medium)),
    "shape": _one_of(*(shape.value for shape in Sieve.Shape)),
    "frame_diameter_mm": _figure,
    "frame_height_mm": _figure,
    "maker_certificate": _words,
    "is_master": _yes,
    "place": _words,
    "bench": _bench,
    "keeper": _keeper,
    "bought_on": _day,
    "in_service_since": _day,
    "check_interval_days": _whole,
    "check_interval_uses": _whole,
    "next_check_on": _day,
    "note": _words,
}
_NEEDED = ("serial", "aperture", "frame_diameter_mm")
_FIELDS = {"aperture": "aperture_um"}
