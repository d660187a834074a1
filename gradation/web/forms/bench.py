"""Bench: where one works, the nest of a run, readings and their corrections, handing over."""

from __future__ import annotations

from typing import Any, ClassVar, cast

from django import forms
from django.db.models import QuerySet

from gradation.errors import Invalid
from gradation.models import Equipment, Instrument, Nest, NestSieve, Procedure, Sieve
from gradation.queries.equipment import bench_list, instrument_list, nests_for
from gradation.services.bench import HandOver, Setup
from gradation.services.weighing import Reading
from gradation.web.forms.base import (
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WordsField,
)
from gradation.web.forms.sizes import SerialsField


class BenchPickForm(NotebookForm):
    """The bench this browser stands at."""

    bench = RowField("Bench", bench_list)


class NestChoiceField(RowField):
    """A nest with the number of its sieves."""

    def label_from_instance(self, obj: Nest) -> str:
        """Name the nest and the bench where it stands."""
        return f"{obj.name} · {obj.bench}" if obj.bench else obj.name


def balances() -> QuerySet[Instrument]:
    """List the balances in service."""
    return _in_service(Equipment.Kind.BALANCE)


def shakers() -> QuerySet[Instrument]:
    """List the shakers in service."""
    return _in_service(Equipment.Kind.SHAKER)


def _in_service(kind: Equipment.Kind) -> QuerySet[Instrument]:
    return instrument_list().filter(kind=kind, state=Equipment.State.IN_SERVICE)


class InstrumentField(RowField):
    """An instrument by serial number, model and where it stands."""

    def label_from_instance(self, obj: Instrument) -> str:
        """Name the instrument and its bench."""
        where = str(obj.bench) if obj.bench else obj.place
        return " · ".join(word for word in (obj.serial, obj.model, where) if word)


class RunForm(NotebookForm):
    """Where and with which sieves a run is made."""

    bench = RowField("Bench", bench_list)
    nest = NestChoiceField("Nest", Nest.objects.none, required=False)
    sieves = SerialsField(
        "Or scan the sieves",
        look="serial",
        rows=5,
        max_length=2000,
        required=False,
        help_text="Serial numbers from the top down, one a line. They take the nest's place.",
    )

    balance = InstrumentField("Balance", balances, required=False)
    shaker = InstrumentField(
        "Shaker",
        shakers,
        required=False,
        help_text="Left open: balances and shakers that stand at the bench.",
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("", ("bench", "nest", "sieves")),
        ("Weighed and shaken on", ("balance", "shaker")),
    )

    def __init__(self, procedure: Procedure, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(NestChoiceField, self.fields["nest"])
        field.queryset = nests_for(procedure)

    def setup(self) -> Setup:
        """Give the service the bench and the sieves, coarse to fine as they stand."""
        nest, scanned = self.cleaned_data["nest"], self.cleaned_data["sieves"]
        sieves = scanned or self._standing(nest)
        if not sieves:
            msg = "Choose a nest, or scan its sieves from the top down."
            raise Invalid.one("nest", msg, code="no-sieves")
        chosen = (self.cleaned_data[name] for name in ("balance", "shaker"))
        instruments = tuple(item for item in chosen if item)
        return Setup(self.cleaned_data["bench"], sieves, None if scanned else nest, instruments)

    def _standing(self, nest: Nest | None) -> list[Sieve]:
        places: list[NestSieve] = list(nest.places.all()) if nest else []
        return [place.sieve for place in places]


class ReadingForm(forms.Form):
    """One reading from the weighing screen; the service judges the text itself."""

    slot = forms.CharField(max_length=24)
    position = forms.IntegerField(min_value=0, max_value=1000)
    text = forms.CharField(max_length=200, required=False)
    tare_text = forms.CharField(max_length=200, required=False)
    key = forms.UUIDField()

    def reading(self) -> Reading:
        """Give the service the reading."""
        return Reading(**self.cleaned_data)


class CorrectionForm(NotebookForm):
    """A further value in a reading's place, and why."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    text = WordsField("New value", look="short", max_length=40)
    tare_text = WordsField(
        "Tare",
        look="short",
        max_length=40,
        required=False,
        help_text="With a tare, the new value is the gross mass.",
    )
    reason = ReasonField("Why is it corrected")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("text", "tare_text"):
            self.fields[name].unit = "g"  # type: ignore[attr-defined]
            self.fields[name].widget.attrs["inputmode"] = "decimal"


class HandOverForm(NotebookForm):
    """What the technician says of the whole run."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    shaking_minutes = FigureField("Shaken for", unit="min", required=False)
    deviations = WordsField(
        "Deviations",
        look="long",
        rows=2,
        max_length=2000,
        required=False,
        help_text="What was done otherwise than the procedure says, and why.",
    )

    def hand_over(self) -> HandOver:
        """Give the service what was said."""
        return HandOver(self.cleaned_data["shaking_minutes"], self.cleaned_data["deviations"])
