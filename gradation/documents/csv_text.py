"""Tables as CSV text that a spreadsheet opens without running anything in it."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

Cell = str | int | float | bool | None

# A spreadsheet takes a cell that begins so for a formula, or drops the sign and finds one.
# Blanks of any kind before it, and a line break inside the cell, hide it from the eye only; the
# full-width signs are taken for the plain ones.
_BLANK = r"[\s\x00-\x1f\u00a0\u200b-\u200f\u2060\ufeff]"
_STARTS_A_FORMULA = re.compile(rf"(?:^|[\r\n]){_BLANK}*[=+\-@\uff1d\uff0b\uff0d\uff20]|^[\t\r\n]")
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a table as CSV with a header line; every cell is safe to open in a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow([safe_cell(name) for name in header])
    writer.writerows([safe_cell(value) for value in row] for row in rows)
    return out.getvalue()


def safe_cell(value: Cell) -> str:
    """Return a cell's text; words that a spreadsheet would run get an apostrophe before them.

    Numbers stay numbers, negative ones too.

    >>> safe_cell("=1+1"), safe_cell("-0.42"), safe_cell(-0.42), safe_cell("-stone")
    ("'=1+1", '-0.42', '-0.4200', "'-stone")
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4f}"
    text = str(value)
    is_formula = _STARTS_A_FORMULA.search(text) and not _NUMBER.fullmatch(text)
    return f"'{text}" if is_formula else text
