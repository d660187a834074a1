"""Incidents and the periodic review."""

from __future__ import annotations

from typing import Any

from gradation.web.forms.base import DayField, NotebookForm, WordsField


class IncidentForm(NotebookForm):
    """Why it happened, and what was done about it."""

    cause = WordsField("What caused it", look="long", rows=3, max_length=400)
    correction = WordsField(
        "What was done about it", look="long", rows=2, max_length=400, required=False
    )


class SpanForm(NotebookForm):
    """The days that a review looks at."""

    first = DayField("From")
    last = DayField("Until")

    def clean(self) -> dict[str, Any] | None:
        """Refuse days in the wrong order."""
        cleaned = super().clean() or {}
        if cleaned.get("first") and cleaned.get("last") and cleaned["first"] > cleaned["last"]:
            self.add_error("last", "It ends before it begins. Check both days.")
        return cleaned
