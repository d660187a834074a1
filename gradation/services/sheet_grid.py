"""A table out of a file: the cells of a CSV text or of the first sheet of a workbook, as text."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal

import openpyxl

from gradation.errors import Invalid

__all__ = ["MOST_ROWS", "grid_of", "refusal"]

MOST_ROWS, LARGEST_BYTES, LARGEST_UNPACKED = 5_000, 5_000_000, 50_000_000
MOST_PARTS = 1_000  # a workbook of a few sheets has some twenty


def grid_of(
    file: bytes, name: str, *, most_rows: int = MOST_ROWS, most_bytes: int = LARGEST_BYTES
) -> list[list[str]]:
    """Give the rows of a file; refuses (`Invalid`, field `file`) what is no table."""
    if len(file) > most_bytes:
        raise refusal(f"The file has more than {most_bytes // 1_000_000} MB. Split it.")
    is_workbook = file.startswith(b"PK\x03\x04")
    return list(_workbook(file, most_rows) if is_workbook else _text(file, name))


def refusal(message: str) -> Invalid:
    """Give the refusal of a file that is no such table."""
    return Invalid.one("file", message, code="not-a-table")


def _text(file: bytes, name: str) -> Iterator[list[str]]:
    try:
        text = file.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"{name} is no UTF-8 text and no XLSX workbook. Save it as “CSV UTF-8” or as XLSX."
        raise refusal(msg) from error
    if "\x00" in text:
        raise refusal(f"{name} is no text. Save it as “CSV UTF-8” or as XLSX.")
    first = text.split("\n", 1)[0]
    separator = max(";\t,", key=first.count)
    try:
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True):
            yield [cell.strip() for cell in row]
    except csv.Error as error:
        raise refusal(f"{name} cannot be read as CSV: {error}. Save it again.") from error


def _workbook(file: bytes, most_rows: int) -> Iterator[list[str]]:
    try:
        _refuse_bomb(file)
        book = openpyxl.load_workbook(io.BytesIO(file), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        rows = [
            [_as_text(value) for value in row]
            for row in sheet.iter_rows(max_row=most_rows + 2, max_col=60, values_only=True)
        ]
    except (zipfile.BadZipFile, KeyError, ValueError, IndexError, OSError, SyntaxError) as error:
        raise refusal("The workbook cannot be read. Save it again as XLSX.") from error
    return iter(rows)


def _refuse_bomb(file: bytes) -> None:
    """Refuse a small file that unpacks to a huge one, or that declares entities of its own."""
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > LARGEST_UNPACKED or len(parts.infolist()) > MOST_PARTS:
            raise refusal("The workbook is too large unpacked. Keep only the table.")
        for part in parts.infolist():
            if part.filename.endswith((".xml", ".rels")) and b"<!DOCTYPE" in parts.read(part):
                raise refusal("The workbook holds declarations no spreadsheet writes.")


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, float):
        return f"{Decimal(repr(value)).normalize():f}"
    return str(value).strip()
