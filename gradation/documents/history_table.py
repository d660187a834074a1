"""A history as a table: one line an entry, for spreadsheets."""

from __future__ import annotations

from gradation.documents.csv_text import csv_text
from gradation.documents.history import HistoryChange, HistoryContent

__all__ = ["HEADINGS", "history_csv"]

HEADINGS = ("when", "who", "where", "what", "changes", "reason", "equipment", "digest")


def history_csv(content: HistoryContent) -> str:
    """Return the history as CSV, oldest entry first; times are in the zone of the content."""
    rows = (
        (
            entry.at,
            entry.person,
            entry.place,
            entry.what,
            "; ".join(_change(change) for change in entry.changes),
            entry.reason,
            "; ".join(entry.equipment),
            entry.digest,
        )
        for entry in content.entries
    )
    return csv_text(HEADINGS, rows)


def _change(change: HistoryChange) -> str:
    return f"{change.field}: {change.was or '–'} → {change.now or '–'}"
