"""Lists of figures as they are typed, pasted from a measuring program, or read from its file."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms

from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.web.forms.base import WordsField

MOST_READINGS = 2_000
LARGEST_FILE = 200_000  # bytes; two thousand readings in each direction need a tenth of it
_BETWEEN = re.compile(r"[;\s]+")
_COLUMNS = re.compile(r"[;\t]|,(?=\s)|\s+")


class ReadingsField(WordsField):
    """Figures, one after the other, divided by spaces, semicolons or line ends."""

    #: A file may take its place; it is not marked as optional.
    says_when = True

    def __init__(self, label: str, *, unit: str, **options: Any) -> None:
        self.unit_words = unit
        options.setdefault("max_length", 40_000)
        super().__init__(f"{label} [{unit}]", rows=6, look="column", **options)

    def clean(self, value: object) -> list[Decimal]:
        """Give the figures; what is no figure is named with its place."""
        text = super().clean(value)
        return figures_in(text)


def figures_in(text: str) -> list[Decimal]:
    """Give the figures of a pasted list."""
    parts = [part for part in _BETWEEN.split(text.strip()) if part]
    if len(parts) > MOST_READINGS:
        msg = f"{len(parts)} readings; at most {MOST_READINGS} are taken in one direction."
        raise forms.ValidationError(msg)
    return [_figure(part, place) for place, part in enumerate(parts, start=1)]


def _figure(part: str, place: int) -> Decimal:
    try:
        return parse_decimal(part)
    except GradationError as error:
        msg = f"Reading {place}, “{part[:20]}”: {error}"
        raise forms.ValidationError(msg) from error


def two_columns(content: bytes) -> tuple[str, str]:
    """Give the two columns of a file of aperture readings: along the warp, along the weft.

    A line holds one reading of each, divided by a semicolon, a tab or spaces; a first line of
    words is taken as the heading. A shorter column leaves its place empty, as in ``124.8;``.
    """
    lines = [line for line in _text_of(content).splitlines() if line.strip()]
    if lines and not re.search(r"\d", lines[0]):
        lines = lines[1:]
    columns: tuple[list[str], list[str]] = ([], [])
    for place, line in enumerate(lines, start=1):
        cells = [cell.strip() for cell in _COLUMNS.split(line.strip())]
        if len(cells) != len(columns):
            msg = f"Line {place} of the file has {len(cells)} columns; warp and weft are two."
            raise forms.ValidationError(msg)
        for column, cell in zip(columns, cells, strict=True):
            column.append(cell)
    return " ".join(columns[0]), " ".join(columns[1])


def _text_of(content: bytes) -> str:
    if len(content) > LARGEST_FILE:
        msg = f"The file has {len(content)} bytes; a list of readings has at most {LARGEST_FILE}."
        raise forms.ValidationError(msg)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


class RowsField(WordsField):
    """Rows of figures pasted as lines, each with so many figures."""

    def __init__(self, label: str, *, columns: int, **options: Any) -> None:
        self.columns = columns
        options.setdefault("max_length", 4_000)
        super().__init__(label, rows=6, look="long", **options)

    def clean(self, value: object) -> list[tuple[Decimal, ...]]:
        """Give the rows; a line with too few or too many figures is named."""
        lines = [line for line in super().clean(value).splitlines() if line.strip()]
        return [self._row(line, place) for place, line in enumerate(lines, start=1)]

    def _row(self, line: str, place: int) -> tuple[Decimal, ...]:
        cells = [cell for cell in _BETWEEN.split(line.strip()) if cell]
        if len(cells) != self.columns:
            msg = f"Line {place} has {len(cells)} figures; {self.columns} are asked for."
            raise forms.ValidationError(msg)
        try:
            return tuple(parse_decimal(cell) for cell in cells)
        except GradationError as error:
            msg = f"Line {place}: {error}"
            raise forms.ValidationError(msg) from error
