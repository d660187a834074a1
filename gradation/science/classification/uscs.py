"""Unified Soil Classification (ASTM D2487): group symbol and group name of a soil.

Where something is not known, all soils it could be are followed: when they share one symbol the
soil is classified all the same, else the answer names what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.classification.fractions import limit_bounds
from gradation.science.classification.grading import (
    Grading,
    SizeBounds,
    bounds_of_curve,
    grading,
)
from gradation.science.classification.group_names import (
    NOISE,
    SoilShares,
    coarse_name,
    fine_name,
)
from gradation.science.classification.plasticity import (
    FinesKind,
    Plasticity,
    cautions,
    fines_kind,
)
from gradation.science.density import checked_curve
from gradation.science.errors import NotDeterminable
from gradation.science.percentiles import Interpolation

CLEAN_BELOW = 0.05  # ASTM D2487: below 5 % fines the plasticity does not count
DUAL_UP_TO = 0.12  # ASTM D2487: 5 to 12 % fines have a dual symbol
FINE_FROM = 0.50  # ASTM D2487: 50 % or more passing 75 µm is fine-grained
LIMITS_UM = (300_000.0, 75_000.0, 4_750.0, 75.0)  # ASTM D2487: boulders, cobbles, gravel, sand
SIDE = 1e-6  # distance at which either side of a threshold is tried
ASK_PLASTICITY = (
    "Fines are 5 % or more: give liquid limit and plasticity index, or say that they are not "
    "plastic."
)
ASK_GRADING = (
    "Cu and Cc cannot be told: D10, D30 or D60 lies outside the nest. Add sieves, or test the "
    "fines by sedimentation."
)
ASK_SIEVES = "Passing 4.75 mm or 75 µm is not known: add the 4.75 mm and the 75 µm sieve."


class Outcome(StrEnum):
    """How far the classification came."""

    CLASSIFIED = "classified"
    NEEDS_PLASTICITY = "needs_plasticity"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Classification:
    """Symbol and name of a soil, or what it could be and what is missing.

    `symbol` is '' when more than one is possible, `name` when more than one name is; then
    `possible_symbols` and `possible_names` list them. `needs` says what to do.
    """

    outcome: Outcome
    symbol: str
    name: str
    possible_symbols: tuple[str, ...]
    possible_names: tuple[str, ...]
    needs: tuple[str, ...]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Candidates:
    """All soils that what is known allows."""

    soils: tuple[tuple[str, str], ...]
    needs: tuple[str, ...]
    reasons: tuple[str, ...]


def _fines_options(plasticity: Plasticity | None) -> tuple[FinesKind, ...]:
    """Kinds the fines may be of; a kind told by hand leaves L or H open."""
    if plasticity is None:
        return tuple(kind for kind in FinesKind if kind.symbol)
    kind = fines_kind(plasticity)
    if kind is FinesKind.SILTY:
        return (FinesKind.ML, FinesKind.MH)
    if kind is FinesKind.CLAYEY:
        return (FinesKind.CL, FinesKind.CH)
    return (kind,)


def _fine_soils(whole: SoilShares, plasticity: Plasticity | None) -> _Candidates:
    kinds = _fines_options(plasticity)
    soils = [(kind.symbol, fine_name(kind.symbol, kind.behaviour, whole)) for kind in kinds]
    needs = (ASK_PLASTICITY,) if len({symbol for symbol, _ in soils}) > 1 else ()
    fines_pct = 100 * whole.below_75_mm().fines
    reason = f"Fine-grained: {fines_pct:.1f} % passes 75 µm, which is 50 % or more."
    return _Candidates(tuple(soils), needs, (reason,))


def _grading_letters(sizes: SizeBounds | None, first: str) -> tuple[str, ...]:
    found = Grading.UNDECIDED if sizes is None else grading(sizes, first)
    return ("W", "P") if found is Grading.UNDECIDED else (found.value,)


def _fines_letters(kind: FinesKind, first: str) -> str:
    """Symbol for the fines of a coarse soil; in the hatched zone C leads, as in SC-SM."""
    letters = {"silt": f"{first}M", "clay": f"{first}C", "silty clay": f"{first}C-{first}M"}
    return letters[kind.behaviour]


def _coarse_soils(
    whole: SoilShares, plasticity: Plasticity | None, sizes: SizeBounds | None
) -> _Candidates:
    part = whole.below_75_mm()
    first = "G" if part.gravel > part.sand + NOISE else "S"
    letters = _grading_letters(sizes, first)
    ask_grading = (ASK_GRADING,) * (len(letters) > 1)
    reasons = _coarse_reasons(part, first, sizes)
    if part.fines < CLEAN_BELOW - NOISE:
        soils = [(first + letter, coarse_name(first + letter, "", whole)) for letter in letters]
        return _Candidates(tuple(soils), ask_grading, reasons)
    ask = (ASK_PLASTICITY,) * (plasticity is None)
    if part.fines <= DUAL_UP_TO + NOISE:
        pairs = [
            (f"{first}{letter}-{_fines_letters(kind, first)[:2]}", kind)
            for kind in _fines_options(plasticity)
            for letter in letters
        ]
        return _Candidates(_named(pairs, whole), ask + ask_grading, reasons)
    pairs = [(_fines_letters(kind, first), kind) for kind in _fines_options(plasticity)]
    return _Candidates(_named(pairs, whole), ask, reasons)


def _named(
    pairs: Sequence[tuple[str, FinesKind]], whole: SoilShares
) -> tuple[tuple[str, str], ...]:
    """Symbol and name of coarse soils with fines of the given kinds."""
    return tuple(
        (symbol, coarse_name(symbol, kind.behaviour, whole, is_organic=kind.is_organic))
        for symbol, kind in pairs
    )


def _coarse_reasons(part: SoilShares, first: str, sizes: SizeBounds | None) -> tuple[str, ...]:
    name = "gravel" if first == "G" else "sand"
    said = [
        f"Coarse-grained: {100 * part.fines:.1f} % passes 75 µm, less than 50 %.",
        f"Gravel {100 * part.gravel:.1f} %, sand {100 * part.sand:.1f} %: {name} leads.",
    ]
    if sizes is not None:
        said.append(f"Cu {_span(sizes.cu)}, Cc {_span(sizes.cc)}.")
    return tuple(said)


def _span(bounds: tuple[float, float]) -> str:
    low, high = bounds
    if np.isinf(high):
        return f"at least {low:.2f}"
    return f"{low:.2f}" if high - low <= NOISE * high else f"from {low:.2f} to {high:.2f}"


def _candidates(
    whole: SoilShares, plasticity: Plasticity | None, sizes: SizeBounds | None
) -> _Candidates:
    if whole.below_75_mm().fines >= FINE_FROM - NOISE:
        return _fine_soils(whole, plasticity)
    return _coarse_soils(whole, plasticity, sizes)


def _unique(items: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(items))


def _answer(
    found: Sequence[_Candidates], plasticity: Plasticity | None, assumptions: tuple[str, ...]
) -> Classification:
    soils = [soil for candidates in found for soil in candidates.soils]
    reasons = found[-1].reasons  # of what is not known, when something is not
    symbols, names = _unique([soil[0] for soil in soils]), _unique([soil[1] for soil in soils])
    is_one = len(symbols) == 1
    needs = _unique([need for candidates in found for need in candidates.needs])
    outcome = Outcome.CLASSIFIED if is_one else Outcome.UNDECIDED
    if not is_one and ASK_PLASTICITY in needs and ASK_SIEVES not in needs:
        outcome = Outcome.NEEDS_PLASTICITY
    return Classification(
        outcome=outcome,
        symbol=symbols[0] if is_one else "",
        name=names[0] if len(names) == 1 else "",
        possible_symbols=symbols,
        possible_names=names,
        needs=() if is_one and len(names) == 1 else needs,
        reasons=reasons,
        cautions=() if plasticity is None else cautions(plasticity),
        assumptions=assumptions,
    )


def classify(
    shares: SoilShares,
    plasticity: Plasticity | None = None,
    sizes: SizeBounds | None = None,
    *,
    is_peat: bool = False,
) -> Classification:
    """Group symbol and group name of a soil from its shares.

    Parameters
    ----------
    shares : SoilShares
        Gravel, sand, fines, cobbles and boulders, 0-1.
    plasticity : Plasticity, optional
        Limits of the fines; asked for when fines are 5 % or more.
    sizes : SizeBounds, optional
        D10, D30 and D60 of what passes 75 mm; needed up to 12 % fines.
    is_peat : bool
        Mainly vegetable matter, dark, with the smell of it (by eye).

    Returns
    -------
    Classification
        Symbol and name, or the possible ones and what is missing.

    Raises
    ------
    Impossible
        When shares, sizes or limits cannot be.
    NotDeterminable
        When only one of the two plasticity values was given.

    Notes
    -----
    Fine-grained with 50 % or more passing 75 µm. Coarse: G when more than half of the coarse
    part stays on 4.75 mm, else S. Fines below 5 %: GW, GP, SW, SP; 5 to 12 %: dual symbol; above:
    GM, GC, GC-GM and the same for S. All limits are compared unrounded.

    References
    ----------
    ASTM D2487 (classification chart, flow charts; from public tables and memory).

    Examples
    --------
    >>> soil = classify(SoilShares(0.16, 0.61, 0.23), Plasticity(33, 6))
    >>> soil.symbol, soil.name
    ('SM', 'Silty sand with gravel')
    """
    if is_peat:
        peat = _Candidates((("PT", "Peat"),), (), ("Mainly organic matter, by eye.",))
        return _answer([peat], None, ())
    return _answer([_candidates(shares, plasticity, sizes)], plasticity, ())


@dataclass(frozen=True, slots=True)
class _Passing:
    """Least and largest passing at one limit."""

    least: float
    most: float

    def tried(self, thresholds: Sequence[float]) -> tuple[float, ...]:
        """Values at which the answer may change: both ends, both sides of each threshold."""
        if self.most - self.least <= NOISE:
            return (self.most,)
        sides = [value + side for value in thresholds for side in (-SIDE, 0.0, SIDE)]
        inside = [value for value in sides if self.least < value < self.most]
        return (self.least, self.most, *inside)


def _possible_shares(at_475: _Passing, at_75: _Passing) -> list[tuple[float, float, float]]:
    """Gravel, sand and fines that the bounds allow, one of each kind of answer."""
    found: list[tuple[float, float, float]] = []
    fines_steps = [CLEAN_BELOW, DUAL_UP_TO, FINE_FROM, 0.70, 0.85]  # of classes and of names
    ends = (at_475.least, at_475.most)
    fines_steps += [value for end in ends for value in (end - 0.15, 2 * end - 1)]
    for fines in at_75.tried(fines_steps):
        found += [
            (1 - finer, max(finer - fines, 0.0), fines)
            for finer in at_475.tried([0.85, fines + 0.15, (1 + fines) / 2])
            if finer >= fines - NOISE
        ]
    return found


def _unknown_passing(at_475: _Passing, at_75: _Passing, sizes: SizeBounds) -> _Candidates | None:
    """What the nest leaves open at 4.75 mm and 75 µm, as reasons and a request."""
    open_ends = [
        f"Passing {name} lies from {100 * passing.least:.1f} to {100 * passing.most:.1f} %."
        for name, passing in (("4.75 mm", at_475), ("75 µm", at_75))
        if passing.most - passing.least > NOISE
    ]
    if not open_ends:
        return None
    coefficients = f"Cu {_span(sizes.cu)}, Cc {_span(sizes.cc)}."
    return _Candidates((), (ASK_SIEVES,), (*open_ends, coefficients))


def _below_75_mm(
    apertures: NDArray[np.float64], shares: NDArray[np.float64], at_75_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The curve of what passes 75 mm."""
    if at_75_mm >= 1 - NOISE:
        return apertures, shares
    is_below = apertures < LIMITS_UM[1]
    return (
        np.concatenate(([LIMITS_UM[1]], apertures[is_below])),
        np.concatenate(([1.0], shares[is_below] / at_75_mm)),
    )


