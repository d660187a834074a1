"""Preparation: how portions are divided, and how they are dried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Self
from uuid import uuid4

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict

from gradation.models import Division as Way
from gradation.models import (
    Equipment,
    Instrument,
    ProcedureVersion,
    Run,
    Sample,
    TestPortion,
)
from gradation.queries.equipment import instrument_list
from gradation.queries.halves import halves_drawn, said_half
from gradation.queries.portion_mass import size_asked, top_size_of
from gradation.queries.portions import portion_label
from gradation.science.apertures import designation, parse_aperture
from gradation.science.errors import GradationError
from gradation.services.dryings import MassReading, Oven
from gradation.services.preparation import HALVED, MOST_AT_ONCE, MOST_PASSES, Division
from gradation.web.forms.base import (
    FigureField,
    NotebookForm,
    ReasonField,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.bench import InstrumentField
from gradation.web.forms.bench import MomentField as SentMomentField

#: Passes offered where the procedure names no least number.
_USUAL_PASSES = 3


def dividers() -> QuerySet[Instrument]:
    """List the dividers in service."""
    return _in_service(Equipment.Kind.DIVIDER)


def ovens() -> QuerySet[Instrument]:
    """List the ovens in service."""
    return _in_service(Equipment.Kind.OVEN)


def _in_service(kind: Equipment.Kind) -> QuerySet[Instrument]:
    return instrument_list().filter(kind=kind, state=Equipment.State.IN_SERVICE)


class SizeField(WordsField):
    """A size as the trade writes it; gives µm."""

    def clean(self, value: object) -> Decimal | None:
        """Read '16 mm', '600 µm', '3/8 in.' or 'No. 200'."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_aperture(text)
        except GradationError as error:
            raise forms.ValidationError(str(error)) from error


@dataclass(frozen=True)
class Turn:
    """One pass of the divider and the half that chance chose for it."""

    number: int
    half: str
    words: str


@dataclass(frozen=True)
class ToBe:
    """A portion about to be made: its label, its halves, and the fields about it."""

    label: str
    turns: tuple[Turn, ...]
    mass: forms.BoundField
    taken: forms.BoundField | None


class PortionForm(NotebookForm):
    """How test portions are divided from a sample or from one of its portions."""

    way = WordChoiceField("Divided by", [(way.value, way.value) for way in Way])
    divider = InstrumentField("Divider", dividers, required=False)
    passes = WholeField("Passes", min_value=1, max_value=MOST_PASSES, required=False, look="short")
    count = WholeField("Portions", min_value=1, max_value=MOST_AT_ONCE, look="short")
    top_size_um = SizeField(
        "Size of the material",
        look="short",
        max_length=20,
        required=False,
    )
    words = WordsField(
        "In words",
        look="long",
        max_length=110,
        required=False,
        help_text="How, when it was another way; or what else there is to say of it.",
    )
    reason = ReasonField(
        "Why another half was kept",
        required=False,
        max_length=240,
        help_text="Only when a half was kept that was not drawn.",
    )
    first_label = forms.CharField(widget=forms.HiddenInput, max_length=28)

    def __init__(
        self,
        sample: Sample,
        parent: TestPortion | None,
        data: QueryDict | None = None,
        asked: QueryDict | None = None,
    ) -> None:
        self.sample, self.parent = sample, parent
        self.there = sample.portions.count()
        start = self._start(sample) | (asked.dict() if asked else {})
        super().__init__(data, initial=start)
        told: Mapping[str, Any] = data if data is not None else start
        self.chosen_way = str(told.get("way") or "")
        self.asked_passes = _whole(told.get("passes"), MOST_PASSES)
        self.asked_count = max(1, _whole(told.get("count"), MOST_AT_ONCE))
        asked_size = size_asked(sample.procedure_version) or "largest grains"
        for name in ("divider", "passes"):
            self.fields[name].says_when = True  # type: ignore[attr-defined]
        self.fields[
            "top_size_um"
        ].help_text = f"{asked_size[:1].upper()}{asked_size[1:]}, with the unit: 16 mm, 600 µm."
        self._add_portions()

    def _start(self, sample: Sample) -> dict[str, Any]:
        procedure = sample.procedure_version
        known = top_size_of(sample)
        only = list(dividers()[:2])
        return {
            "way": Way.RIFFLE.value,
            "divider": only[0].pk if len(only) == 1 else None,
            "passes": procedure.divider_passes or _USUAL_PASSES,
            "count": max(1, procedure.determinations - self.there),
            "top_size_um": designation(known.size_um) if known else "",
            "first_label": portion_label(sample, self.there),
        }

    def _add_portions(self) -> None:
        """Give each portion to be made its fields."""
        for n in range(self.asked_count):
            self.fields[f"mass_{n}"] = FigureField(
                "Mass taken", unit="g", required=False, max_length=20
            )
            if self.chosen_way in HALVED:
                self.fields[f"taken_{n}"] = WordsField(
                    "Kept instead",
                    max_length=80,
                    required=False,
                    help_text="If not as drawn: L or R for each pass.",
                )

    @property
    def portions(self) -> list[ToBe]:
        """List the portions to be made, each with the halves chance chose for it."""
        return [self._to_be(n) for n in range(self.asked_count)]

    def _to_be(self, n: int) -> ToBe:
        passes = self.asked_passes if self.chosen_way in HALVED else 0
        drawn = halves_drawn(self.sample.number, self.there + n, passes)
        turns = tuple(
            Turn(number, half, said_half(self.chosen_way, half))
            for number, half in enumerate(drawn, 1)
        )
        taken = f"taken_{n}"
        return ToBe(
            portion_label(self.sample, self.there + n),
            turns,
            self[f"mass_{n}"],
            self[taken] if taken in self.fields else None,
        )

    @property
    def general(self) -> list[forms.BoundField]:
        """List the fields that hold for all portions."""
        names = ("way", "divider", "passes", "count", "top_size_um", "words")
        return [self[name] for name in names]

    def division(self) -> Division:
        """Give the service what was typed."""
        told = self.cleaned_data
        each = range(self.asked_count)
        return Division(
            way=told["way"],
            words=told["words"],
            divider=told["divider"],
            passes=told["passes"],
            parent=self.parent,
            taken=[told.get(f"taken_{n}", "") for n in each],
            reason=told["reason"],
            masses_g=[told.get(f"mass_{n}") for n in each],
            top_size_um=told["top_size_um"],
            first_label=told["first_label"],
        )


