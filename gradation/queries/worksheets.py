"""From rows to the worksheet that the calculation takes: one place, for screen and certificate."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from decimal import Decimal

from gradation.models import (
    ProcedureVersion,
    Run,
    RunSieve,
    SpecificationLine,
    SpecificationVersion,
    Weighing,
)
from gradation.queries.end_points import end_point_check
from gradation.queries.methods import rules_from_memory
from gradation.queries.readings import latest_of
from gradation.queries.run_uncertainty import requests_of
from gradation.science.acceptance import OverloadRule
from gradation.science.acceptance_rules import LOSS, named_limits
from gradation.science.descriptions import Description
from gradation.science.envelope_consistency import neighbour_lines
from gradation.science.envelopes import EnvelopeLine, LineKind, MissingAperture
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import FinerRule, Rounding, RoundingMode
from gradation.science.worksheet_form import (
    Entry,
    Fraction,
    PortionCheck,
    Worksheet,
    WorksheetSplit,
)

__all__ = ["envelope_line", "envelope_of", "missing_rule_of", "rounding_of", "run_worksheet"]

Slot = Weighing.Slot

Masses = dict[tuple[str, int], tuple[Decimal, ...]]


def run_worksheet(run: Run, *, describe: tuple[Description, ...] = ()) -> Worksheet:
    """Give the worksheet of a run as it stands: readings, procedure and specification.

    `describe` asks for descriptions beyond the table; the bench's preview needs none.
    """
    weighings = list(run.weighings.all())
    masses = _masses(latest_of(weighings))
    procedure = run.procedure_version
    places = list(run.places.all())
    splits = tuple(_splits(places, masses))
    fractions = tuple(_fractions(places, masses, splits))
    is_open = len(splits) < sum(place.is_split for place in places)
    specification = run.portion.sample.specification_version
    return Worksheet(
        fractions=fractions,
        pan_increments_g=() if is_open else masses.get((Slot.PAN.value, 0), ()),
        splits=splits,
        basis=Basis(procedure.basis),
        entry=Entry(procedure.entry),
        dry_mass_g=_total(masses, Slot.DRY_MASS),
        washed_dry_mass_g=_total(masses, Slot.WASHED_DRY_MASS),
        interpolation=Interpolation(procedure.interpolation),
        rounding=rounding_of(procedure),
        loss_tolerance_pct=_exact(procedure.loss_limit_pct),
        loss_rule=_loss_rule(procedure),
        confirmed_rules=_confirmed(procedure),
        overload=_overload(procedure, run),
        minimum_portion=PortionCheck(procedure.portion_rule) if procedure.portion_rule else None,
        end_point=end_point_check(run, weighings),
        envelope=envelope_of(specification),
        missing_aperture=missing_rule_of(specification),
        describe=describe,
        requests=requests_of(run, specification),
    )


def _splits(places: Sequence[RunSieve], masses: Masses) -> Iterator[WorksheetSplit]:
    """Give the splits whose masses are both known, down to the first that is not."""
    for place in places:
        if not place.is_split:
            continue
        passing_g = _total(masses, Slot.SPLIT_PASSING, place.position)
        reduced_g = _total(masses, Slot.SPLIT_REDUCED, place.position)
        if passing_g is None or reduced_g is None:
            return
        washed_g = _total(masses, Slot.SPLIT_WASHED, place.position)
        yield WorksheetSplit(_exact(place.aperture_um), passing_g, reduced_g, washed_g)


def _fractions(
    places: Sequence[RunSieve], masses: Masses, splits: Sequence[WorksheetSplit]
) -> Iterator[Fraction]:
    """Give the fractions; below a split whose masses are not known they stand for nothing yet."""
    known = {split.below_um for split in splits}
    is_open = False
    for place in places:
        aperture_um = _exact(place.aperture_um)
        at = (Slot.FRACTION.value, place.position)
        yield Fraction(aperture_um, () if is_open else masses.get(at, ()))
        is_open = is_open or (place.is_split and aperture_um not in known)


def _masses(weighings: Sequence[Weighing]) -> Masses:
    found: dict[tuple[str, int], list[Decimal]] = defaultdict(list)
    for row in weighings:
        found[(row.slot, row.position)].append(row.mass_as_entered)
    return {place: tuple(each) for place, each in found.items()}


def _total(masses: Masses, slot: Slot, position: int = 0) -> Decimal | None:
    increments = masses.get((slot.value, position))
    return sum(increments, Decimal(0)) if increments else None


def rounding_of(procedure: ProcedureVersion) -> Rounding:
    """Give the rule by which a procedure's percentages are reported."""
    finer: tuple[FinerRule, ...] = ()
    if procedure.fine_aperture_um is not None and procedure.fine_decimals is not None:
        below = procedure.fine_below_pct if procedure.fine_below_pct is not None else Decimal(101)
        finer = (FinerRule(_exact(procedure.fine_aperture_um), below, procedure.fine_decimals),)
    return Rounding(
        passing_decimals=procedure.passing_decimals,
        mode=RoundingMode(procedure.rounding_mode),
        finer=finer,
    )


def _loss_rule(procedure: ProcedureVersion) -> str:
    """Name the kept rule behind the loss limit, so that a figure from memory stays marked."""
    kept = named_limits(LOSS).get(procedure.loss_rule)
    is_its = kept is not None and kept.limit_pct == procedure.loss_limit_pct
    return procedure.loss_rule if is_its else ""


def _confirmed(procedure: ProcedureVersion) -> tuple[str, ...]:
    if not procedure.confirmation:
        return ()
    return tuple(note.rule for note in rules_from_memory(procedure))


def _overload(procedure: ProcedureVersion, run: Run) -> OverloadRule | None:
    if not procedure.loading_rule:
        return None
    first = next(iter(run.places.all()), None)
    frame = float(first.sieve.frame_diameter_mm) if first else None
    return OverloadRule(procedure.loading_rule, frame)


def envelope_of(specification: SpecificationVersion | None) -> tuple[EnvelopeLine, ...]:
    """Give the lines of a specification as the calculation takes them."""
    if specification is None:
        return ()
    lines = tuple(envelope_line(row) for row in specification.lines.all())
    return lines + neighbour_lines(lines, _plain(specification.neighbour_maximum_pct))


def envelope_line(row: SpecificationLine) -> EnvelopeLine:
    """Give one line of a specification as the calculation takes it."""
    return EnvelopeLine(
        kind=LineKind(row.kind),
        aperture_um=_plain(row.aperture_um),
        finer_um=_plain(row.finer_aperture_um),
        characteristic=row.characteristic,
        minimum=_plain(row.minimum),
        maximum=_plain(row.maximum),
        target=_plain(row.target),
        tolerance=_plain(row.tolerance),
        is_inclusive=row.is_inclusive,
        decimals=row.decimals,
    )


def _plain(value: Decimal | None) -> Decimal | None:
    return None if value is None else _exact(value)


def _exact(value: Decimal) -> Decimal:
    """Drop the column's filling zeros, so that a limit of 95 is not printed as 95.0000."""
    exact = value.normalize()
    return exact.quantize(Decimal(1)) if exact == exact.to_integral_value() else exact


def missing_rule_of(specification: SpecificationVersion | None) -> MissingAperture:
    """Say what becomes of a limit whose sieve is not in the nest."""
    if specification is not None and specification.interpolate_missing:
        return MissingAperture.INTERPOLATE
    return MissingAperture.NOT_TESTED
