"""What a run consists of beside its masses: shakings, washing, splits, reliefs, increments."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.models import Run, Sieve
from gradation.services.handling import Handling
from gradation.services.shakings import Shaken
from gradation.web.forms.base import (
    FigureField,
    MomentField,
    NotebookForm,
    ReasonField,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.bench import InstrumentField, shakers
from gradation.web.forms.sizes import known_sieves


class ShakingForm(NotebookForm):
    """One shaking as it was really made."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    minutes = FigureField("Shaken for", unit="min", max_length=12)
    amplitude_mm = FigureField(
        "Amplitude", unit="mm", required=False, max_length=12, help_text="Peak to peak."
    )
    acceleration_g = FigureField(
        "or acceleration", unit="g", required=False, max_length=12, help_text="Peak."
    )
    frequency_hz = FigureField(
        "Frequency",
        unit="Hz",
        required=False,
        max_length=12,
        help_text="The shaker's own; with a drive locked to the mains, the mains'.",
    )
    interval_s = WholeField(
        "Pause every", unit="s", required=False, help_text="Empty: shaken without pauses."
    )
    taps_per_min = WholeField(
        "Taps", unit="/min", required=False, help_text="Of a shaker that taps as it turns."
    )
    shaker = InstrumentField(
        "Shaker", shakers, required=False, help_text="Left open: the one of this run."
    )
    began_at = MomentField("Began", required=False)
    note = WordsField(
        "Why otherwise than planned",
        look="long",
        rows=2,
        max_length=400,
        required=False,
        help_text="Asked for where time or settings differ; it goes with the run as a deviation.",
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        (
            "",
            (
                "minutes",
                "amplitude_mm",
                "acceleration_g",
                "frequency_hz",
                "interval_s",
                "taps_per_min",
            ),
        ),
        ("With what, and when", ("shaker", "began_at")),
        ("", ("note",)),
    )

    def shaken(self) -> Shaken:
        """Give the service the shaking."""
        return Shaken(**{name: self.cleaned_data[name] for name in _OF_A_SHAKING})


_OF_A_SHAKING = tuple(Shaken.__dataclass_fields__)


class ShakingCorrectionForm(ShakingForm):
    """A shaking that was written down wrongly."""

    reason = ReasonField("Why is it corrected")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        *ShakingForm.groups,
        ("", ("reason",)),
    )


class SieveField(WordsField):
    """One sieve by its serial number, scanned or typed."""

    def __init__(self, label: str, **options: Any) -> None:
        options.setdefault("max_length", 60)
        super().__init__(label, look="serial", **options)

    def clean(self, value: object) -> Sieve | None:
        """Give the sieve, or None when the field may stay empty."""
        serial = super().clean(value)
        return known_sieves([serial])[0] if serial else None


class SievingForm(NotebookForm):
    """How the portion was sieved, where the procedure has no washing."""

    wet_sieved = forms.BooleanField(label="Sieved wet", required=False)
    aids = WordsField(
        "Sieving aids",
        required=False,
        max_length=160,
        help_text="Balls, rings, brushes, a flow agent with its share.",
    )

    def handling(self) -> Handling:
        """Give the service what was done."""
        return Handling(**self.cleaned_data)


class HandlingForm(SievingForm):
    """How the portion was washed and sieved."""

    guard_sieve = SieveField("Guard sieve", required=False, help_text="Scan its label.")
    wash_agent = WordsField(
        "Wetting agent",
        required=False,
        max_length=120,
        help_text="Its name and how much; empty: clear water.",
    )
    soak_minutes = FigureField("Soaked for", unit="min", required=False, max_length=12)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Washing", ("guard_sieve", "wash_agent", "soak_minutes")),
        ("Sieving", ("wet_sieved", "aids")),
    )


class SplitForm(NotebookForm):
    """Below which sieve the material is reduced, and why."""

    position = WordChoiceField("Below which sieve", ())
    reason = ReasonField("Why is it reduced")

    def __init__(self, run: Run, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = [place for place in run.places.all() if not place.is_split][:-1]
        field = self.fields["position"]
        field.choices = [  # type: ignore[attr-defined]
            (str(place.position), place.sieve.designation) for place in places
        ]


class WhyForm(NotebookForm):
    """Only why."""

    reason = ReasonField("Why")


class ReliefForm(NotebookForm):
    """Which sieve takes load off the one below it, and why."""

    sieve = SieveField(
        "Relief sieve", help_text="Scan its label; its size lies between two others."
    )
    reason = ReasonField("Why is it put in")


class WeighingForm(NotebookForm):
    """One reading on a page of its own."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    text = WordsField("Mass", look="short", max_length=40)
    tare_text = WordsField(
        "Tare",
        look="short",
        max_length=40,
        required=False,
        help_text="With a tare, the mass is the gross mass.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("text", "tare_text"):
            self.fields[name].unit = "g"  # type: ignore[attr-defined]
            self.fields[name].widget.attrs["inputmode"] = "decimal"
