"""A table that is handed in: its headings, its numbered rows, and what single cells say.

Nothing is written here. Every fault names its row as the spreadsheet counts it, and its column.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from gradation.errors import Invalid
from gradation.models import SheetForm
from gradation.science.quantities import parse_mass_g
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_grid import grid_of, refusal

__all__ = ["MOST_ROWS", "SheetTable", "Told", "day_of", "grams_of", "guessed", "read_table", "told"]

MOST_ROWS = 20_000
LARGEST_BYTES = 10_000_000
_KILO = Decimal(1000)

#: What a row says: under each meaning the heading and the cell.
Told = Mapping[str, tuple[str, str]]


@dataclass(frozen=True)
class SheetTable:
    """A file's heading and its numbered rows."""

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_table(file: bytes, name: str) -> SheetTable:
    """Give the table of a file; refuses (`Invalid`, field `file`) what is none."""
    grid = grid_of(file, name, most_rows=MOST_ROWS, most_bytes=LARGEST_BYTES)
    numbered = [(n, tuple(row)) for n, row in enumerate(grid, start=1) if any(row)]
    if len(numbered) < 2:
        raise refusal("The file has no filled row below its headings. Fill in at least one.")
    if len(numbered) > MOST_ROWS + 1:
        raise refusal(f"The file has more than {MOST_ROWS} rows. Split it.")
    headings = tuple(cell.strip() for cell in numbered[0][1])
    twice = [each for each in headings if each and headings.count(each) > 1]
    if twice:
        raise refusal(f"The heading {twice[0]!r} stands there twice. Keep one of the columns.")
    return SheetTable(headings, tuple(numbered[1:]))


def guessed(headings: Sequence[str], guess: Callable[[str], str]) -> dict[str, str]:
    """Guess what columns mean from their headings; what cannot be guessed is left out."""
    found: dict[str, str] = {}
    for heading in headings:
        words = heading.casefold().replace("_", " ").replace("[g]", "").replace("(g)", "").strip()
        meaning = guess(words)
        if heading and meaning and meaning not in found.values():
            found[heading] = meaning
    return found


def told(form: SheetForm, table: SheetTable, cells: Sequence[str]) -> Told:
    """Give what a row says, by the meanings of its columns."""
    return {
        form.columns.get(heading, ""): (heading, cell.strip())
        for heading, cell in zip(table.headings, cells, strict=False)
    }


def grams_of(form: SheetForm, cell: str) -> Decimal:
    """Give the mass that a cell says; refuses (`Invalid`, `GradationError`) what is none."""
    mass = parse_mass_g(cell)
    mass_g = mass * _KILO if form.unit == SheetForm.Unit.KILOGRAM else mass
    exponent = mass_g.as_tuple().exponent
    if mass_g >= Decimal(10) ** 8 or (isinstance(exponent, int) and exponent < -4):
        msg = f"{cell} {form.unit} is no mass that a balance shows. Check unit and digits."
        raise Invalid.one("cell", msg)
    return mass_g + Decimal(0)


def day_of(meaning: str, number: int, row: Told, faults: list[CellFault]) -> date | None:
    """Give the day that a row says under a meaning; None when its cell is empty or no day."""
    heading, cell = row.get(meaning, ("", ""))
    if not cell:
        return None
    try:
        return date.fromisoformat(cell[:10])
    except ValueError:
        msg = f"{cell!r} is no date. Write it as year-month-day: 2026-03-31."
        faults.append(CellFault(number, heading, msg))
        return None
