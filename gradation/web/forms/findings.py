"""Reasons for what the checks find before a run is opened: asked for in the form and kept."""

from __future__ import annotations

from typing import Any

from django import forms

from gradation.errors import Fault, Invalid, Refusal
from gradation.services.finding_records import SAY_WHY
from gradation.web.forms.base import NotebookForm, ReasonField

__all__ = ["FindingReasonsForm"]

#: As the service names the field of a finding's reason, and the words that go with it.
_REASON, _ABOUT = "reason-", "about-"
_MOST_SENTENCE = 600


class FindingReasonsForm(NotebookForm):
    """A form to which a refusal adds one reason field for each finding that asks for one."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.data:
            if name.startswith(_REASON):
                key = name.removeprefix(_REASON)
                self._ask(key, str(self.data.get(f"{_ABOUT}{key}", ""))[:_MOST_SENTENCE])

    def _ask(self, key: str, sentence: str) -> None:
        self.fields[f"{_REASON}{key}"] = ReasonField(sentence or "Reason", required=False)
        about = forms.CharField(widget=forms.HiddenInput, required=False, initial=sentence)
        self.fields[f"{_ABOUT}{key}"] = about

    @property
    def reason_names(self) -> list[str]:
        """List the names of the reason fields, in the order they were asked for."""
        return [name for name in self.fields if name.startswith(_REASON)]

    @property
    def reasons(self) -> dict[str, str]:
        """Give the reasons typed, by the findings' keys."""
        told = {name: self.cleaned_data.get(name, "") for name in self.reason_names}
        return {name.removeprefix(_REASON): reason for name, reason in told.items()}

    def take(self, refusal: Refusal) -> None:
        """Ask for the reasons that a refusal wants, each under the finding's own words."""
        for fault in refusal.faults if isinstance(refusal, Invalid) else ():
            if fault.field.startswith(_REASON) and fault.field not in self.fields:
                sentence = fault.message.removesuffix(SAY_WHY).rstrip(" .")
                self._ask(fault.field.removeprefix(_REASON), sentence)
        super().take(_without_words(refusal))


def _without_words(refusal: Refusal) -> Refusal:
    """Say the finding once: its words are the field's label."""
    if not isinstance(refusal, Invalid):
        return refusal
    said = f"{SAY_WHY[:-1]}, or choose others."
    return Invalid(
        Fault(each.field, said, each.code) if each.field.startswith(_REASON) else each
        for each in refusal.faults
    )
