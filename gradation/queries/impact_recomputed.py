"""Many results computed again with what was found wrong: arrays, one group of like runs at a time.

A group has one nest, one procedure version and one specification version, so that every array
operation serves all its runs. No database here: what is needed is handed in.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gradation.science.apertures import designation
from gradation.science.batch import ManyMasses, ManyResults, Wanted, evaluate_many
from gradation.science.envelopes import AssessmentRule, EnvelopeLine, LineKind, MissingAperture
from gradation.science.gradation import Basis
from gradation.science.interpolation import FloatArray
from gradation.science.percentiles import passing_at_size
from gradation.science.sensitivity import aperture_shift

__all__ = [
    "BalanceFound",
    "Group",
    "Recomputed",
    "SieveFound",
    "kept_lines",
    "line_words",
    "needs_pan",
    "recomputed",
]

#: Told for one run at a time only, so a limit on them is not judged again here.
ONE_BY_ONE = frozenset({"maximum_size", "nominal_maximum_size"})
#: Need the mass in the pan besides the curve.
FROM_PAN = frozenset({"fines", "grain_fineness_number"})


@dataclass(frozen=True, slots=True)
class SieveFound:
    """A sieve that was marked with one aperture and found with another [µm]."""

    nominal_um: float
    found_um: float


@dataclass(frozen=True, slots=True)
class BalanceFound:
    """A balance that read too much (positive) or too little, in percent of the reading."""

    error_pct: float


@dataclass(frozen=True, slots=True)
class Group:
    """Runs on like nests, under one procedure version and one specification version."""

    apertures_um: tuple[float, ...]
    basis: Basis
    lines: tuple[EnvelopeLine, ...]
    rule: AssessmentRule
    specification: str = ""
    is_one_balance: bool = True
    """Whether all masses of a run came from the balance in question."""


@dataclass(frozen=True, slots=True)
class Recomputed:
    """What the runs of a group found, and would have found; one entry a run."""

    point: NDArray[np.intp]
    """Row of the sieve shown: the one in question, or the one that moves most."""
    before: FloatArray
    """(m, n) passing as recorded, 0 to 1."""
    after: FloatArray
    """(m, n) passing with the error taken out, 0 to 1."""
    is_extended: NDArray[np.bool_]
    outcome_before: NDArray[np.object_]
    outcome_after: NDArray[np.object_]
    margin_before: FloatArray
    """(m,) smallest margin of the lines concerned, percentage points; NaN without one."""
    margin_after: FloatArray
    nearest: NDArray[np.intp]
    """(m,) line with that margin afterwards; -1 without one."""

    @property
    def would_flip(self) -> NDArray[np.bool_]:
        """Say where the statement on conformity would be another one."""
        return np.asarray(self.outcome_before != self.outcome_after, dtype=np.bool_)


def recomputed(
    group: Group,
    passing: FloatArray,
    found: SieveFound | BalanceFound,
    pan: FloatArray | None = None,
) -> Recomputed:
    """Give what the runs of a group would have found without the error.

    `passing` (m, n) as recorded, 0 to 1; `pan` (m,) the pan's share where a line needs it. Raises
    the calculation's own refusal when nothing can be said: a single sieve, or an aperture found
    beyond its neighbour's.
    """
    nest = np.asarray(group.apertures_um)
    if isinstance(found, SieveFound):
        candidates, points, extended = _of_sieve(nest, passing, found)
    else:
        candidates, points, extended = _of_balance(group, passing, found)
    looked_at = [_looked_at(group, each, pan, passing) for each in (passing, *candidates)]
    concerned = _concerned(group.lines, looked_at, found)
    margins = [_smallest(each.margins, concerned) for each in looked_at]
    cases = _Cases(passing, candidates, looked_at, margins)
    return _worst(cases, points, extended)


def _of_sieve(
    nest: FloatArray, passing: FloatArray, found: SieveFound
) -> tuple[list[FloatArray], NDArray[np.intp], NDArray[np.bool_]]:
    """Read the sieve's own point at its nominal aperture; the others stand."""
    position = int(np.flatnonzero(nest == found.nominal_um)[0])
    shift = aperture_shift(nest, passing, position, found.found_um - found.nominal_um)
    points = np.full(len(passing), position, dtype=np.intp)
    is_extended = np.full(len(passing), bool(shift.extended[position]))
    return [shift.corrected], points, is_extended


