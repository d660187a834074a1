"""What is said of what is left of a sample: how long, why it is held, how it goes."""

from __future__ import annotations

from gradation.models import SampleHold
from gradation.services.retention import Disposal, Keeping
from gradation.web.forms.base import (
    DayField,
    NotebookForm,
    ReasonField,
    WordChoiceField,
    WordsField,
)

__all__ = ["DisposalForm", "HoldForm", "KeepingForm"]


class KeepingForm(NotebookForm):
    """Until when and where what is left is kept."""

    retain_until = DayField("Kept until")
    storage_place = WordsField("Place", max_length=80, required=False)
    hazard = WordsField(
        "Hazard",
        max_length=160,
        required=False,
        look="long",
        help_text="What whoever handles or throws it away must know.",
    )
    reason = ReasonField()

    def keeping(self) -> Keeping:
        """Give the service what was said."""
        names = ("retain_until", "storage_place", "hazard")
        return Keeping(**{name: self.cleaned_data[name] for name in names})


class HoldForm(NotebookForm):
    """Why nobody may dispose of it."""

    cause = WordChoiceField(
        "Cause",
        [(each.value, each.value) for each in SampleHold.Cause],
        help_text="While a query is open, no work is begun on the sample.",
    )
    reason = ReasonField()


class DisposalForm(NotebookForm):
    """How it goes, with its label scanned twice."""

    at_shelf = WordsField(
        "Label, scanned at the shelf", max_length=40, help_text="The sample's own label."
    )
    at_container = WordsField(
        "Label, scanned at the container",
        max_length=40,
        help_text="The same label once more, just before it goes.",
    )
    how = WordsField("How it is thrown away, and where to", max_length=160, look="long")
    reason = ReasonField()

    def disposal(self) -> Disposal:
        """Give the service what was said."""
        names = ("how", "at_shelf", "at_container")
        return Disposal(**{name: self.cleaned_data[name] for name in names})
