"""Instruments by kind, and lots of reference material."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.models import Equipment, Instrument, ReferenceLot
from gradation.science.apertures import parse_aperture
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.web.forms.base import (
    DayField,
    FigureField,
    Group,
    NotebookForm,
    ReasonField,
    WholeField,
    WordsField,
)
from gradation.web.forms.equipment import WhereForm

Kind = Equipment.Kind

INSTRUMENT_KINDS = [(kind.value, kind.value) for kind in Kind if kind is not Kind.SIEVE]

#: What a card of each kind says beyond what all cards say.
FIGURES: dict[str, tuple[str, ...]] = {
    Kind.SHAKER: (
        "motion",
        "frequency_hz",
        "taps_per_min",
        "amplitude_min_mm",
        "amplitude_max_mm",
        "greatest_nest_g",
    ),
    Kind.BALANCE: ("capacity_g", "readability_g", "uncertainty_g"),
    Kind.OVEN: ("set_temperature_c", "temperature_tolerance_c"),
    Kind.DIVIDER: ("chute_width_mm",),
    Kind.TIMER: (),
    Kind.THERMOMETER: ("set_temperature_c", "temperature_tolerance_c"),
}
_ALWAYS = ("model", "firmware")
_PLACE = ("place", "bench", "keeper", "bought_on", "in_service_since", "note")


class InstrumentFigures(WhereForm):
    """Everything that a card of some kind of instrument may say."""

    model = WordsField("Model", max_length=80, required=False)
    firmware = WordsField("Firmware", max_length=40, required=False)
    motion = WordsField(
        "Motion",
        max_length=80,
        required=False,
        help_text="Vertical throw with turn, horizontal circle, horizontal with tapping, air jet.",
    )
    frequency_hz = FigureField("Frequency", unit="Hz", required=False)
    taps_per_min = WholeField("Taps", unit="/min", required=False)
    amplitude_min_mm = FigureField("Least amplitude", unit="mm", required=False)
    amplitude_max_mm = FigureField("Greatest amplitude", unit="mm", required=False)
    greatest_nest_g = FigureField(
        "Greatest mass of a nest", unit="g", required=False, help_text="Sieves and sample."
    )
    capacity_g = FigureField("Capacity", unit="g", required=False)
    readability_g = FigureField("Readability", unit="g", required=False)
    uncertainty_g = FigureField("Standard uncertainty", unit="g", required=False)
    set_temperature_c = FigureField("Set temperature", unit="°C", required=False)
    temperature_tolerance_c = FigureField("Allowed deviation", unit="°C", required=False)
    chute_width_mm = FigureField("Width of a chute", unit="mm", required=False)
    limits_source = WordsField(
        "Where these limits come from", look="long", max_length=160, required=False
    )

    def __init__(self, kind: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind
        strange = {name for names in FIGURES.values() for name in names} - set(FIGURES[kind])
        for name in strange:
            del self.fields[name]

    def _told(self) -> list[str]:
        return [*_ALWAYS, *FIGURES[self.kind], *(["limits_source"] if FIGURES[self.kind] else [])]


class InstrumentForm(InstrumentFigures):
    """A new instrument of one kind."""

    serial = WordsField("Serial number", look="serial", max_length=40)
    check_interval_days = WholeField("Check every", unit="days", required=False, min_value=1)
    check_interval_uses = WholeField("or every", unit="uses", required=False, min_value=1)
    next_check_on = DayField("Next check on", required=False)

    @property
    def grouped(self) -> list[Group]:
        """Show what it is, where it stands, and its checks."""
        checks = ("check_interval_days", "check_interval_uses", "next_check_on")
        return [
            Group("What it is", [self[name] for name in ("serial", *self._told())]),
            Group("Where, whose and since when", [self[name] for name in _PLACE]),
            Group("Checks", [self[name] for name in checks]),
        ]

    def instrument(self) -> Instrument:
        """Give the service the instrument that was described."""
        return Instrument(kind=self.kind, **self.cleaned_data)


class InstrumentChangeForm(InstrumentFigures):
    """What may change on an instrument's card; its serial number never does."""

    reason = ReasonField("Why is the card changed")

    @property
    def grouped(self) -> list[Group]:
        """Show what it is, where it stands, and why it is changed."""
        return [
            Group("What it is", [self[name] for name in self._told()]),
            Group("Where, whose and since when", [self[name] for name in _PLACE]),
            Group("", [self["reason"]]),
        ]


class CertifiedField(WordsField):
    """A certified distribution: a line a sieve, with aperture, passing and its uncertainty."""

    def clean(self, value: object) -> list[dict[str, str]]:
        """Give the lines as the lot keeps them, coarse to fine."""
        lines = [line for line in super().clean(value).splitlines() if line.strip()]
        rows = [_certified(line, place) for place, line in enumerate(lines, start=1)]
        return sorted(rows, key=lambda row: -parse_decimal(row["aperture_um"]))


def _certified(line: str, place: int) -> dict[str, str]:
    cells = [cell.strip() for cell in line.replace("\t", ";").split(";")]
    if len(cells) != 3:  # aperture, passing, uncertainty
        msg = f"Line {place} has {len(cells)} parts; aperture; passing; uncertainty are three."
        raise forms.ValidationError(msg)
    try:
        aperture_um = parse_aperture(cells[0])
        passing_pct, u_pct = parse_decimal(cells[1]), parse_decimal(cells[2])
    except GradationError as error:
        msg = f"Line {place}: {error}"
        raise forms.ValidationError(msg) from error
    return {"aperture_um": str(aperture_um), "passing_pct": str(passing_pct), "u_pct": str(u_pct)}


class LotForm(NotebookForm):
    """A lot of reference material, as its certificate says."""

    name = WordsField("Reference material", max_length=120)
    lot = WordsField("Lot", max_length=80)
    certificate = WordsField("Certificate no.", max_length=120)
    certified = CertifiedField(
        "Certified passing",
        look="long",
        rows=5,
        max_length=4000,
        help_text="A line a sieve: aperture; passing %; standard uncertainty %. "
        "Such as: 250 µm; 48.2; 0.6",
    )
    opened_on = DayField("Opened on", required=False)
    expires_on = DayField("Use by", required=False)
    most_uses = WholeField("Used at most", unit="times", required=False, min_value=1)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What it is", ("name", "lot", "certificate", "certified")),
        ("How long it may be used", ("opened_on", "expires_on", "most_uses")),
    )

    def reference_lot(self) -> ReferenceLot:
        """Give the service the lot that was described."""
        return ReferenceLot(**self.cleaned_data)
