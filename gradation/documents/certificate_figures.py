"""Every figure of a certificate as one table, a figure a line: for spreadsheets and programs."""

from collections.abc import Iterator

from gradation.documents.certificate_content import (
    CertificateContent,
    Characteristic,
    ComparedLine,
    ResultRow,
    ResultTable,
)
from gradation.documents.csv_text import csv_text

_HEADER = ("certificate", "table", "line", "quantity", "value", "unit", "lower", "upper", "verdict")

_Line = tuple[str, ...]


def certificate_csv(content: CertificateContent) -> str:
    """Return the figures of a certificate as CSV, each with its unit, limits and verdict."""
    number = content.number or "draft"
    return csv_text(_HEADER, ((number, *line) for line in _lines(content)))


def _lines(content: CertificateContent) -> Iterator[_Line]:
    for table in content.results:
        for row in table.rows:
            yield from _of_row(table.label, row)
        yield from _of_balance(table)
    for value in content.characteristics:
        yield _of_value(value)
    for statement in content.conformity:
        if statement.lot:
            for line in statement.lines:
                yield from _of_lot(f"lot {statement.lot}", line)


def _of_row(table: str, row: ResultRow) -> Iterator[_Line]:
    plain = (
        ("aperture", row.aperture_mm, "mm"),
        ("retained", row.retained_g, "g"),
        ("retained", row.retained_pct, "%"),
        ("cumulative retained", row.cumulative_pct, "%"),
    )
    for quantity, value, unit in plain:
        if value:
            yield table, row.designation, quantity, value, unit, "", "", ""
    limits = (row.lower_pct, row.upper_pct, row.verdict)
    yield table, row.designation, "passing", row.passing_pct, "%", *limits
    if row.uncertainty_pct:
        yield table, row.designation, "uncertainty", row.uncertainty_pct, "%", "", "", ""


def _of_balance(table: ResultTable) -> Iterator[_Line]:
    for line in table.balance:
        for value, unit in ((line.mass_g, "g"), (line.share_pct, "%")):
            if value:
                yield table.label, line.label, "mass balance", value, unit, "", "", ""


def _of_lot(table: str, line: ComparedLine) -> Iterator[_Line]:
    unit, limits = line.shown_unit, (line.lower, line.upper, line.verdict)
    yield table, line.what, f"mean of {line.results} results", line.value, unit, *limits
    for quantity, value, measured in (
        ("standard deviation", line.deviation, unit),
        ("share within limits", line.share_pct, "%"),
    ):
        if value:
            yield table, line.what, quantity, value, measured, "", "", ""


def _of_value(item: Characteristic) -> _Line:
    limits = (item.lower, item.upper, item.verdict)
    return item.run, item.name, item.formula, item.value, item.shown_unit, *limits
