"""Intake: what is written when a sample arrives, and how a portion was made of it."""

from __future__ import annotations

from typing import ClassVar

from django import forms

from gradation.models import Sample, Source
from gradation.queries.laboratory import customer_list, material_list, source_list
from gradation.queries.methods import released_procedures, released_specifications
from gradation.services import clock
from gradation.services.intake import Delivery
from gradation.web.forms.base import (
    DayField,
    FigureField,
    MomentField,
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)


class SourceField(RowField):
    """A source with the customer it belongs to."""

    def label_from_instance(self, obj: Source) -> str:
        """Name the source and, behind it, its customer."""
        return f"{obj.name} · {obj.customer.name}"


class SampleForm(NotebookForm):
    """What is known of a sample when it is handed over."""

    customer = RowField("Customer", customer_list)
    source = SourceField("Source", source_list, required=False)
    material = RowField("Material", material_list)
    lot = WordsField("Lot", max_length=120, required=False)
    customer_reference = WordsField("Customer's reference", max_length=120, required=False)
    description = WordsField("Description", look="long", required=False)

    sampled_by = WordChoiceField(
        "Sampled by", [(who.value, who.value) for who in Sample.SampledBy], look="short"
    )
    sampler_name = WordsField("Sampler's name", max_length=120, required=False)
    sampling_method = WordsField("Sampling method", max_length=160, required=False)
    sampled_at = MomentField("Sampled when", required=False)

    received_at = MomentField("Received when", required=False, help_text="Empty: now.")
    condition = WordsField(
        "Condition on receipt",
        look="long",
        max_length=200,
        help_text="Container, seal, moisture seen, anything that differs from the paper.",
    )
    mass_received_g = FigureField("Mass as received", unit="g", required=False)
    storage_place = WordsField("Storage place", max_length=80, required=False)
    due_on = DayField("Due on", required=False)

    procedure_version = RowField(
        "Procedure", released_procedures, required=False, empty_label="the material's own"
    )
    specification_version = RowField(
        "Specification",
        lambda: released_specifications(clock.today()),
        required=False,
        empty_label="the material's own",
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        (
            "Whose, and what",
            ("customer", "source", "material", "lot", "customer_reference", "description"),
        ),
        ("How it was taken", ("sampled_by", "sampler_name", "sampling_method", "sampled_at")),
        (
            "How it arrived",
            ("received_at", "condition", "mass_received_g", "storage_place", "due_on"),
        ),
        ("How it is tested", ("procedure_version", "specification_version")),
    )

    def delivery(self) -> Delivery:
        """Give the service what was typed."""
        return Delivery(**{name: self.cleaned_data[name] for name in self.DELIVERY})

    DELIVERY: ClassVar[tuple[str, ...]] = tuple(name for _, names in groups for name in names)


class SampleChangeForm(SampleForm):
    """A correction of what was written about a sample."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = ReasonField("Why is it changed")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        *SampleForm.groups,
        ("Why", ("reason",)),
    )


class ReasonForm(NotebookForm):
    """A reason alone, for acts that are taken back or refused."""

    reason = ReasonField()
