"""Tables as a workbook: figures as numbers, words as words that no spreadsheet runs."""

import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import IO

from gradation.documents.csv_text import Cell

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_NOT_IN_A_CELL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NOT_IN_A_NAME = re.compile(r"[\[\]:*?/\\]")
_LONGEST_NAME = 31  # characters, the format's own limit
_WIDEST = 40


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, its heading line, its rows."""

    name: str
    header: Sequence[str]
    rows: Iterable[Sequence[Cell]]


def workbook(sheets: Iterable[Sheet]) -> bytes:
    """Return the sheets as one workbook file."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet in sheets:
        page = book.create_sheet(_NOT_IN_A_NAME.sub(" ", sheet.name)[:_LONGEST_NAME])
        for row, values in enumerate([sheet.header, *sheet.rows], start=1):
            for column, value in enumerate(values, start=1):
                _write(page.cell(row, column), value)
        page.freeze_panes = "B2"
        for column, heading in enumerate(sheet.header, start=1):
            letter = openpyxl.utils.get_column_letter(column)
            page.column_dimensions[letter].width = min(_WIDEST, len(heading) + 2)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _write(cell: object, value: Cell) -> None:
    """Write one value; text stays text even where it begins like a formula."""
    is_text = isinstance(value, str)
    cell.value = _NOT_IN_A_CELL.sub("\ufffd", value) if isinstance(value, str) else value  # type: ignore[attr-defined]
    if is_text:
        cell.data_type = "s"  # type: ignore[attr-defined]


def stream_workbook(
    out: IO[bytes], sheets: Iterable[tuple[str, Sequence[str], Iterable[Sequence[Cell]]]]
) -> None:
    """Write sheets (name, header, rows) row by row, so that a long table needs little memory."""
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    is_whole = False
    try:
        for name, header, rows in sheets:
            page = book.create_sheet(name)
            page.freeze_panes = "B2"
            for row in chain([header], rows):
                page.append([_streamed(page, value) for value in row])
        is_whole = True
    finally:
        if not is_whole:  # its scratch files are closed in their order, not by chance
            for page in book.worksheets:
                page.close()
    book.save(out)


def _streamed(page: object, value: Cell) -> object:
    if not isinstance(value, str):
        return value
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(page)
    _write(cell, value)
    return cell
