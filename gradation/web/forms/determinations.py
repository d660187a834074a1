"""Determinations: why one is set aside, or counts again."""

from __future__ import annotations

from gradation.web.forms.base import NotebookForm, ReasonField


class WhyForm(NotebookForm):
    """A reason."""

    reason = ReasonField()
