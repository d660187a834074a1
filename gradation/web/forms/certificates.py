"""Certificates: which runs go on one, the signature, the reason of an amendment or withdrawal."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from gradation.models import Certificate, ExternalResult, Run, Sample, SamplingRecord
from gradation.queries.certificates import (
    runs_of_samples,
    samples_beside,
    specifications_beside,
)
from gradation.queries.report_forms import report_forms
from gradation.services.certify import Drafting
from gradation.web.forms.base import (
    DayField,
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)


class RunsField(forms.ModelMultipleChoiceField):
    """Accepted runs of one sample, each to be ticked."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Run) -> str:
        """Name the run with who made it and who accepted it."""
        return f"{obj} · made by {obj.technician}, accepted by {obj.reviewer}"


class SpecificationsField(forms.ModelMultipleChoiceField):
    """Specifications in force, each to be ticked."""

    widget = forms.CheckboxSelectMultiple


class DraftForm(NotebookForm):
    """Which accepted runs go on the certificate, and remarks."""

    runs = RunsField(queryset=None, label="Accepted runs")
    further_specifications = SpecificationsField(
        queryset=None,
        label="Compare with further specifications",
        required=False,
        help_text="Beside the one of the sample. Each gets its own statement of conformity.",
    )
    report_form = RowField(
        "Report form",
        report_forms,
        required=False,
        empty_label="that of the customer, the material or the laboratory",
    )
    uncertainty_asked = forms.BooleanField(
        label="The customer asked for the uncertainty", required=False
    )
    remarks = WordsField(
        "Remarks on the certificate", look="long", rows=3, max_length=2000, required=False
    )

    def __init__(self, sample: Sample, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        runs = runs_of_samples(self._samples(sample))
        field = cast(RunsField, self.fields["runs"])
        field.queryset = runs
        field.initial = [run for run in runs if run.portion.sample_id == sample.pk]
        self.sample = sample
        others = cast(SpecificationsField, self.fields["further_specifications"])
        others.queryset = specifications_beside(sample)

    def _samples(self, sample: Sample) -> list[Sample]:
        """List the samples whose runs are offered."""
        return [sample, *samples_beside(sample)]

    def drafting(self) -> Drafting:
        """Give the service what was chosen; other samples come along with their runs."""
        told = self.cleaned_data
        runs = list(told["runs"])
        beside = {run.portion.sample.pk: run.portion.sample for run in runs}
        beside.pop(self.sample.pk, None)
        return Drafting(
            runs=runs,
            remarks=told["remarks"],
            report_form=told["report_form"],
            uncertainty_asked=told["uncertainty_asked"],
            further_samples=list(beside.values()),
            further_specifications=list(told["further_specifications"]),
        )


class AmendForm(DraftForm):
    """An amendment: the runs and remarks again, and why."""

    reason = ReasonField("Why is it amended", help_text="Printed on the new certificate.")

    def __init__(self, certificate: Certificate, *args: Any, **kwargs: Any) -> None:
        self.certificate = certificate
        kwargs["initial"] = {
            "remarks": certificate.remarks,
            "uncertainty_asked": certificate.uncertainty_asked,
            "report_form": certificate.report_form_id,
            "further_specifications": list(certificate.further_specifications.all()),
        }
        super().__init__(certificate.sample, *args, **kwargs)
        self.fields["runs"].initial = list(certificate.runs.all())

    def _samples(self, sample: Sample) -> list[Sample]:
        return [sample, *self.certificate.further_samples.order_by("id")]


class PasswordField(forms.CharField):
    """The signature: the person's own password, typed again."""

    look = ""

    def __init__(self, **options: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": "current-password"})
        super().__init__(label="Your password", strip=False, widget=widget, **options)


class CodeField(forms.CharField):
    """The one-time code of a person who has a second factor."""

    look = "short"

    def __init__(self) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "one-time-code"}
        super().__init__(
            label="One-time code",
            required=False,
            max_length=40,
            widget=forms.TextInput(attrs=attrs),
            help_text="Only if you have a second factor.",
        )


class IssueForm(NotebookForm):
    """The electronic signature under a certificate."""

    password = PasswordField(help_text="Typed again, it is your signature under this certificate.")
    code = CodeField()


class DraftsField(forms.ModelMultipleChoiceField):
    """Drafts, each to be ticked."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Certificate) -> str:
        """Name the draft by its sample and who drafted it."""
        sample = obj.sample
        return f"{sample} · {sample.material} · {sample.customer} · drafted by {obj.drafted_by}"


class IssueManyForm(NotebookForm):
    """Several drafts under one signature."""

    drafts = DraftsField(queryset=None, label="Drafts to issue")
    sends_mail = forms.BooleanField(
        label="Send each to its customer by e-mail", required=False, initial=False
    )
    password = PasswordField(help_text="Typed again, it is your signature under each of them.")
    code = CodeField()

    def __init__(self, drafts: QuerySet[Certificate], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(DraftsField, self.fields["drafts"]).queryset = drafts


class MailForm(NotebookForm):
    """Where a certificate is sent."""

    address = forms.EmailField(label="E-mail address", max_length=254)


class PolicyForm(NotebookForm):
    """A new version of what signatories bind themselves to."""

    text = WordsField("Signing policy", look="long", rows=8, max_length=4000)


class AcceptForm(NotebookForm):
    """The signatory's own yes to the version they read."""

    version = forms.IntegerField(widget=forms.HiddenInput)


class WithdrawForm(NotebookForm):
    """Why a certificate is withdrawn, under signature."""

    reason = ReasonField("Why is it withdrawn")
    password = PasswordField(help_text="Typed again, it is your signature under the withdrawal.")
    code = CodeField()


class GiveUpForm(NotebookForm):
    """Why a signed certificate is never issued, under signature."""

    reason = ReasonField("Why is it given up")
    password = PasswordField(help_text="Typed again, it is your signature under this.")
    code = CodeField()


class OmissionForm(NotebookForm):
    """Which missing item is left out of a draft, and why."""

    item = WordChoiceField("Item", [])
    reason = ReasonField("Why is it left out", help_text="Printed on the certificate.")

    def __init__(self, gaps: list[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(WordChoiceField, self.fields["item"]).choices = [(gap, gap) for gap in gaps]


class OpinionForm(NotebookForm):
    """An opinion or interpretation, and what it rests on."""

    text = WordsField("Opinion or interpretation", look="long", rows=4, max_length=2000)
    basis = WordsField("What it rests on", look="long", rows=2, max_length=400)


class ExternalResultForm(NotebookForm):
    """What another laboratory found."""

    name = WordsField("What was determined", max_length=120)
    value = WordsField("Result", look="short", max_length=40)
    unit = WordsField("Unit", look="short", max_length=20, help_text="1 where it has none.")
    method = WordsField("Method", max_length=160)
    provider = WordsField("Laboratory", max_length=160)
    report = WordsField("Its report", max_length=120)
    uncertainty = WordsField("± U", look="short", max_length=40, required=False)

    def result(self) -> ExternalResult:
        """Build the row that the service takes."""
        return ExternalResult(**self.cleaned_data)


class SamplingForm(NotebookForm):
    """How the laboratory took a sample: six things to state (ISO/IEC 17025:2017, 7.8.5)."""

    sampled_on = DayField("Day of sampling")
    item = WordsField("What was sampled", max_length=160)
    place = WordsField("Place", max_length=160)
    plan = WordsField("Plan and method, with its edition", look="long", max_length=240)
    conditions = WordsField("Conditions that could matter", look="long", max_length=240)
    uncertainty = WordsField("What is needed to judge the uncertainty", look="long", max_length=240)

    def record(self) -> SamplingRecord:
        """Build the row that the service takes."""
        return SamplingRecord(**self.cleaned_data)
