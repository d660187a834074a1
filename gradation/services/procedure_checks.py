"""What is wrong with a version of a procedure before anything is written, field by field.

Faults of a sieve size name it by its place, from 0, and the column: `apertures/2/is_split`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from gradation.errors import Fault, Invalid
from gradation.models import EndPointForm, OutlierRule, ProcedureAperture, ProcedureVersion
from gradation.queries.methods import characteristic_names
from gradation.science.acceptance import overload_rules, portion_tables
from gradation.science.acceptance_rules import END_POINT, LOSS, named_limits
from gradation.science.apertures import designation
from gradation.science.envelope_consistency import outside_the_series
from gradation.science.envelope_form import EnvelopeLine
from gradation.science.errors import GradationError
from gradation.science.shaking import acceleration_in_g, peak_acceleration_m_s2

__all__ = ["check_procedure", "faults_of"]

#: Figures that mean nothing at zero or below.
_ABOVE_ZERO = {
    "loss_limit_pct": "The loss limit",
    "drying_temperature_c": "The oven temperature",
    "constant_mass_pct": "The change that counts as constant mass",
    "drying_interval_minutes": "The time between two weighings",
    "divider_passes": "The number of passes",
    "balance_readability_g": "The readability of the balance",
    "frame_diameter_mm": "The diameter of the frames",
    "frame_height_mm": "The height of the frames",
    "minimum_portion_g": "The smallest portion",
    "maximum_portion_g": "The largest portion",
    "determinations": "The number of determinations",
    "repeatability_sd": "The standard deviation of repeatability",
    "repeatability_limit": "The limit of repeatability",
    "shaking_minutes": "The time of shaking",
    "shaking_amplitude_mm": "The amplitude",
    "shaking_frequency_hz": "The frequency",
    "shaking_acceleration_g": "The acceleration",
    "shaking_interval_s": "The time between pauses",
    "shaking_taps_per_min": "The number of taps",
    "end_point_limit_pct": "The limit of the end point",
    "guard_aperture_um": "The guard sieve",
}
_MOST_DECIMALS = 4
_GRUBBS_NEEDS = 3


def check_procedure(version: ProcedureVersion, places: Sequence[ProcedureAperture]) -> None:
    """Refuse (`Invalid`) a version that cannot be worked by, naming every fault."""
    faults = list(faults_of(version, places))
    if faults:
        raise Invalid(faults)


def faults_of(version: ProcedureVersion, places: Sequence[ProcedureAperture]) -> Iterator[Fault]:
    """List what is wrong: single figures first, then what does not go together."""
    yield from _not_above_zero(version)
    yield from _nest(places)
    yield from _washing(version, places)
    yield from _bands(version)
    yield from _named_rules(version)
    yield from _end_point(version)
    yield from _rounding(version, places)
    yield from _determinations(version)
    yield from _shaking(version)


def _not_above_zero(version: ProcedureVersion) -> Iterator[Fault]:
    for field, name in _ABOVE_ZERO.items():
        value = getattr(version, field)
        if value is not None and value <= 0:
            msg = f"{name} is {value}; it must be above zero. Leave it empty if there is none."
            yield Fault(field, msg, "not-above-zero")
    if not 0 <= version.shaking_tolerance_pct < 100:
        msg = "A tolerance lies between 0 and below 100 %; 5 % is common practice."
        yield Fault("shaking_tolerance_pct", msg, "tolerance")


def _nest(places: Sequence[ProcedureAperture]) -> Iterator[Fault]:
    if not places:
        msg = "A procedure needs at least one sieve size. Enter the sizes of its nest."
        yield Fault("apertures", msg, "no-sizes")
        return
    seen: set[Decimal] = set()
    finest = min(place.aperture_um for place in places)
    for number, place in enumerate(places):
        for column, message, code in _place_faults(place, finest, seen):
            yield Fault(f"apertures/{number}/{column}", message, code)
        seen.add(place.aperture_um)
    if all(place.is_optional for place in places):
        msg = "Every size is optional; at least one must always be in the nest."
        yield Fault("apertures", msg, "all-optional")


def _place_faults(
    place: ProcedureAperture, finest_um: Decimal, seen: set[Decimal]
) -> Iterator[tuple[str, str, str]]:
    size = place.aperture_um
    if size <= 0:
        yield "aperture_um", "A sieve size must be above zero.", "not-above-zero"
        return
    name = designation(size)
    if size in seen:
        msg = f"{name} stands twice. Each size has one place in the nest."
        yield "aperture_um", msg, "size-twice"
    if not place.is_confirmed_size and outside_the_series(EnvelopeLine(aperture_um=size)):
        msg = f"{name} is in no standard series. Check the size, or tick that it is meant so."
        yield "is_confirmed_size", msg, "odd-size"
    if place.is_split and size == finest_um:
        msg = f"{name} is the finest size: what passes it goes into the pan, nothing is sieved on."
        yield "is_split", msg, "split-at-finest"
    if place.is_split and place.is_optional:
        msg = f"The portion is reduced at {name}, so the nest cannot do without it."
        yield "is_optional", msg, "split-optional"


def _washing(version: ProcedureVersion, places: Sequence[ProcedureAperture]) -> Iterator[Fault]:
    guard = version.guard_aperture_um
    if guard is None or guard <= 0 or not places:
        return
    finest = min(place.aperture_um for place in places)
    if not version.wash:
        msg = "A guard sieve stands above the wash sieve. Tick washing, or leave this empty."
        yield Fault("guard_aperture_um", msg, "guard-without-wash")
    elif guard <= finest:
        msg = (
            f"A guard sieve keeps coarse grains off the wash sieve of {designation(finest)}; "
            f"{designation(guard)} is not coarser than that."
        )
        yield Fault("guard_aperture_um", msg, "guard-too-fine")


def _bands(version: ProcedureVersion) -> Iterator[Fault]:
    least, most = version.minimum_portion_g, version.maximum_portion_g
    if least is not None and most is not None and least > most:
        msg = f"The largest portion, {most:f} g, is below the smallest, {least:f} g."
        yield Fault("maximum_portion_g", msg, "portion-band")
    weighed = version.drying_interval_minutes is not None
    if weighed and version.constant_mass_pct is None:
        msg = "Say by how much two weighings may differ; the time alone ends no drying."
        yield Fault("constant_mass_pct", msg, "constant-mass")


def _named_rules(version: ProcedureVersion) -> Iterator[Fault]:
    known = (
        ("loading_rule", overload_rules()),
        ("portion_rule", portion_tables()),
        ("loss_rule", tuple(named_limits(LOSS))),
        ("end_point_rule", tuple(named_limits(END_POINT))),
    )
    for field, names in known:
        rule = getattr(version, field)
        if rule and rule not in names:
            msg = f"No rule is kept here as {rule}. Known: {', '.join(names)}."
            yield Fault(field, msg, "unknown-rule")
    kept = named_limits(LOSS).get(version.loss_rule)
    if kept is not None and kept.limit_pct != version.loss_limit_pct:
        msg = (
            f"{version.loss_rule} allows {kept.limit_pct} %, and {version.loss_limit_pct} % is "
            "entered. Enter the same figure, or name no rule for a limit of your own."
        )
        yield Fault("loss_limit_pct", msg, "not-the-rule")


def _end_point(version: ProcedureVersion) -> Iterator[Fault]:
    limit = version.end_point_limit_pct
    if version.end_point_form == EndPointForm.NONE:
        if limit is not None or version.end_point_rule:
            msg = "A limit is entered, but no way to show it. Choose how the end point is shown."
            yield Fault("end_point_form", msg, "end-point-form")
        return
    if limit is None:
        msg = f"Shown by {version.end_point_form}: enter the limit that ends the sieving."
        yield Fault("end_point_limit_pct", msg, "end-point-limit")
        return
    kept = named_limits(END_POINT).get(version.end_point_rule)
    if kept is not None and (kept.limit_pct, kept.of) != (limit, version.end_point_of):
        msg = (
            f"{version.end_point_rule} asks for {kept.limit_pct} % of the {kept.of.value}. Enter "
            "the same, or name no rule for a limit of your own."
        )
        yield Fault("end_point_limit_pct", msg, "not-the-rule")


def _rounding(version: ProcedureVersion, places: Sequence[ProcedureAperture]) -> Iterator[Fault]:
    for field in ("passing_decimals", "fine_decimals"):
        decimals = getattr(version, field)
        if decimals is not None and decimals > _MOST_DECIMALS:
            msg = f"{decimals} decimals of a percentage; {_MOST_DECIMALS} are more than any sieve."
            yield Fault(field, msg, "decimals")
    size = version.fine_aperture_um
    if size is None:
        if version.fine_decimals is not None or version.fine_below_pct is not None:
            msg = "Say below or at which sieve these decimals hold, or leave all three empty."
            yield Fault("fine_aperture_um", msg, "fine-rule")
        return
    if version.fine_decimals is None:
        msg = f"Say to how many decimals {designation(size)} is reported."
        yield Fault("fine_decimals", msg, "fine-rule")
    if places and size not in {place.aperture_um for place in places}:
        msg = f"{designation(size)} is not in the nest. Choose one of its sizes."
        yield Fault("fine_aperture_um", msg, "fine-not-in-nest")


def _determinations(version: ProcedureVersion) -> Iterator[Fault]:
    most = version.determinations_most
    if most is not None and most < version.determinations:
        msg = f"At most {most} can be made, and {version.determinations} are asked for."
        yield Fault("determinations_most", msg, "determinations-band")
    if version.outlier_rule == OutlierRule.GRUBBS and (most or 0) < _GRUBBS_NEEDS:
        msg = "An outlier test needs three determinations. Allow as many, or choose no test."
        yield Fault("determinations_most", msg, "outlier-needs-three")
    if version.repeatability_of and version.repeatability_of not in characteristic_names():
        msg = (
            f"No value is worked out here as {version.repeatability_of}. Leave it empty to "
            "compare each passing."
        )
        yield Fault("repeatability_of", msg, "unknown-figure")
    has_both = version.repeatability_sd is not None and version.repeatability_limit is not None
    if has_both and version.repeatability_limit < version.repeatability_sd:  # type: ignore[operator]
        msg = "The limit is below one standard deviation: half of all pairs would break it."
        yield Fault("repeatability_limit", msg, "repeatability")


def _shaking(version: ProcedureVersion) -> Iterator[Fault]:
    minutes, pause_s = version.shaking_minutes, version.shaking_interval_s
    if minutes is not None and pause_s is not None and pause_s > 60 * minutes:
        msg = f"A pause every {pause_s} s never comes in {minutes:f} min. Shorten it, or leave it."
        yield Fault("shaking_interval_s", msg, "interval-longer-than-time")
    amplitude, frequency = version.shaking_amplitude_mm, version.shaking_frequency_hz
    asked = version.shaking_acceleration_g
    if not (amplitude and frequency and asked):
        return
    try:
        works_out = float(
            acceleration_in_g(peak_acceleration_m_s2(float(amplitude), float(frequency)))
        )
    except GradationError as error:
        yield Fault("shaking_amplitude_mm", str(error), "motion")
        return
    if abs(works_out - float(asked)) > float(version.shaking_tolerance_pct) / 100 * works_out:
        msg = (
            f"{amplitude:f} mm at {frequency:f} Hz is {works_out:.2f} g, and {asked:f} g is "
            "entered. Correct one of the three, or leave the acceleration empty."
        )
        yield Fault("shaking_acceleration_g", msg, "motion-contradicts")
