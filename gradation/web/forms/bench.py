"""Bench: where one works, the nest of a run, readings and their corrections, handing over."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, ClassVar, cast

from django import forms
from django.db.models import QuerySet

from gradation.errors import Invalid
from gradation.models import Equipment, Instrument, Nest, NestSieve, Procedure, Sieve, Weighing
from gradation.queries.equipment import bench_list, instrument_list, nests_for
from gradation.services.bench import HandOver, Setup
from gradation.services.weighing import Reading
from gradation.web.bench_page import Seen
from gradation.web.forms.base import (
    FigureField,
    Group,
    NotebookForm,
    ReasonField,
    RowField,
    WordsField,
)
from gradation.web.forms.findings import FindingReasonsForm
from gradation.web.forms.sizes import SerialsField

_LARGEST_KEY = 2**63 - 1


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


class RunForm(FindingReasonsForm):
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

    reliefs = SerialsField(
        "Relief sieves among them",
        look="serial",
        max_length=200,
        required=False,
        help_text="Sizes the procedure does not ask for, put in against overload.",
    )

    balance = InstrumentField("Balance", balances, required=False)
    shaker = InstrumentField(
        "Shaker",
        shakers,
        required=False,
        help_text="Left open: balances and shakers that stand at the bench.",
    )

    no_pan = forms.BooleanField(label="The pan is missing below the nest", required=False)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("", ("bench", "nest", "sieves", "reliefs", "no_pan")),
        ("Weighed and shaken on", ("balance", "shaker")),
    )

    @property
    def grouped(self) -> list[Group]:
        """List the fields in their groups, what the checks ask for first."""
        asked = [self[name] for name in self.reason_names]
        first = [Group("Why is it opened all the same", asked)] if asked else []
        return [*first, *super().grouped]

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
        return Setup(
            self.cleaned_data["bench"],
            sieves,
            None if scanned else nest,
            instruments,
            frozenset(sieve.pk for sieve in self.cleaned_data["reliefs"]),
            has_pan=not self.cleaned_data["no_pan"],
            reasons=self.reasons,
        )

    def _standing(self, nest: Nest | None) -> list[Sieve]:
        places: list[NestSieve] = list(nest.places.all()) if nest else []
        return [place.sieve for place in places]


class MomentField(forms.DateTimeField):
    """A moment by a client's clock; one that cannot be read is left out, not refused."""

    def to_python(self, value: str | datetime | date | None) -> datetime | None:
        """Read an ISO moment with its zone, or nothing."""
        try:
            return super().to_python(value)
        except (forms.ValidationError, OverflowError):
            return None


class SeenForm(forms.Form):
    """How far a page has been told of its run, and how it draws."""

    since = forms.IntegerField(required=False, min_value=0, max_value=_LARGEST_KEY)
    version = forms.IntegerField(required=False)
    scale = forms.CharField(max_length=20, required=False)
    direction = forms.CharField(max_length=20, required=False)
    gross = forms.BooleanField(required=False)


class ReadingForm(SeenForm):
    """One reading from the weighing screen; the service judges the text itself.

    With a reason it corrects the reading `over`, which is the one the person saw.
    """

    slot = forms.CharField(max_length=24)
    position = forms.IntegerField(min_value=0, max_value=1000)
    increment = forms.IntegerField(min_value=1, max_value=1000, required=False)
    text = forms.CharField(max_length=200, required=False)
    tare_text = forms.CharField(max_length=200, required=False)
    key = forms.UUIDField()
    observed_at = MomentField(required=False)
    person = forms.IntegerField(required=False)
    reason = forms.CharField(max_length=400, required=False)
    over = forms.IntegerField(required=False)

    _OF_THE_READING = ("slot", "position", "text", "tare_text", "key", "observed_at")

    def reading(self) -> Reading:
        """Give the service the reading."""
        told = {name: self.cleaned_data[name] for name in self._OF_THE_READING}
        return Reading(increment=self.cleaned_data["increment"] or 1, **told)

    def seen(self, kept: Weighing) -> Seen:
        """Say what the page knows; one that does not say is told of its own reading only."""
        since = self.cleaned_data["since"]
        axis = {name: self.cleaned_data[name] for name in ("scale", "direction", "gross")}
        return Seen(kept.pk - 1 if since is None else since, kept.key, **axis)


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
    """What the technician says of the whole run.

    Where a shaking is recorded, its minutes are not asked for a second time; what was typed before
    it was recorded is taken all the same.
    """

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
    climate = WordsField(
        "Climate",
        max_length=80,
        required=False,
        help_text="Temperature and humidity, where they matter; the certificate states them.",
    )

    def __init__(self, *args: Any, is_shaking_recorded: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_shaking_recorded and not self.data.get("shaking_minutes"):
            del self.fields["shaking_minutes"]

    def hand_over(self) -> HandOver:
        """Give the service what was said."""
        minutes = self.cleaned_data.get("shaking_minutes")
        told = self.cleaned_data
        return HandOver(minutes, told["deviations"], told["climate"])