def _of_balance(
    group: Group, passing: FloatArray, found: BalanceFound
) -> tuple[list[FloatArray], NDArray[np.intp], NDArray[np.bool_]]:
    """Scale the masses by the error found.

    One balance for all masses of a run: fractions and total are scaled alike and no percentage
    moves. Two or more: which mass came from which is not recorded, so both worst cases are given,
    the coarse side from this balance and the rest from another, and the other way round.
    """
    scale = 1.0 / (1.0 + found.error_pct / 100.0)
    retained = 1.0 - passing
    factors = [1.0] if group.is_one_balance else [scale, 1.0 / scale]
    if group.basis is Basis.INITIAL_DRY:
        coarser = [np.minimum(retained * factor, 1.0) for factor in factors]
    else:
        coarser = [retained * f / (retained * f + passing) for f in factors]
    candidates = [passing.copy() if group.is_one_balance else 1.0 - each for each in coarser]
    points = np.abs(candidates[0] - passing).argmax(axis=1)
    return candidates, points, np.zeros(len(passing), dtype=np.bool_)


@dataclass(frozen=True, slots=True)
class _LookedAt:
    """Outcome, numbers and margins of one curve per run."""

    outcomes: NDArray[np.object_]
    numbers: FloatArray
    """(m, lines) the number each line looks at; NaN where not tested."""
    margins: FloatArray
    """(m, lines) distance to the nearer limit that can be broken; NaN for other units."""


def _looked_at(
    group: Group, curve: FloatArray, pan: FloatArray | None, recorded: FloatArray
) -> _LookedAt:
    if not group.lines:
        none = np.empty((len(curve), 0))
        return _LookedAt(np.full(len(curve), "", dtype=object), none, none)
    results = _evaluated(group, curve, pan, recorded)
    verdicts = results.verdicts
    outcomes = verdicts.outcomes if verdicts else np.full(len(curve), "", dtype=object)
    numbers = np.stack([_number(line, group, curve, results) for line in group.lines], axis=-1)
    margins = np.stack(
        [_margin(line, numbers[:, place]) for place, line in enumerate(group.lines)], axis=-1
    )
    return _LookedAt(outcomes, numbers, margins)


def _evaluated(
    group: Group, curve: FloatArray, pan: FloatArray | None, recorded: FloatArray
) -> ManyResults:
    """Judge the curves by the function that judges batches, on 1 g of dry mass each."""
    steps = np.clip(-np.diff(curve, prepend=1.0, axis=-1), 0.0, None)
    # What leaves the finest sieve goes to the pan; the sieving loss stays what it was.
    below = curve[:, -1] if pan is None else pan + curve[:, -1] - recorded[:, -1]
    masses = np.concatenate([steps, np.clip(below, 0.0, None)[:, None]], axis=-1)
    many = ManyMasses(group.apertures_um, masses, np.ones(len(curve)))
    wanted = Wanted(
        shares=(), values=(), interpolation=group.rule.interpolation,
        envelope=group.lines, rule=group.rule,
    )  # fmt: skip
    return evaluate_many(many, wanted)


def _number(
    line: EnvelopeLine, group: Group, curve: FloatArray, results: ManyResults
) -> FloatArray:
    if line.kind is LineKind.CHARACTERISTIC:
        return results.values[line.characteristic]
    asked = [float(each) for each in (line.aperture_um, line.finer_um) if each is not None]
    asked = asked if line.kind is LineKind.BETWEEN else asked[:1]
    is_missing = not set(asked) <= set(group.apertures_um)
    if is_missing and group.rule.missing is MissingAperture.NOT_TESTED:
        return np.full(len(curve), np.nan)
    share = passing_at_size(group.apertures_um, curve, asked, group.rule.interpolation)
    first = 100.0 * share[..., 0]
    return first - 100.0 * share[..., 1] if len(asked) > 1 else first


