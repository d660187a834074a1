"""Procedures: a code, a version in the order of the work, its approval, the library."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import Any, ClassVar

from django import forms

from gradation.documents.certificate_gaps import REQUIRED_ITEMS
from gradation.models import (
    EndPointForm,
    OnDisagreement,
    OutlierRule,
    Procedure,
    ProcedureVersion,
)
from gradation.queries.methods import characteristic_names, comparable_versions, procedure_list
from gradation.queries.procedure_words import rule_words
from gradation.science.acceptance import EndPointOf, overload_rules, portion_tables
from gradation.science.acceptance_rules import END_POINT, LOSS, named_limits
from gradation.science.apertures import designation
from gradation.science.confidence import unconfirmed
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import RoundingMode
from gradation.science.worksheet_form import Entry
from gradation.web.forms.base import (
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
    initial_of,
)
from gradation.web.forms.sizes import ApertureField

Choices = list[tuple[str, str]]


def _offered(members: type[StrEnum]) -> Choices:
    return [(member.value, member.value.replace("_", " ")) for member in members]


def _rules(table: str, names: Iterable[str]) -> Choices:
    """Offer the rules of a table; what is kept from memory is marked in the choice itself."""
    told = [("", "– none –")]
    for name in names:
        mark = " (from memory)" if unconfirmed(table, [name]) else ""
        told.append((name, f"{rule_words(table, name)}{mark}"))
    return told


def _limits(topic: str) -> Choices:
    limits = named_limits(topic)
    offered = _rules("acceptance_rules", limits)
    return [
        (name, f"{words}: {limits[name].limit_pct.normalize():f} %" if name else words)
        for name, words in offered
    ]


@cache
def _figures() -> Choices:
    names = sorted(characteristic_names())
    return [("", "each passing"), *((name, name.replace("_", " ")) for name in names)]


class ProcedureForm(NotebookForm):
    """A procedure by code and title."""

    code = WordsField("Code", max_length=40)
    title = WordsField("Title", look="long", max_length=160)

    def procedure(self) -> Procedure:
        """Give the service the procedure that was described."""
        return Procedure(**self.cleaned_data)


class ItemsField(forms.MultipleChoiceField):
    """Several of a few words, each to be ticked."""

    widget = forms.CheckboxSelectMultiple


class ProcedureVersionForm(NotebookForm):
    """One edition of a procedure, as the laboratory works it; its sizes are rows of their own."""

    standard_reference = WordsField("Standard", max_length=160)
    edition = WordsField("Edition", max_length=80)
    unconfirmed_note = WordsField(
        "To confirm",
        look="long",
        rows=2,
        required=False,
        help_text="Figures below that are still to be confirmed against your own edition.",
    )

    material_classes = WordsField(
        "Materials",
        look="long",
        max_length=240,
        required=False,
        help_text="What the method is meant for, and what not.",
    )
    authorisation = WordsField(
        "Authorised",
        look="long",
        max_length=240,
        required=False,
        help_text="Entry in the accredited scope, or how the laboratory verified it.",
    )

    portion_rule = WordChoiceField(
        "Smallest portion by table", _rules("sample_mass", portion_tables()), required=False
    )
    minimum_portion_g = FigureField("Portion at least", unit="g", required=False)
    maximum_portion_g = FigureField("Portion at most", unit="g", required=False)
    divider_passes = WholeField("Passes of the divider, at least", required=False)

    drying = WordsField("Drying, in words", max_length=160, required=False)
    drying_temperature_c = FigureField("Oven", unit="°C", required=False)
    constant_mass_pct = FigureField("Constant mass: change at most", unit="%", required=False)
    drying_interval_minutes = WholeField("Between two weighings", unit="min", required=False)

    wash = forms.BooleanField(label="Washed before sieving", required=False)
    guard_aperture_um = ApertureField("Guard sieve", look="short", max_length=40, required=False)
    wet_sieving = forms.BooleanField(label="Sieved wet", required=False)
    aids = WordsField("Sieving aids allowed", max_length=160, required=False)

    frame_diameter_mm = FigureField("Frame diameter", unit="mm", required=False)
    frame_height_mm = FigureField("Frame height", unit="mm", required=False)
    loading_rule = WordChoiceField(
        "Load on a sieve by table", _rules("loading_limits", overload_rules()), required=False
    )

    shaking_motion = WordsField("Motion", max_length=80, required=False)
    shaking_minutes = FigureField("Time", unit="min", required=False)
    shaking_amplitude_mm = FigureField("Amplitude, peak to peak", unit="mm", required=False)
    shaking_frequency_hz = FigureField("Frequency", unit="Hz", required=False)
    shaking_acceleration_g = FigureField("Acceleration, peak", unit="g", required=False)
    shaking_interval_s = WholeField("Pause every", unit="s", required=False)
    shaking_taps_per_min = WholeField("Taps", unit="/min", required=False)
    shaking_tolerance_pct = FigureField(
        "Settings may differ by", unit="%", initial="5", required=False
    )

    end_point_form = WordChoiceField("Shown by", _offered(EndPointForm))
    end_point_limit_pct = FigureField("Limit", unit="%", required=False)
    end_point_of = WordChoiceField(
        "Percent of",
        [
            (EndPointOf.TOTAL.value, "the whole portion"),
            (EndPointOf.SIEVE.value, "what lies on that sieve"),
        ],
    )
    end_point_rule = WordChoiceField("By the rule", _limits(END_POINT), required=False)
    end_point = WordsField("In words", look="long", max_length=200, required=False)

    entry = WordChoiceField("Fractions are weighed", _offered(Entry))
    balance_readability_g = FigureField("Balance reads to", unit="g", required=False)
    loss_limit_pct = FigureField("Loss at most", unit="%")
    loss_rule = WordChoiceField("By the rule", _limits(LOSS), required=False)

    basis = WordChoiceField("Percent of", _offered(Basis))
    passing_decimals = WholeField("Decimals of passing", initial=0, min_value=0)
    rounding_mode = WordChoiceField("Rounding", _offered(RoundingMode))
    interpolation = WordChoiceField("Sizes are read by", _offered(Interpolation))
    fine_aperture_um = ApertureField(
        "Other decimals at", look="short", max_length=40, required=False
    )
    fine_below_pct = FigureField("when it is below", unit="%", required=False)
    fine_decimals = WholeField("to decimals", required=False, min_value=0)

    determinations = WholeField("Asked for", initial=1, min_value=1)
    determinations_most = WholeField("At most", required=False, min_value=1)
    repeatability_of = WordChoiceField("Compared by", [], required=False)
    repeatability_sd = FigureField("Standard deviation of repeatability", required=False)
    repeatability_limit = FigureField("Largest range allowed", required=False)
    outlier_rule = WordChoiceField("Outlier test", _offered(OutlierRule))
    on_disagreement = WordChoiceField("When they disagree", _offered(OnDisagreement))

    conventions = WordsField(
        "Conventions",
        look="long",
        max_length=240,
        required=False,
        help_text="Named sets of the values calculated: factor set, sieves of the modulus.",
    )
    precision_statement = WordsField(
        "Precision",
        look="long",
        rows=2,
        max_length=1000,
        required=False,
        help_text="What the method says of its own repeatability and reproducibility.",
    )

    cautions = WordsField(
        "Cautions",
        look="long",
        rows=3,
        max_length=2000,
        required=False,
        help_text="Dust, heat, noise, lifting: shown where the work is done.",
    )
    report_items = ItemsField(
        label="A report also has to state",
        choices=[(key, words) for key, (words, _stated) in REQUIRED_ITEMS.items()],
        required=False,
        help_text="What the method demands of a report; without one of them none is issued.",
    )

    #: In the order of the work; the rows of sizes stand in the group 'Nest'.
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Where it comes from", ("standard_reference", "edition", "unconfirmed_note")),
        ("What it is for", ("material_classes", "authorisation")),
        ("Test portion", (
            "portion_rule", "minimum_portion_g", "maximum_portion_g", "divider_passes",
        )),
        ("Drying", (
            "drying", "drying_temperature_c", "constant_mass_pct", "drying_interval_minutes",
        )),
        ("Washing and way of sieving", ("wash", "guard_aperture_um", "wet_sieving", "aids")),
        ("Nest", ("frame_diameter_mm", "frame_height_mm", "loading_rule")),
        ("Shaking", (
            "shaking_motion", "shaking_minutes", "shaking_interval_s", "shaking_amplitude_mm",
            "shaking_frequency_hz", "shaking_acceleration_g", "shaking_taps_per_min",
            "shaking_tolerance_pct",
        )),
        ("End point", (
            "end_point_form", "end_point_limit_pct", "end_point_of", "end_point_rule", "end_point",
        )),
        ("Weighing and mass balance", (
            "entry", "balance_readability_g", "loss_limit_pct", "loss_rule",
        )),
        ("Calculation and rounding", (
            "basis", "passing_decimals", "rounding_mode", "interpolation", "fine_aperture_um",
            "fine_below_pct", "fine_decimals", "conventions",
        )),
        ("Determinations", (
            "determinations", "determinations_most", "repeatability_of", "repeatability_sd",
            "repeatability_limit", "outlier_rule", "on_disagreement",
            "precision_statement",
        )),
        ("Care", ("cautions",)),
        ("Report", ("report_items",)),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["repeatability_of"].choices = _figures()  # type: ignore[attr-defined]

    def clean_shaking_tolerance_pct(self) -> Decimal:
        """Give the usual tolerance where the field was left empty."""
        told: Decimal | None = self.cleaned_data["shaking_tolerance_pct"]
        return Decimal(5) if told is None else told

    def fields_of_version(self) -> dict[str, Any]:
        """Give the service the version's fields."""
        return dict(self.cleaned_data)


