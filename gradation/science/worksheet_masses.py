"""The masses of a worksheet: stages between splits, individual masses, mass balance.

Exact decimals throughout; the step to floating point is `gradation`'s.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gradation.science.worksheet_form import Entry, Fault, Fraction, Worksheet, WorksheetFaults


@dataclass(frozen=True, slots=True)
class Stage:
    """The mass balance of one sieving: the whole portion, or a reduced part."""

    below_um: Decimal | None
    """The split this stage lies below; None for the first stage."""
    shaken_g: Decimal | None
    recovered_g: Decimal

    @property
    def loss_g(self) -> Decimal | None:
        """Mass missing [g]; negative for a gain."""
        return None if self.shaken_g is None else self.shaken_g - self.recovered_g

    @property
    def loss(self) -> float:
        """Loss as a share of the mass shaken; NaN when that was not weighed."""
        if self.loss_g is None or not self.shaken_g:
            return float("nan")
        return float(self.loss_g / self.shaken_g)


@dataclass(frozen=True, slots=True)
class Weighed:
    """The part of the nest weighed without a gap from the top, as individual masses."""

    fractions: tuple[Fraction, ...]
    masses_g: tuple[Decimal, ...]
    pan_g: Decimal | None
    stages: tuple[Stage, ...]

    @property
    def is_complete(self) -> bool:
        """Whether the pan closes the nest."""
        return self.pan_g is not None


def weighed(worksheet: Worksheet) -> Weighed:
    """Give the individual masses weighed so far, coarse to fine, up to the first gap.

    Parameters
    ----------
    worksheet : Worksheet
        As entered, individual or cumulative.

    Returns
    -------
    Weighed
        Individual masses [g], the pan when all was weighed, and the stages' mass balances.

    Raises
    ------
    WorksheetFaults
        When a cumulative mass is smaller than the one above it in its stage.

    Notes
    -----
    A split begins a new stage: cumulative masses start again from zero below it. The stage
    above a split recovers its own fractions and the mass that passed; the last stage its
    fractions and the pan.

    References
    ----------
    WAQTC FOP for AASHTO T 27/T 11, Method C (from memory).

    Examples
    --------
    >>> sieve = Fraction(Decimal(75), (Decimal("9"),))
    >>> weighed(Worksheet((sieve,), (Decimal("1"),), dry_mass_g=Decimal(10))).stages[0].loss_g
    Decimal('0')
    """
    prefix = _weighed_from_top(worksheet.coarse_to_fine)
    is_complete = worksheet.is_fully_weighed
    masses = _individual(worksheet, prefix)
    pan_g = worksheet.pan_g if is_complete else None
    return Weighed(prefix, masses, pan_g, _stages(worksheet, prefix, masses, pan_g))


def _weighed_from_top(fractions: tuple[Fraction, ...]) -> tuple[Fraction, ...]:
    """The fractions above the first one without a mass."""
    for number, fraction in enumerate(fractions):
        if not fraction.increments_g:
            return fractions[:number]
    return fractions


def _stage_of(worksheet: Worksheet, aperture_um: Decimal) -> int:
    """How many splits lie above an aperture."""
    return sum(1 for split in worksheet.splits if aperture_um < split.below_um)


def _individual(worksheet: Worksheet, prefix: tuple[Fraction, ...]) -> tuple[Decimal, ...]:
    """The mass on each sieve alone."""
    entered = [fraction.mass_g or Decimal(0) for fraction in prefix]
    if worksheet.entry is Entry.INDIVIDUAL:
        return tuple(entered)
    individual = []
    faults = []
    for number, (fraction, mass_g) in enumerate(zip(prefix, entered, strict=True)):
        before_g = Decimal(0)
        if number and _is_same_stage(worksheet, prefix[number - 1], fraction):
            before_g = entered[number - 1]
        individual.append(mass_g - before_g)
        if mass_g < before_g:
            faults.append(_falling(worksheet, fraction, before_g))
    if faults:
        raise WorksheetFaults(faults)
    return tuple(individual)


def _is_same_stage(worksheet: Worksheet, coarser: Fraction, finer: Fraction) -> bool:
    """Whether no split lies between two sieves."""
    return _stage_of(worksheet, coarser.aperture_um) == _stage_of(worksheet, finer.aperture_um)


def _falling(worksheet: Worksheet, fraction: Fraction, before_g: Decimal) -> Fault:
    """What to say about a cumulative mass smaller than the one above it."""
    return Fault(
        f"$.fractions[{worksheet.fractions.index(fraction)}].mass_g",
        f"the cumulative mass {fraction.mass_g} g is smaller than {before_g} g on the coarser "
        "sieve. A cumulative mass never falls; are these individual masses?",
    )


def _stages(
    worksheet: Worksheet,
    prefix: tuple[Fraction, ...],
    masses_g: tuple[Decimal, ...],
    pan_g: Decimal | None,
) -> tuple[Stage, ...]:
    """Mass balance of each stage with what has been weighed of it."""
    splits = worksheet.splits_in_order
    found = [Decimal(0)] * (len(splits) + 1)
    for fraction, mass_g in zip(prefix, masses_g, strict=True):
        found[_stage_of(worksheet, fraction.aperture_um)] += mass_g
    passed = [split.passing_g for split in splits]
    ends = [*passed, pan_g or Decimal(0)]
    washed = worksheet.washed_dry_mass_g
    shaken: list[Decimal | None] = [worksheet.base_dry_mass_g if washed is None else washed]
    for split in splits:
        is_dry = split.washed_reduced_g is None
        shaken.append(split.reduced_g if is_dry else split.washed_reduced_g)
    below: list[Decimal | None] = [None, *(split.below_um for split in splits)]
    return tuple(
        Stage(split_um, start_g, held_g + end_g)
        for split_um, start_g, held_g, end_g in zip(below, shaken, found, ends, strict=True)
    )