def _margin(line: EnvelopeLine, number: FloatArray) -> FloatArray:
    """Give the distance to the nearer limit that a percentage can break; inside is positive."""
    if line.kind is LineKind.CHARACTERISTIC:
        return np.full(number.shape, np.nan)
    value = 100.0 - number if line.kind is LineKind.RETAINED else number
    low, high = line.limits()
    sides = [
        value - float(low) if low is not None and low > 0 else None,
        float(high) - value if high is not None and high < 100 else None,
    ]
    known = [side for side in sides if side is not None]
    return np.minimum.reduce(known) if known else np.full(number.shape, np.nan)


def _concerned(
    lines: Sequence[EnvelopeLine], looked_at: Sequence[_LookedAt], found: SieveFound | BalanceFound
) -> NDArray[np.bool_]:
    """Say which lines the error can reach: for a balance all, for a sieve those that use it."""
    if isinstance(found, BalanceFound):
        return np.ones(len(lines), dtype=np.bool_)
    before, after = looked_at[0].numbers, looked_at[1].numbers
    moved = np.any((before != after) & ~np.isnan(before), axis=0)
    named = [
        found.nominal_um in {float(each) for each in (line.aperture_um, line.finer_um) if each}
        for line in lines
    ]
    return np.asarray(moved | np.array(named, dtype=np.bool_), dtype=np.bool_)


def _smallest(
    margins: FloatArray, concerned: NDArray[np.bool_]
) -> tuple[FloatArray, NDArray[np.intp]]:
    """Give the smallest margin of each run among the lines concerned, and its line."""
    known = np.where(concerned & ~np.isnan(margins), margins, np.inf)
    if known.shape[1] == 0:
        return np.full(len(known), np.nan), np.full(len(known), -1, dtype=np.intp)
    line = known.argmin(axis=1)
    least = known[np.arange(len(known)), line]
    has_one = np.isfinite(least)
    return np.where(has_one, least, np.nan), np.where(has_one, line, -1)


@dataclass(frozen=True, slots=True)
class _Cases:
    """As recorded, first; then each way it may have been."""

    recorded: FloatArray
    candidates: Sequence[FloatArray]
    looked_at: Sequence[_LookedAt]
    margins: Sequence[tuple[FloatArray, NDArray[np.intp]]]

    def chosen(self) -> NDArray[np.intp]:
        """Give, run by run, the case that changes the statement, else that of least margin."""
        outcome = self.looked_at[0].outcomes
        keys = [
            np.where(case.outcomes != outcome, -np.inf, np.where(np.isnan(least), np.inf, least))
            for case, (least, _) in zip(self.looked_at[1:], self.margins[1:], strict=True)
        ]
        return np.asarray(np.stack(keys).argmin(axis=0))


def _worst(cases: _Cases, points: NDArray[np.intp], extended: NDArray[np.bool_]) -> Recomputed:
    looked_at, margins = cases.looked_at, cases.margins
    pick = (cases.chosen(), np.arange(len(cases.recorded)))
    return Recomputed(
        point=points,
        before=cases.recorded,
        after=np.stack(cases.candidates)[pick],
        is_extended=extended,
        outcome_before=looked_at[0].outcomes,
        outcome_after=np.stack([case.outcomes for case in looked_at[1:]])[pick],
        margin_before=margins[0][0],
        margin_after=np.stack([least for least, _ in margins[1:]])[pick],
        nearest=np.stack([line for _, line in margins[1:]])[pick],
    )


def line_words(line: EnvelopeLine) -> str:
    """Name what a line limits, as the trade writes it."""
    if line.kind is LineKind.CHARACTERISTIC or line.aperture_um is None:
        return line.characteristic.replace("_", " ")
    name = designation(line.aperture_um)
    if line.kind is LineKind.BETWEEN and line.finer_um is not None:
        return f"{name} to {designation(line.finer_um)}"
    return f"{name} retained" if line.kind is LineKind.RETAINED else name


def kept_lines(lines: Sequence[EnvelopeLine]) -> tuple[EnvelopeLine, ...]:
    """Leave out the limits that can only be judged run by run."""
    return tuple(line for line in lines if line.characteristic not in ONE_BY_ONE)


def needs_pan(groups: Iterable[Group]) -> bool:
    """Say whether a limit looks at the pan."""
    return any(line.characteristic in FROM_PAN for group in groups for line in group.lines)
