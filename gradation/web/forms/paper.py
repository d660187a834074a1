"""Runs typed from paper: what the paper says as a whole, its scans, what a comparison found."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.db.models import QuerySet

from gradation.models import User
from gradation.queries.laboratory import people_list
from gradation.services.transcribing import OnPaper, ScanGiven
from gradation.web.forms.base import DayField, NotebookForm, ReasonField, RowField
from gradation.web.forms.equipment import UploadField


def workers() -> QuerySet[User]:
    """List who may have worked on paper: also who has left since."""
    return people_list().filter(customer__isnull=True).exclude(full_name="").order_by("full_name")


class ScanForm(NotebookForm):
    """One page of the paper."""

    file = UploadField(
        label="Scan or photograph of the paper",
        help_text="PDF, PNG, JPEG or plain text, up to 10 MB. It is kept and never replaced.",
    )

    def scan(self) -> ScanGiven:
        """Give the service the scan."""
        given: Any = self.cleaned_data["file"]
        return ScanGiven(given.name, given.read())


class PaperForm(ScanForm):
    """What the paper says of the work as a whole."""

    performed_on = DayField("Day of the work", help_text="As it stands on the paper.")
    performed_by = RowField("Who worked", workers, help_text="Who typed is kept by itself.")
    reason = ReasonField("Why it was recorded on paper")

    field_order = ("performed_on", "performed_by", "reason", "file")

    def told(self) -> OnPaper:
        """Give the service what the paper says."""
        names = ("performed_on", "performed_by", "reason")
        return OnPaper(**{name: self.cleaned_data[name] for name in names})


class ComparisonForm(NotebookForm):
    """What the comparison with the paper found."""

    AGREES, DIFFERS = "agrees", "differs"
    ANSWERS: ClassVar[tuple[tuple[str, str], ...]] = (
        (AGREES, "all that was typed stands so on the paper"),
        (DIFFERS, "something differs"),
    )

    agrees = forms.ChoiceField(label="Found", choices=ANSWERS, widget=forms.RadioSelect)
    note = ReasonField(
        "Note",
        required=False,
        help_text="What differs and where, such as the size of the sieve. Kept with your name.",
    )

    def found(self) -> dict[str, Any]:
        """Give the service what was found."""
        told = self.cleaned_data
        return {"agrees": told["agrees"] == self.AGREES, "note": told["note"]}
