"""Certificates: which runs go on one, the signature, the reason of an amendment or withdrawal."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from gradation.models import Run, Sample
from gradation.queries.certificates import runs_for_certificate
from gradation.services.certify import Drafting
from gradation.web.forms.base import NotebookForm, ReasonField, WordsField


class RunsField(forms.ModelMultipleChoiceField):
    """Accepted runs of one sample, each to be ticked."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Run) -> str:
        """Name the run with who made it and who accepted it."""
        return f"{obj} · made by {obj.technician}, accepted by {obj.reviewer}"


class DraftForm(NotebookForm):
    """Which accepted runs go on the certificate, and remarks."""

    runs = RunsField(queryset=None, label="Accepted runs")
    remarks = WordsField(
        "Remarks on the certificate", look="long", rows=3, max_length=2000, required=False
    )

    def __init__(self, sample: Sample, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        runs = runs_for_certificate(sample)
        field = cast(RunsField, self.fields["runs"])
        field.queryset, field.initial = runs, list(runs)

    def drafting(self) -> Drafting:
        """Give the service what was chosen."""
        return Drafting(list(self.cleaned_data["runs"]), self.cleaned_data["remarks"])


class AmendForm(DraftForm):
    """An amendment: the runs and remarks again, and why."""

    reason = ReasonField("Why is it amended", help_text="Printed on the new certificate.")


class PasswordField(forms.CharField):
    """The signature: the person's own password, typed again."""

    look = ""

    def __init__(self, **options: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
        super().__init__(label="Your password", strip=False, widget=widget, **options)


class IssueForm(NotebookForm):
    """The electronic signature under a certificate."""

    password = PasswordField(help_text="Typed again, it is your signature under this certificate.")


class WithdrawForm(NotebookForm):
    """Why a certificate is withdrawn, under signature."""

    reason = ReasonField("Why is it withdrawn")
    password = PasswordField(help_text="Typed again, it is your signature under the withdrawal.")
