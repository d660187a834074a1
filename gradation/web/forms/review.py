"""Review: what the reviewer answers."""

from __future__ import annotations

from typing import ClassVar

from django import forms

from gradation.web.forms.base import NotebookForm, ReasonField


class AnswerForm(NotebookForm):
    """The answer to a run, with the version of the run that was looked at."""

    ACCEPT, RETURN, INVALIDATE = "accept", "return", "invalidate"
    ANSWERS: ClassVar[tuple[tuple[str, str], ...]] = (
        (ACCEPT, "accept"),
        (RETURN, "return for correction"),
        (INVALIDATE, "make invalid"),
    )

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = ReasonField(
        required=False,
        help_text="Needed to return a run, to make it invalid, and to accept one that is flagged.",
    )
    answer = forms.ChoiceField(
        label="Answer", choices=ANSWERS, widget=forms.RadioSelect, error_messages={}
    )