def initial_of_version(version: ProcedureVersion) -> dict[str, Any]:
    """Give the form what a version says."""
    told = initial_of(version, ProcedureVersionForm)
    for name in ("guard_aperture_um", "fine_aperture_um"):
        size = told[name]
        told[name] = "" if size is None else designation(size)
    return told


class ReleaseForm(NotebookForm):
    """The release of a proposed version."""

    confirmation = WordsField(
        "Compared with",
        look="long",
        max_length=240,
        required=False,
        help_text="Your own edition and copy. Needed where figures are kept from memory.",
    )


class ReturnForm(NotebookForm):
    """Back to the one who proposed it."""

    reason = ReasonField("What is to be put right")


class EditionForm(NotebookForm):
    """What becomes of a sample in work when a newer version is released."""

    decision = WordChoiceField(
        "The sample",
        [("keep", "stays on its version"), ("move", "is tested by the newer version")],
    )
    reason = ReasonField()

    @property
    def is_moved(self) -> bool:
        """Say whether the sample moves to the newer version."""
        return bool(self.cleaned_data["decision"] == "move")


class FromLibraryForm(NotebookForm):
    """What a draft from the library is to be called here."""

    procedure = RowField(
        "As the next version of", procedure_list, required=False, empty_label="a new procedure"
    )
    code = WordsField("Code of a new one", max_length=40, required=False)
    title = WordsField("Title", look="long", max_length=160, required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for a code and a title where no procedure was chosen."""
        told: dict[str, Any] = super().clean() or self.cleaned_data
        if told.get("procedure") is None:
            for name in ("code", "title"):
                if not told.get(name):
                    self.add_error(name, "A new procedure needs this; or choose one above.")
        return told

    def procedure_named(self) -> Procedure:
        """Give the chosen procedure, or the new one that was described."""
        chosen: Procedure | None = self.cleaned_data["procedure"]
        return chosen or Procedure(**{name: self.cleaned_data[name] for name in ("code", "title")})


class CompareForm(NotebookForm):
    """The version to set beside this one."""

    other = RowField("Beside", ProcedureVersion.objects.none, empty_label=None)

    def __init__(self, *args: Any, version: ProcedureVersion, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["other"].queryset = comparable_versions(version)  # type: ignore[attr-defined]
