"""A specification as a file: its limits as CSV or a workbook, all of a version as JSON."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Font

from gradation.documents.csv_text import csv_text, safe_cell

__all__ = ["COLUMNS", "SpecificationSheet", "as_csv", "as_json", "as_workbook"]

COLUMNS = (
    "kind", "sieve", "finer_sieve", "characteristic", "minimum", "maximum", "target", "tolerance",
    "inclusive", "decimals", "odd_size", "mark",
)  # fmt: skip


@dataclass(frozen=True)
class SpecificationSheet:
    """A version as words: its own fields by name, and one mapping a limit."""

    title: str
    fields: Mapping[str, Any]
    lines: Sequence[Mapping[str, str]]

    def rows(self) -> list[list[str]]:
        """Give the limits in the order of the columns."""
        return [[line.get(name, "") for name in COLUMNS] for line in self.lines]


def as_csv(sheet: SpecificationSheet) -> str:
    """Return the limits as CSV text, safe to open in a spreadsheet."""
    return csv_text(COLUMNS, sheet.rows())


def as_workbook(sheet: SpecificationSheet) -> bytes:
    """Return the limits as an XLSX workbook; every cell is text, so nothing in it is run."""
    book = Workbook()
    page = book.active
    page.title = "limits"
    for row in ([*COLUMNS], *sheet.rows()):
        page.append([safe_cell(value) for value in row])
    for cells in page.iter_rows():
        for cell in cells:
            cell.data_type = "s"
    for cell in page[1]:
        cell.font = Font(bold=True)
    page.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def as_json(sheet: SpecificationSheet) -> str:
    """Return all of the version as JSON text."""
    told = {**sheet.fields, "lines": [_said(line) for line in sheet.lines]}
    return json.dumps(told, ensure_ascii=False, indent=2) + "\n"


def _said(line: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in line.items() if value}