def classify_curve(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    plasticity: Plasticity | None = None,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> Classification:
    """Group symbol and group name of a soil from its curve.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one complete run, 0-1.
    plasticity : Plasticity, optional
        Limits of the fines; asked for when fines are 5 % or more.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    Classification
        Symbol and name, or the possible ones and what is missing.

    Raises
    ------
    NotDeterminable
        When a sieve is not weighed yet, several runs are given, or nothing passes 75 mm.
    Impossible
        When the numbers make no curve, or the limits cannot be.

    Notes
    -----
    Passing at 75 mm, 4.75 mm and 75 µm is read off the curve, D10, D30 and D60 too. What lies
    beyond the nest is bounded, and every soil within the bounds is followed: one symbol for
    all of them is an answer. A nest that ends below 75 mm is taken to hold no cobbles.

    References
    ----------
    ASTM D2487 (classification chart, flow charts; from public tables and memory).

    Examples
    --------
    >>> soil = classify_curve([19000, 4750, 2000, 425, 150, 75], [1, 0.62, 0.4, 0.2, 0.08, 0.03])
    >>> soil.symbol, soil.name
    ('SW', 'Well-graded sand with gravel')
    """
    apertures, shares = checked_curve(apertures_um, passing)
    if shares.ndim != 1 or not np.all(np.isfinite(shares)):
        raise NotDeterminable("A soil is classified from one complete run. Weigh all fractions.")
    least, most, _ = limit_bounds(apertures, shares, np.array(LIMITS_UM), interpolation)
    assumptions, at_300_mm, at_75_mm = _oversize(apertures, least, most)
    if at_75_mm <= NOISE:
        raise NotDeterminable("Nothing passes 75 mm, so there is no soil to classify.")
    sizes = bounds_of_curve(*_below_75_mm(apertures, shares, at_75_mm), interpolation)
    at_475, at_75 = (
        _Passing(float(least[place] / at_75_mm), float(most[place] / at_75_mm)) for place in (2, 3)
    )
    found = [
        _candidates(
            SoilShares(
                gravel * at_75_mm,
                sand * at_75_mm,
                fines * at_75_mm,
                cobbles=at_300_mm - at_75_mm,
                boulders=1 - at_300_mm,
            ),
            plasticity,
            sizes,
        )
        for gravel, sand, fines in _possible_shares(at_475, at_75)
    ]
    unknown = _unknown_passing(at_475, at_75, sizes)
    return _answer(found if unknown is None else [*found, unknown], plasticity, assumptions)


def _oversize(
    apertures: NDArray[np.float64], least: NDArray[np.float64], most: NDArray[np.float64]
) -> tuple[tuple[str, ...], float, float]:
    """Passing at 300 and 75 mm, with what is taken for granted above the coarsest sieve."""
    at_300_mm, at_75_mm = float(most[0]), float(most[1])
    said: tuple[str, ...] = ()
    if least[1] < most[1] - NOISE:
        said = (f"Nothing on the coarsest sieve, {apertures[0]:g} µm, is larger than 75 mm.",)
    elif least[0] < most[0] - NOISE:
        said = (f"Nothing on the coarsest sieve, {apertures[0]:g} µm, is larger than 300 mm.",)
    return said, at_300_mm, at_75_mm
