"""Review: what the reviewer answers."""

from __future__ import annotations

from typing import ClassVar

from django import forms

from gradation.web.forms.base import NotebookForm, ReasonField, WordsField


class AnswerForm(NotebookForm):
    """The answer to a run, with the version of the run that was looked at."""

    ACCEPT, RETURN, INVALIDATE = "accept", "return", "invalidate"
    ANSWERS: ClassVar[tuple[tuple[str, str], ...]] = (
        (ACCEPT, "accept"),
        (RETURN, "return for correction"),
        (INVALIDATE, "make invalid"),
    )

    version = forms.IntegerField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    reason = ReasonField(
        required=False,
        help_text="Needed to return a run, to make it invalid, and to accept one that is flagged.",
    )
    answer = forms.ChoiceField(
        label="Answer", choices=ANSWERS, widget=forms.RadioSelect, error_messages={}
    )
    went_through = forms.BooleanField(
        label="I went through the history of this run",
        required=False,
        help_text="Who entered, corrected and answered what; it stands below the readings.",
    )

    def seen_entry(self) -> int | None:
        """Give the newest entry of the history that was shown, if the reviewer went through it."""
        return self.cleaned_data["seen"] if self.cleaned_data["went_through"] else None


class LookForm(NotebookForm):
    """That somebody looked at what was written about a run since its review."""

    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    note = WordsField(
        "What you think of it",
        look="long",
        max_length=400,
        help_text="Kept in the record, with your name.",
    )
