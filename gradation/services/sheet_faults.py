"""What is wrong in a table that somebody hands in."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CellFault"]


@dataclass(frozen=True)
class CellFault:
    """One thing wrong with one cell: the row as the spreadsheet counts it, and the column."""

    row: int
    column: str
    message: str