def _whole(value: object, most: int) -> int:
    text = str(value or "")
    return min(int(text), most) if text.isascii() and text.isdigit() and len(text) < 4 else 0


class MassTextField(WordsField):
    """A mass as the balance shows it; the service reads the text, as typed."""

    unit = "g"

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(label, look="short", max_length=40, required=False, **options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}


class OvenForm(NotebookForm):
    """Into the oven: which, how hot, in what, and by which limit its mass is constant."""

    oven = InstrumentField("Oven", ovens, required=False)
    temperature_c = FigureField("Set to", unit="°C", required=False)
    container_text = MassTextField("Container", help_text="Empty container; leave open if tared.")
    moist_text = MassTextField(
        "Mass before drying", help_text="With its container, if one is named."
    )
    limit_pct = FigureField("Constant when it changes by at most", unit="%", required=False)
    limit_source = WordsField(
        "Limit taken from", max_length=160, required=False, help_text="Standard, clause, edition."
    )

    def __init__(
        self, portion: TestPortion, procedure: ProcedureVersion, data: QueryDict | None = None
    ) -> None:
        only = list(ovens()[:2])
        start = {
            "oven": only[0].pk if len(only) == 1 else None,
            "temperature_c": procedure.drying_temperature_c,
        }
        super().__init__(data, initial=start)
        for name in ("oven", "temperature_c", "limit_pct", "limit_source"):
            self.fields[name].says_when = True  # type: ignore[attr-defined]
        if procedure.constant_mass_pct is not None:
            del self.fields["limit_pct"], self.fields["limit_source"]
        if portion.moist_mass_g is not None:
            del self.fields["moist_text"]

    def without_moist_mass(self) -> OvenForm:
        """Leave out the mass before drying: after washing there is none to keep."""
        self.fields.pop("moist_text", None)
        return self

    def put_in(self, run: Run | None) -> Oven:
        """Give the service what was typed; with a run it is dried after washing."""
        return Oven(**self.cleaned_data, run=run)


class DryingMassForm(NotebookForm):
    """The next weighing of a drying."""

    number = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=1000)
    key = forms.UUIDField(widget=forms.HiddenInput)
    text = MassTextField("Mass")

    @classmethod
    def of(cls, number: int, data: QueryDict | None = None) -> Self:
        """Ask for the weighing of this number, under a key of its own."""
        form = cls(data, initial={"number": number, "key": uuid4()})
        form.fields["text"].label = f"Weighing {number}"
        form.fields["text"].required = True
        form.fields["text"].widget.attrs["autofocus"] = True
        return form

    def reading(self) -> MassReading:
        """Give the service the weighing."""
        return MassReading(**self.cleaned_data)


class DryingCorrectionForm(DryingMassForm):
    """A further value in a weighing's place, and why."""

    reason = ReasonField("Why is it corrected")

    def reading(self) -> MassReading:
        """Give the service the weighing."""
        return MassReading(*(self.cleaned_data[name] for name in ("number", "text", "key")))


class ContainerForm(NotebookForm):
    """The mass of a drying's empty container as it is in truth, and why it is corrected."""

    container_text = MassTextField("Container", help_text="Empty: there was none, or it was tared.")
    reason = ReasonField("Why is it corrected")


class DryingReadingForm(forms.Form):
    """One weighing of a drying as the page's script sends it; the service judges the text.

    With a reason it corrects the weighing `over`, which is the one the person saw.
    """

    number = forms.IntegerField(min_value=1, max_value=1000)
    text = forms.CharField(max_length=200, required=False)
    key = forms.UUIDField()
    observed_at = SentMomentField(required=False)
    sent_at = SentMomentField(required=False)
    person = forms.IntegerField(required=False)
    reason = forms.CharField(max_length=400, required=False)
    over = forms.IntegerField(required=False)

    _OF_THE_READING = ("number", "text", "key", "observed_at", "sent_at")

    def reading(self) -> MassReading:
        """Give the service the weighing."""
        return MassReading(**{name: self.cleaned_data[name] for name in self._OF_THE_READING})


class DryingEndForm(NotebookForm):
    """Out of the oven for good."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = ReasonField("Why it is given up", max_length=240, required=False)


class AsReceivedForm(NotebookForm):
    """Why a portion is tested with its natural moisture."""

    reason = ReasonField(
        "Why it is tested as received",
        max_length=160,
        help_text="Such as: the customer asks for the natural basis; heat would alter it.",
    )
