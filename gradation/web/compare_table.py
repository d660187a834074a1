"""The table of a comparison: sieves of all curves coarse to fine, on screen and as a file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from gradation.charts.figure import Quantity
from gradation.charts.markers import markers
from gradation.charts.markup import element, picture
from gradation.charts.palette import CurveStyle
from gradation.documents.csv_text import Cell as FileCell
from gradation.documents.csv_text import csv_text
from gradation.documents.workbook import Sheet, workbook
from gradation.queries.comparisons import Cell, Comparison, SieveRow, densities
from gradation.science.side_by_side import Known

_KEY_PX = (44.0, 12.0)


@dataclass(frozen=True)
class ShownCell:
    """One figure of the table, with how it is known."""

    text: str
    known: str


@dataclass(frozen=True)
class ShownRow:
    """One sieve of the table."""

    row: SieveRow
    cells: list[ShownCell]


def curve_key(style: CurveStyle) -> SafeString:
    """Draw how a curve looks: its dash and its marker."""
    line = element("path", d="M0 6H44", fill="none", stroke_width=2, **style.line())
    drawn = line + markers(style, [(22, 6)], radius=3.4)
    return mark_safe(picture(drawn, *_KEY_PX, ""))  # noqa: S308 - made of our own numbers


def table_rows(comparison: Comparison, quantity: Quantity) -> list[ShownRow]:
    """Give the rows with the figures that go with the chart shown."""
    return [
        ShownRow(row, [_shown(cell, quantity) for cell in row.cells]) for row in comparison.rows
    ]


def _shown(cell: Cell, quantity: Quantity) -> ShownCell:
    if quantity is Quantity.DIFFERENCE:
        text = cell.difference.replace("-", "\u2212")
        return ShownCell(text, "" if cell.known is Known.MEASURED else cell.known.value)
    if quantity is Quantity.RETAINED:
        return ShownCell(cell.retained or "n.d.", "" if cell.retained else "not_determined")
    return ShownCell(cell.text, "" if cell.known is Known.MEASURED else cell.known.value)


def _header(comparison: Comparison) -> list[str]:
    header = ["aperture [mm]", "sieve"]
    for curve in comparison.curves:
        header += [
            f"{curve.label}: passing [%]",
            f"{curve.label}: how known",
            f"{curve.label}: difference [points]",
            f"{curve.label}: retained on the sieve [%]",
        ]
    return [*header, "at least [%]", "at most [%]", "target [%]"]


def _text_row(row: SieveRow) -> list[FileCell]:
    cells: list[FileCell] = [f"{row.aperture_um / 1000:g}", row.name]
    for cell in row.cells:
        away = cell.difference.removeprefix("+")  # a leading + would be taken for a formula
        cells += [cell.text, _said(cell.known), away, cell.retained]
    return [*cells, *(_limit(each) for each in (row.minimum, row.maximum, row.target))]


def _said(known: Known) -> str:
    return known.value.replace("_", " ")


def _limit(value: object) -> str:
    return "" if value is None else str(value)


def comparison_csv(comparison: Comparison) -> str:
    """Give the whole table as CSV: as reported, with how each figure is known."""
    return csv_text(_header(comparison), (_text_row(row) for row in comparison.rows))


def comparison_workbook(comparison: Comparison) -> bytes:
    """Give the table, the curves and their densities as a workbook, figures as numbers."""
    table = ([_number(cell) for cell in _text_row(row)] for row in comparison.rows)
    curves = Sheet("Curves", _CURVE_HEADER, _curve_rows(comparison))
    return workbook(
        [
            Sheet("Passing", _header(comparison), table),
            curves,
            Sheet("Density", _DENSITY_HEADER, _density_rows(comparison)),
        ]
    )


_CURVE_HEADER = ("curve", "what it is", "runs averaged", "runs", "notes", "in the address")
_DENSITY_HEADER = ("curve", "from [mm]", "to [mm]", "density [% per decade of size]")


def _curve_rows(comparison: Comparison) -> Iterator[list[FileCell]]:
    for curve in comparison.curves:
        named = ", ".join(curve.runs)
        token = curve.pick.token
        yield [curve.label, curve.detail, curve.count, named, " ".join(curve.notes), token]


def _density_rows(comparison: Comparison) -> Iterator[list[FileCell]]:
    for curve in comparison.curves:
        for each in densities(curve):
            yield [
                curve.label,
                each.lower_um / 1000,
                each.upper_um / 1000,
                100 * each.share_per_decade,
            ]


def _number(cell: FileCell) -> FileCell:
    """Give a figure as a number where it is one."""
    try:
        return float(cell) if isinstance(cell, str) and cell else cell
    except ValueError:
        return cell
