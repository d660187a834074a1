"""What is wrong with the limits of a specification before anything is written, line by line.

Faults name a line by its place, from 0, and the column: `lines/2/maximum`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gradation.errors import Fault, Invalid
from gradation.models import SpecificationLine, SpecificationVersion
from gradation.queries.methods import characteristic_names
from gradation.queries.worksheets import envelope_line
from gradation.science.apertures import designation
from gradation.science.envelope_consistency import (
    clash_of,
    line_words,
    neighbour_lines,
    outside_the_series,
)
from gradation.science.envelope_form import WHOLE_PCT, LineKind
from gradation.science.envelopes import check_line
from gradation.science.errors import GradationError
from gradation.science.lots import LotPlan, LotRule

__all__ = ["check_specification", "fault_of_dates", "faults_of", "settle_limits"]


def check_specification(version: SpecificationVersion, lines: Sequence[SpecificationLine]) -> None:
    """Refuse (`Invalid`) a version whose limits cannot be held, naming every fault."""
    faults = list(faults_of(version, lines))
    if faults:
        raise Invalid(faults)


def faults_of(version: SpecificationVersion, lines: Sequence[SpecificationLine]) -> Iterator[Fault]:
    """List what is wrong: each line on its own, then lines together, then the lot rule."""
    if not lines:
        yield Fault("lines", "A specification needs at least one limit.", "no-lines")
    alone = [fault for place, line in enumerate(lines) for fault in _of_line(place, line)]
    yield from alone
    yield from _repeated(lines)
    if not alone:
        yield from _together(version, lines)
    yield from _of_lot(version)


def settle_limits(lines: Sequence[SpecificationLine]) -> None:
    """Write out the limits that target and tolerance give, capped at 0 and 100 %."""
    for line in lines:
        line.minimum, line.maximum = envelope_line(line).limits()


def _of_line(place: int, line: SpecificationLine) -> Iterator[Fault]:
    """What is wrong with one line by itself."""
    yield from _of_size(place, line)
    yield from _of_figures(place, line)


def _of_size(place: int, line: SpecificationLine) -> Iterator[Fault]:
    at = f"lines/{place}"
    if line.kind == LineKind.CHARACTERISTIC:
        yield from _of_name(at, line.characteristic)
        return
    if line.aperture_um is None:
        yield Fault(f"{at}/aperture_um", "Say at which sieve this limit holds.", "size-missing")
        return
    if line.kind == LineKind.BETWEEN and (
        line.finer_aperture_um is None or line.finer_aperture_um >= line.aperture_um
    ):
        msg = "A limit between two sieves needs the coarser sieve and then a finer one."
        yield Fault(f"{at}/finer_aperture_um", msg, "size-order")
        return
    strange = outside_the_series(envelope_line(line))
    if strange and not line.is_confirmed_size:
        names = " and ".join(designation(size) for size in strange)
        msg = (
            f"{names} is in no series of ISO 565 or ASTM E11. Check the size; if it is meant so, "
            "tick 'odd size'."
        )
        yield Fault(f"{at}/is_confirmed_size", msg, "size-outside-series")


def _of_name(at: str, name: str) -> Iterator[Fault]:
    if not name:
        msg = "Say which characteristic value this limit is on."
        yield Fault(f"{at}/characteristic", msg, "name-missing")
    elif name not in characteristic_names():
        msg = (
            f"'{name.replace('_', ' ')}' is no value that is worked out here. Known are among "
            "others d50, fineness modulus, coefficient of uniformity, span, fines."
        )
        yield Fault(f"{at}/characteristic", msg, "name-unknown")


def _of_figures(place: int, line: SpecificationLine) -> Iterator[Fault]:
    at = f"lines/{place}"
    if (line.target is None) != (line.tolerance is None) and line.tolerance is not None:
        yield Fault(f"{at}/target", "A tolerance needs the target it lies around.", "no-target")
        return
    if line.tolerance is not None and line.tolerance < 0:
        yield Fault(f"{at}/tolerance", "A tolerance is not negative.", "tolerance-negative")
        return
    if line.kind != LineKind.CHARACTERISTIC:
        yield from _beyond_whole(at, line)
    low, high = envelope_line(line).limits()
    if low is None and high is None:
        msg = "This line has neither minimum nor maximum, and no target with tolerance. Enter one."
        yield Fault(f"{at}/maximum", msg, "no-limit")
    elif low is not None and high is not None and low > high:
        yield Fault(f"{at}/maximum", f"The minimum {low} is above the maximum {high}.", "crossed")


def _beyond_whole(at: str, line: SpecificationLine) -> Iterator[Fault]:
    for name in ("minimum", "maximum", "target"):
        figure = getattr(line, name)
        if figure is not None and not 0 <= figure <= WHOLE_PCT:
            yield Fault(f"{at}/{name}", "A percentage lies between 0 and 100.", "not-a-percentage")


def _repeated(lines: Sequence[SpecificationLine]) -> Iterator[Fault]:
    seen: set[tuple[object, ...]] = set()
    for place, line in enumerate(lines):
        what = (line.kind, line.aperture_um, line.finer_aperture_um, line.characteristic)
        if what in seen:
            msg = f"{_words(line)} is limited twice. Give both limits on one line."
            yield Fault(f"lines/{place}/aperture_um", msg, "limited-twice")
        seen.add(what)


def _words(line: SpecificationLine) -> str:
    return line_words(envelope_line(line)) or "This value"


def _together(version: SpecificationVersion, lines: Sequence[SpecificationLine]) -> Iterator[Fault]:
    """Limits that no curve can keep together; each of the lines is named."""
    envelope = [envelope_line(line) for line in lines]
    try:
        for line in envelope:
            check_line(line)
    except GradationError as error:
        yield Fault("lines", str(error), "limits")
        return
    own = len(envelope)
    clash = clash_of([*envelope, *neighbour_lines(envelope, version.neighbour_maximum_pct)])
    if clash is None:
        return
    for position in clash.positions or (0,):
        if position < own:
            yield Fault(f"lines/{position}/maximum", clash.sentence, "no-curve")
    if max(clash.positions, default=0) >= own:
        yield Fault("neighbour_maximum_pct", clash.sentence, "no-curve")


def _of_lot(version: SpecificationVersion) -> Iterator[Fault]:
    rule = LotRule(version.lot_rule)
    try:
        LotPlan(rule, version.lot_size, version.lot_share_pct)
    except GradationError as error:
        is_share = rule is LotRule.WITHIN_LIMITS and version.lot_size >= 3
        yield Fault("lot_share_pct" if is_share else "lot_size", str(error), "lot-rule")


def fault_of_dates(
    version: SpecificationVersion, released: Sequence[SpecificationVersion]
) -> Fault | None:
    """Find a released version whose dates overlap; one that is replaced is not in the way.

    `released`: the released versions of the same specification, in any order.
    """
    for other in sorted(released, key=lambda each: each.effective_from):
        is_before = other.effective_to is not None and other.effective_to < version.effective_from
        is_after = version.effective_to is not None and version.effective_to < other.effective_from
        if is_before or is_after or _gives_way(other, version):
            continue
        until = f"{other.effective_to:%d %b %Y}" if other.effective_to else "no end"
        msg = (
            f"{other} is valid from {other.effective_from:%d %b %Y} to {until}; the dates overlap. "
            "End that version first, say that this one replaces it, or choose later dates."
        )
        return Fault("effective_from", msg, "dates-overlap")
    return None


def _gives_way(other: SpecificationVersion, version: SpecificationVersion) -> bool:
    """Whether approval ends the other version the day before this one begins."""
    return version.replaces_id == other.pk and other.effective_from < version.effective_from
