"""Tables as people paste them: lines of cells, each fault told with its line and cell."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from gradation.errors import Fault, Invalid
from gradation.queries.studies.asked import (
    Cell,
    Pair,
    RoundResult,
    TypedGradation,
    refuse_far_aperture,
)
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal

__all__ = ["read_cells", "read_gradation", "read_pairs", "read_round"]

MOST_LINES = 500
LONGEST_NAME = 60
_HEADINGS = ("participant", "sample", "laborator", "bench", "technician", "sieve", "aperture", "no")
#: Alone in the first cell these are a heading, even above numbered columns.
_SURE = frozenset({"participant", "laboratory", "bench", "technician", "sample", "sieve"})


@dataclass(frozen=True)
class _Line:
    number: int
    cells: tuple[str, ...]


class _Table:
    """The lines of one text field, and what is wrong with them."""

    def __init__(self, text: str, field: str) -> None:
        self.field = field
        self.faults: list[Fault] = []
        self.lines = list(_lines(text))
        if len(self.lines) > MOST_LINES:
            self._fault(f"The table has {len(self.lines)} lines; {MOST_LINES} fit.", "too-many")
            self.lines = []

    def _fault(self, sentence: str, code: str = "invalid") -> None:
        self.faults.append(Fault(self.field, sentence, code))

    def fault(self, line: _Line, sentence: str, code: str = "invalid") -> None:
        self._fault(f"Line {line.number}: {sentence}", code)

    def number(self, line: _Line, place: int) -> Decimal | None:
        """Read one cell as a number; anything else is a fault."""
        text = line.cells[place]
        try:
            return parse_decimal(text)
        except GradationError:
            shown = f"“{text[:30]}” is not a number" if text else "a figure is missing"
            self.fault(line, f"cell {place + 1}: {shown}. Write it as 12.3.", "not-a-number")
            return None

    def name(self, line: _Line, place: int) -> str:
        """Read one cell as a name."""
        text = line.cells[place]
        if not text or len(text) > LONGEST_NAME:
            self.fault(line, f"cell {place + 1} needs a name of at most {LONGEST_NAME} characters.")
        return text

    def numbers(self, line: _Line, first: int) -> tuple[Decimal, ...]:
        """Read the rest of a line as numbers."""
        found = (self.number(line, place) for place in range(first, len(line.cells)))
        return tuple(value for value in found if value is not None)

    def wide(self, least: int, shape: str) -> Iterator[_Line]:
        """Yield the lines with cells enough; a shorter one is a fault."""
        for line in self.lines:
            if len(line.cells) < least:
                self.fault(line, f"{len(line.cells)} cells; write {shape}.", "too-few-cells")
            else:
                yield line

    def stop_at_faults(self) -> None:
        if not self.lines and not self.faults:
            self._fault("Paste or type the table; it cannot stay empty.", "required")
        if self.faults:
            raise Invalid(self.faults)


def _lines(text: str) -> Iterator[_Line]:
    rows = [row.replace("\x00", "").strip(" \r") for row in text.split("\n")]
    filled = [(i, row) for i, row in enumerate(rows, start=1) if row.strip()]
    for place, (number, row) in enumerate(filled):
        cells = tuple(cell.strip() for cell in row.rstrip("\t").split(_separator(row)))
        if place == 0 and _is_heading(cells):
            continue
        yield _Line(number, cells)


def _is_heading(cells: tuple[str, ...]) -> bool:
    word = cells[0].lower()
    return word in _SURE or (word.startswith(_HEADINGS) and not _has_number(cells[1:]))


def _separator(row: str) -> str:
    return next((mark for mark in ("\t", ";") if mark in row), ",")


def _has_number(cells: tuple[str, ...]) -> bool:
    for cell in cells:
        try:
            parse_decimal(cell)
        except GradationError:
            continue
        return True
    return False


def read_cells(text: str, field: str = "table") -> tuple[Cell, ...]:
    """Read `participant; level; result; result …`, a line a cell; refuses (`Invalid`) the rest.

    >>> read_cells("A; sand; 41.2; 41.6")[0].results
    (Decimal('41.2'), Decimal('41.6'))
    """
    table = _Table(text, field)
    cells = [
        Cell(table.name(line, 0), table.name(line, 1), table.numbers(line, 2))
        for line in table.wide(3, "participant; level; result; result")
    ]
    table.stop_at_faults()
    return tuple(cells)


def read_round(text: str, field: str = "results") -> tuple[RoundResult, ...]:
    """Read `participant; result`, a line each; an empty text is an empty table."""
    if not text.strip():
        return ()
    table = _Table(text, field)
    rows = [
        RoundResult(table.name(line, 0), value)
        for line in table.wide(2, "participant; result")
        if (value := table.number(line, 1)) is not None
    ]
    table.stop_at_faults()
    return tuple(rows)


def read_pairs(text: str, field: str = "pairs") -> tuple[Pair, ...]:
    """Read `sample; first method; second method`, a line each."""
    table = _Table(text, field)
    rows = []
    for line in table.wide(3, "sample; first method; second method"):
        first, second = table.number(line, 1), table.number(line, 2)
        if first is not None and second is not None:
            rows.append(Pair(table.name(line, 0), first, second))
    table.stop_at_faults()
    return tuple(rows)


#: An aperture, and in brackets behind it what the laboratory measured of its sieve.
_MEASURED = re.compile(r"(?P<size>[^()]*)\((?P<measured>[^()]*)\)")


def read_gradation(text: str, field: str = "typed") -> tuple[TypedGradation, ...]:
    """Read `aperture µm (measured µm); passing %; passing % …`, a line a sieve; coarse to fine.

    What was measured may be left out; a value of passing stands for each portion.

    >>> read_gradation("200 (210); 50.1")[0].measured_um
    Decimal('210')
    """
    table = _Table(text, field)
    rows = []
    for line in table.wide(2, "aperture in µm; passing in %; passing in %"):
        size, measured_um = _sieve_of(table, line)
        shares = table.numbers(line, 1)
        if any(not 0 <= share <= 100 for share in shares):
            table.fault(line, "a passing lies between 0 and 100 %.")
        if size is not None:
            rows.append(TypedGradation(size, shares, measured_um))
    table.stop_at_faults()
    return tuple(sorted(rows, key=lambda row: -row.aperture_um))


def _sieve_of(table: _Table, line: _Line) -> tuple[Decimal | None, Decimal | None]:
    """Read the first cell: a nominal aperture, and a measured one not far from it."""
    found = _MEASURED.fullmatch(line.cells[0])
    if found is None:
        size, measured_um = table.number(line, 0), None
    else:
        size = table.number(replace(line, cells=(found["size"].strip(),)), 0)
        measured_um = table.number(replace(line, cells=(found["measured"].strip(),)), 0)
    if size is not None and size <= 0:
        table.fault(line, "an aperture lies above 0 µm.")
    elif size is not None and measured_um is not None:
        why = refuse_far_aperture(size, measured_um)
        if why:
            table.fault(line, why)
    return size, measured_um
