"""Procedures and specifications: codes, versions, sieve sizes and limits."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from django import forms

from gradation.models import (
    DecisionRule,
    Procedure,
    ProcedureVersion,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.science.apertures import parse_aperture
from gradation.science.envelopes import LineKind
from gradation.science.errors import GradationError
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.quantities import parse_decimal
from gradation.science.rounding import RoundingMode
from gradation.science.worksheet_form import Entry
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.sizes import ApertureField


def _offered(members: type[StrEnum]) -> list[tuple[str, str]]:
    return [(member.value, member.value.replace("_", " ")) for member in members]


class ProcedureForm(NotebookForm):
    """A procedure by code and title."""

    code = WordsField("Code", max_length=40)
    title = WordsField("Title", look="long", max_length=160)

    def procedure(self) -> Procedure:
        """Give the service the procedure that was described."""
        return Procedure(**self.cleaned_data)


class SizesField(WordsField):
    """Sieve sizes as the trade writes them, one a line or separated by semicolons."""

    def clean(self, value: object) -> list[Decimal]:
        """Give the apertures in micrometres; every size that cannot be read is named."""
        typed = [part.strip() for part in re.split(r"[;\n]", super().clean(value)) if part.strip()]
        faults, sizes = [], []
        for part in typed:
            try:
                sizes.append(parse_aperture(part))
            except GradationError as error:
                faults.append(str(error))
        if faults:
            raise forms.ValidationError(faults)
        return sizes


class ProcedureVersionForm(NotebookForm):
    """One edition of a procedure, as the laboratory works it."""

    standard_reference = WordsField("Standard", max_length=160)
    edition = WordsField("Edition", max_length=80)
    unconfirmed_note = WordsField(
        "To confirm",
        look="long",
        required=False,
        help_text="Figures below that are still to be confirmed against your own edition.",
    )
    apertures = SizesField(
        "Sieve sizes",
        look="long",
        rows=3,
        max_length=1000,
        help_text="As the trade writes them, separated by semicolons: 8 mm; 4 mm; 500 µm.",
    )
    entry = WordChoiceField("Fractions are weighed", _offered(Entry))
    basis = WordChoiceField("Percent of", _offered(Basis))
    wash = forms.BooleanField(label="Washed before sieving", required=False)
    guard_aperture_um = ApertureField("Guard sieve", look="short", max_length=40, required=False)
    drying = WordsField("Drying", max_length=160, required=False)
    minimum_portion_g = FigureField("Portion at least", unit="g", required=False)
    maximum_portion_g = FigureField("Portion at most", unit="g", required=False)
    determinations = WholeField("Determinations", initial=1, min_value=1)
    loss_limit_pct = FigureField("Loss at most", unit="%")
    passing_decimals = WholeField("Decimals of passing", initial=0, min_value=0)
    rounding_mode = WordChoiceField("Rounding", _offered(RoundingMode))
    interpolation = WordChoiceField("Sizes are read by", _offered(Interpolation))
    shaking_motion = WordsField("Motion", max_length=80, required=False)
    shaking_minutes = FigureField("Time", unit="min", required=False)
    shaking_amplitude_mm = FigureField("Amplitude, peak to peak", unit="mm", required=False)
    end_point = WordsField("End point", look="long", max_length=200, required=False)
    cautions = WordsField(
        "Cautions",
        look="long",
        rows=3,
        max_length=2000,
        required=False,
        help_text="Dust, heat, noise, lifting: shown where the work is done.",
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Where it comes from", ("standard_reference", "edition", "unconfirmed_note")),
        ("Nest and weighing", ("apertures", "entry", "basis")),
        (
            "Portion",
            (
                "wash",
                "guard_aperture_um",
                "drying",
                "minimum_portion_g",
                "maximum_portion_g",
                "determinations",
            ),
        ),
        (
            "Figures",
            ("loss_limit_pct", "passing_decimals", "rounding_mode", "interpolation"),
        ),
        ("Shaking", ("shaking_motion", "shaking_minutes", "shaking_amplitude_mm", "end_point")),
        ("Care", ("cautions",)),
    )

    def version(self, procedure: Procedure) -> ProcedureVersion:
        """Give the service the version that was described."""
        told = {name: value for name, value in self.cleaned_data.items() if name != "apertures"}
        return ProcedureVersion(procedure=procedure, **told)


class SpecificationForm(NotebookForm):
    """A specification by code, title and owner."""

    code = WordsField("Code", max_length=40)
    title = WordsField("Title", look="long", max_length=160)
    owner = WordsField("Owner", max_length=120, required=False)

    def specification(self) -> Specification:
        """Give the service the specification that was described."""
        return Specification(**self.cleaned_data)


_BETWEEN = re.compile(r"between (?P<coarse>.+) and (?P<fine>.+)", re.IGNORECASE)
_MOST_PARTS = 4


def specification_line(text: str) -> SpecificationLine:
    """Read one limit: 'what; minimum; maximum; target'. Raises `GradationError` with the words."""
    parts = [part.strip() for part in text.split(";")]
    if len(parts) > _MOST_PARTS:
        msg = f"'{text}' has more than four parts. Write: sieve; minimum; maximum; target."
        raise GradationError(msg)
    limits = [_limit(part) for part in parts[1:]] + [None] * (_MOST_PARTS - len(parts))
    line = SpecificationLine(minimum=limits[0], maximum=limits[1], target=limits[2])
    _say_what(line, parts[0])
    return line


def _limit(text: str) -> Decimal | None:
    return None if text in {"", "-", "–"} else parse_decimal(text)


def _say_what(line: SpecificationLine, what: str) -> None:
    if between := _BETWEEN.fullmatch(what):
        line.kind = LineKind.BETWEEN.value
        line.aperture_um = parse_aperture(between["coarse"])
        line.finer_aperture_um = parse_aperture(between["fine"])
    elif what.lower().startswith("retained "):
        line.kind, line.aperture_um = LineKind.RETAINED.value, parse_aperture(what[9:])
    elif re.fullmatch(r"[a-z][a-z0-9_ ]+", what):
        line.kind, line.characteristic = LineKind.CHARACTERISTIC.value, what.replace(" ", "_")
    else:
        line.kind, line.aperture_um = LineKind.PASSING.value, parse_aperture(what)


class LimitsField(WordsField):
    """The limits of a specification, one a line."""

    def clean(self, value: object) -> list[SpecificationLine]:
        """Give the lines; every line that cannot be read is named."""
        faults: list[str] = []
        lines = list(self._read(super().clean(value).splitlines(), faults))
        if faults:
            raise forms.ValidationError(faults)
        return lines

    def _read(self, texts: list[str], faults: list[str]) -> Iterator[SpecificationLine]:
        for number, text in enumerate(texts, start=1):
            if not text.strip():
                continue
            try:
                yield specification_line(text.strip())
            except GradationError as error:
                faults.append(f"Line {number}: {error}")


class SpecificationVersionForm(NotebookForm):
    """One edition of a specification with its dates and limits."""

    clause = WordsField("Clause", max_length=120, required=False)
    source = WordsField("Where the limits come from", look="long", required=False)
    effective_from = DayField("Valid from")
    effective_to = DayField("Valid to", required=False)
    decision_rule = WordChoiceField("Decision rule", _offered(DecisionRule))
    interpolate_missing = forms.BooleanField(
        label="Interpolate a limit whose sieve is not in the nest, and mark it", required=False
    )
    lines = LimitsField(
        "Limits",
        look="long",
        rows=10,
        max_length=5000,
        help_text=(
            "One a line: sieve; minimum; maximum; target, in % passing. 4 mm; 85; 99. "
            "Also: retained 4 mm; 0; 15 · between 500 µm and 250 µm; ; 45 · "
            "fineness modulus; 2.3; 3.1."
        ),
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Validity", ("clause", "source", "effective_from", "effective_to")),
        ("Limits", ("lines", "decision_rule", "interpolate_missing")),
    )

    def version(self, specification: Specification) -> SpecificationVersion:
        """Give the service the version that was described."""
        told = {name: value for name, value in self.cleaned_data.items() if name != "lines"}
        return SpecificationVersion(specification=specification, **told)


class ReleaseForm(NotebookForm):
    """The release of a procedure version."""

    confirmation = WordsField(
        "Compared with",
        look="long",
        max_length=240,
        required=False,
        help_text="Your own edition and copy. Needed where figures are kept from memory.",
    )


class EndForm(NotebookForm):
    """The last day of a specification version."""

    effective_to = DayField("Last day it is valid")
