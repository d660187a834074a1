"""Equipment: sieves, their checks, nests and benches."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from django import forms

from gradation.models import Bench, Check, Sieve
from gradation.queries.equipment import bench_list, sieves_by_serial
from gradation.queries.methods import procedure_list
from gradation.science.apertures import designation, parse_aperture
from gradation.science.errors import GradationError
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
)


class ApertureField(WordsField):
    """An aperture as the trade writes it: 125 µm, 4.75 mm, No. 200, 3/8 in."""

    def clean(self, value: object) -> Decimal | None:
        """Give the aperture in micrometres, or None when the field may stay empty."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_aperture(text)
        except GradationError as error:
            raise forms.ValidationError(str(error)) from error


class SerialsField(WordsField):
    """Serial numbers, one a line, as scanned from the top of the nest down."""

    def clean(self, value: object) -> list[Sieve]:
        """Give the sieves in the order scanned; unknown serials are named."""
        found, unknown = sieves_by_serial(super().clean(value).split())
        if unknown:
            names = ", ".join(unknown)
            msg = f"No sieve is registered under {names}. Check the label, or register it first."
            raise forms.ValidationError(msg)
        return found


class SieveForm(NotebookForm):
    """A new sieve, as its label and its maker's certificate say."""

    serial = WordsField("Serial number", look="serial", max_length=40)
    aperture_um = ApertureField(
        "Aperture", look="short", max_length=40, help_text="125 µm, 4.75 mm, No. 200."
    )
    standard = WordsField("Standard", max_length=80, initial="ISO 3310-1")
    medium = WordChoiceField("Medium", [(kind.value, kind.value) for kind in Sieve.Medium])
    frame_diameter_mm = FigureField("Frame diameter", unit="mm", initial="200")
    frame_height_mm = FigureField("Frame height", unit="mm", required=False)
    is_master = forms.BooleanField(label="Master sieve, kept out of routine use", required=False)
    place = WordsField("Place", max_length=120, required=False)
    in_service_since = DayField("In service since", required=False)
    check_interval_days = WholeField("Check every", unit="days", required=False, min_value=1)
    check_interval_uses = WholeField("or every", unit="uses", required=False, min_value=1)
    next_check_on = DayField("Next check on", required=False)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What it is", ("serial", "aperture_um", "standard", "medium")),
        ("Frame", ("frame_diameter_mm", "frame_height_mm", "is_master")),
        ("Where and since when", ("place", "in_service_since")),
        ("Checks", ("check_interval_days", "check_interval_uses", "next_check_on")),
    )

    def sieve(self) -> Sieve:
        """Give the service the sieve that was described."""
        aperture_um: Decimal = self.cleaned_data["aperture_um"]
        return Sieve(designation=designation(aperture_um), **self.cleaned_data)


class CheckForm(NotebookForm):
    """One check of a sieve."""

    kind = WordChoiceField("Kind of check", [(kind.value, kind.value) for kind in Check.Kind])
    performed_on = DayField("Made on")
    passed = WordChoiceField(
        "Verdict",
        [("", "–"), ("yes", "in order"), ("no", "failed: out of service at once")],
    )
    mean_aperture_um = FigureField("Mean aperture", unit="µm", required=False)
    largest_aperture_um = FigureField("Largest aperture", unit="µm", required=False)
    next_due_on = DayField("Next due on", required=False, help_text="Empty: by its interval.")
    note = WordsField(
        "What was seen",
        look="long",
        rows=3,
        max_length=2000,
        required=False,
        help_text="Sag, tears, loose wires, blinding, dents; the instrument used.",
    )

    def check(self, sieve: Sieve) -> Check:
        """Give the service the check that was described."""
        figures = {**self.cleaned_data, "passed": self.cleaned_data["passed"] == "yes"}
        found = {"found_aperture_um": figures.pop("mean_aperture_um")}
        found["readings"] = {"largest_aperture_um": str(figures.pop("largest_aperture_um") or "")}
        words = "In order." if figures["passed"] else "Not in order."
        return Check(equipment=sieve, sentence=words, **figures, **found)


class NestForm(NotebookForm):
    """Sieves that stand together for a procedure."""

    name = WordsField("Name of the nest", max_length=80)
    procedure = RowField("Procedure", procedure_list)
    bench = RowField("Bench", bench_list, required=False)
    sieves = SerialsField(
        "Sieves",
        look="serial",
        rows=8,
        max_length=2000,
        help_text="Serial numbers from the top down, one a line. The pan needs none.",
    )


class BenchForm(NotebookForm):
    """A place of work."""

    name = WordsField("Name of the bench", max_length=60)
    place = WordsField("Place", max_length=120, required=False)

    def bench(self) -> Bench:
        """Give the service the bench that was described."""
        return Bench(**self.cleaned_data)


class EvidenceForm(NotebookForm):
    """Why a sieve may be used again."""

    reason = ReasonField("On what evidence")
