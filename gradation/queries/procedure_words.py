"""A version of a procedure in words, in the order of the work: one list for page, print, compare.

Each line says what it covers (the fields), so that a form, a mark or a difference finds its place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gradation.models import (
    EndPointForm,
    OutlierRule,
    ProcedureAperture,
    ProcedureVersion,
)
from gradation.science.apertures import designation
from gradation.science.tables import read_table

__all__ = [
    "LABELS",
    "Differing",
    "WordGroup",
    "WordLine",
    "compared",
    "procedure_words",
    "rule_words",
]

Places = Sequence[ProcedureAperture]
Writer = Callable[[ProcedureVersion, Places], str]


@dataclass(frozen=True)
class WordLine:
    """One thing a procedure says; `words` is empty where it says nothing."""

    label: str
    fields: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class WordGroup:
    """What a procedure says about one step of the work."""

    legend: str
    lines: tuple[WordLine, ...]


@dataclass(frozen=True)
class Differing:
    """One line of two versions side by side."""

    label: str
    first: str
    second: str

    @property
    def differs(self) -> bool:
        """Say whether the two versions do not say the same."""
        return self.first != self.second


def _plain(value: Decimal | int | None) -> str:
    if value is None:
        return ""
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


def _figure(field: str, unit: str = "") -> Writer:
    def write(version: ProcedureVersion, places: Places) -> str:
        text = _plain(getattr(version, field))
        return f"{text} {unit}".strip() if text else ""

    return write


def _text(field: str) -> Writer:
    return lambda version, places: str(getattr(version, field))


def _yes(field: str) -> Writer:
    return lambda version, places: "yes" if getattr(version, field) else "no"


def _words_of(field: str) -> Writer:
    return lambda version, places: str(getattr(version, field)).replace("_", " ")


def rule_words(table: str, name: str) -> str:
    """Name a rule of a table by the standard that it is from."""
    keys = ("rule", "table")
    for row in read_table(table):
        if name and name in {row.get(key) for key in keys}:
            return f"{row['standard']} ({name})"
    return name


def _rule(table: str, field: str) -> Writer:
    return lambda version, places: rule_words(table, getattr(version, field))


def _guard(version: ProcedureVersion, places: Places) -> str:
    size = version.guard_aperture_um
    return "" if size is None else designation(size)


def _sizes(keep: Callable[[ProcedureAperture], bool]) -> Writer:
    def write(version: ProcedureVersion, places: Places) -> str:
        return " · ".join(designation(place.aperture_um) for place in places if keep(place))

    return write


def _whole_nest(version: ProcedureVersion, places: Places) -> str:
    return f"{_sizes(lambda place: True)(version, places)} · pan" if places else ""


def _end_point_limit(version: ProcedureVersion, places: Places) -> str:
    limit = _plain(version.end_point_limit_pct)
    if not limit or version.end_point_form == EndPointForm.NONE:
        return ""
    of = "the whole portion" if version.end_point_of == "total" else "what lies on that sieve"
    return f"{limit} % of {of}"


def _fine_rule(version: ProcedureVersion, places: Places) -> str:
    if version.fine_aperture_um is None or version.fine_decimals is None:
        return ""
    below = _plain(version.fine_below_pct)
    when = f", when below {below} %" if below else ""
    return f"{designation(version.fine_aperture_um)}: {version.fine_decimals}{when}"


def _comparing(version: ProcedureVersion, places: Places) -> str:
    return version.repeatability_of.replace("_", " ") or "each passing"


def _outlier(version: ProcedureVersion, places: Places) -> str:
    return "Grubbs" if version.outlier_rule == OutlierRule.GRUBBS else "no test"


def _report_items(version: ProcedureVersion, places: Places) -> str:
    return ", ".join(item.replace("_", " ") for item in version.report_items)


Line = tuple[str, tuple[str, ...], Writer]

_GROUPS: tuple[tuple[str, tuple[Line, ...]], ...] = (
    ("Where it comes from", (
        ("Standard", ("standard_reference",), _text("standard_reference")),
        ("Edition", ("edition",), _text("edition")),
        ("To confirm", ("unconfirmed_note",), _text("unconfirmed_note")),
    )),
    ("What it is for", (
        ("Materials", ("material_classes",), _text("material_classes")),
        ("Authorised", ("authorisation",), _text("authorisation")),
    )),
    ("Test portion", (
        ("Smallest portion by table", ("portion_rule",), _rule("sample_mass", "portion_rule")),
        ("Portion at least", ("minimum_portion_g",), _figure("minimum_portion_g", "g")),
        ("Portion at most", ("maximum_portion_g",), _figure("maximum_portion_g", "g")),
        ("Passes of the divider", ("divider_passes",), _figure("divider_passes", "or more")),
    )),
    ("Drying", (
        ("Drying", ("drying",), _text("drying")),
        ("Oven", ("drying_temperature_c",), _figure("drying_temperature_c", "°C")),
        ("Constant mass: change at most", ("constant_mass_pct",),
         _figure("constant_mass_pct", "%")),
        ("Between two weighings", ("drying_interval_minutes",),
         _figure("drying_interval_minutes", "min or more")),
    )),
    ("Washing and way of sieving", (
        ("Washed before sieving", ("wash",), _yes("wash")),
        ("Guard sieve", ("guard_aperture_um",), _guard),
        ("Wet sieving", ("wet_sieving",), _yes("wet_sieving")),
        ("Sieving aids allowed", ("aids",), _text("aids")),
    )),
    ("Nest", (
        ("Sieves, from the top", ("sieves",), _whole_nest),
        ("The nest may do without", ("optional",), _sizes(lambda place: place.is_optional)),
        ("What passes is reduced at", ("split",), _sizes(lambda place: place.is_split)),
        ("Frame diameter", ("frame_diameter_mm",), _figure("frame_diameter_mm", "mm")),
        ("Frame height", ("frame_height_mm",), _figure("frame_height_mm", "mm")),
        ("Load on a sieve by table", ("loading_rule",), _rule("loading_limits", "loading_rule")),
    )),
    ("Shaking", (
        ("Motion", ("shaking_motion",), _text("shaking_motion")),
        ("Time", ("shaking_minutes",), _figure("shaking_minutes", "min")),
        ("Amplitude, peak to peak", ("shaking_amplitude_mm",),
         _figure("shaking_amplitude_mm", "mm")),
        ("Frequency", ("shaking_frequency_hz",), _figure("shaking_frequency_hz", "Hz")),
        ("Acceleration, peak", ("shaking_acceleration_g",), _figure("shaking_acceleration_g", "g")),
        ("Pause every", ("shaking_interval_s",), _figure("shaking_interval_s", "s")),
        ("Taps", ("shaking_taps_per_min",), _figure("shaking_taps_per_min", "/min")),
        ("Settings may differ by", ("shaking_tolerance_pct",),
         _figure("shaking_tolerance_pct", "%")),
    )),
    ("End point", (
        ("Shown by", ("end_point_form",), _text("end_point_form")),
        ("In words", ("end_point",), _text("end_point")),
        ("Limit", ("end_point_limit_pct", "end_point_of"), _end_point_limit),
        ("By the rule", ("end_point_rule",), _rule("acceptance_rules", "end_point_rule")),
    )),
    ("Weighing and mass balance", (
        ("Fractions are weighed", ("entry",), _words_of("entry")),
        ("Balance reads to", ("balance_readability_g",),
         _figure("balance_readability_g", "g or finer")),
        ("Loss at most", ("loss_limit_pct",), _figure("loss_limit_pct", "%")),
        ("By the rule", ("loss_rule",), _rule("acceptance_rules", "loss_rule")),
    )),
    ("Calculation and rounding", (
        ("Percent of", ("basis",), _words_of("basis")),
        ("Decimals of passing", ("passing_decimals",), _figure("passing_decimals")),
        ("Decimals at a fine sieve", ("fine_aperture_um", "fine_decimals", "fine_below_pct"),
         _fine_rule),
        ("Rounding", ("rounding_mode",), _words_of("rounding_mode")),
        ("Sizes are read by", ("interpolation",), _words_of("interpolation")),
        ("Conventions", ("conventions",), _text("conventions")),
    )),
    ("Determinations", (
        ("Asked for", ("determinations",), _figure("determinations")),
        ("At most", ("determinations_most",), _figure("determinations_most")),
        ("Compared by", ("repeatability_of",), _comparing),
        ("Repeatability, standard deviation", ("repeatability_sd",), _figure("repeatability_sd")),
        ("Repeatability, largest range", ("repeatability_limit",), _figure("repeatability_limit")),
        ("Outlier test", ("outlier_rule",), _outlier),
        ("When they disagree", ("on_disagreement",), _text("on_disagreement")),
        ("Precision", ("precision_statement",), _text("precision_statement")),
    )),
    ("Care", (("Cautions", ("cautions",), _text("cautions")),)),
    ("Report", (("A report also has to state", ("report_items",), _report_items),)),
)  # fmt: skip

#: What each field is called where a fault or a mark names it.
LABELS: dict[str, str] = {
    field: label.lower() if label != "In words" else "end point in words"
    for _, lines in _GROUPS
    for label, fields, _ in lines
    for field in fields
} | {"loss_rule": "rule of the loss", "end_point_rule": "rule of the end point"}


def procedure_words(version: ProcedureVersion, places: Places) -> tuple[WordGroup, ...]:
    """Say all that a version says, in the order of the work."""
    return tuple(
        WordGroup(
            legend,
            tuple(WordLine(label, fields, say(version, places)) for label, fields, say in lines),
        )
        for legend, lines in _GROUPS
    )


def compared(
    first: tuple[WordGroup, ...], second: tuple[WordGroup, ...]
) -> Iterator[tuple[str, list[Differing]]]:
    """Put two versions side by side, group by group."""
    for one, other in zip(first, second, strict=True):
        pairs = zip(one.lines, other.lines, strict=True)
        yield one.legend, [Differing(a.label, a.words, b.words) for a, b in pairs]
