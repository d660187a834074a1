"""Two benches or laboratories on portions of one sample: the difference taken apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.studies.asked import BenchesAsked, BenchGroup, Outcome
from gradation.queries.studies.bench_runs import BenchRun, bench_runs
from gradation.queries.studies.words import brief
from gradation.science.apertures import designation
from gradation.science.calculations.writing import plain
from gradation.science.errors import GradationError
from gradation.science.rounding import MOST_DECIMALS, Rounding
from gradation.science.shaker_settings import compare_settings
from gradation.science.taken_apart import BenchRuns, PointApart, Rest, take_apart

__all__ = ["work_out_benches"]

FEWEST_SIEVES = 2


@dataclass(frozen=True)
class _Side:
    """One side as it is compared."""

    name: str
    shares: tuple[dict[float, float], ...]
    """Share passing by aperture, one for each portion."""
    rounding: Rounding
    runs: tuple[BenchRun, ...] = ()
    reported_um: dict[float, float] = field(default_factory=dict)
    """Apertures that another laboratory measured of its sieves."""

    def apertures(self) -> set[float]:
        """Give the apertures known of every portion."""
        return set.intersection(*(set(each) for each in self.shares)) if self.shares else set()

    def measured_um(self, sizes: Sequence[float]) -> list[list[float | None]]:
        """Give the apertures measured of each run's sieves; None where none was."""
        known = [run.measured_um for run in self.runs] or [self.reported_um for _ in self.shares]
        return [[each.get(um) for um in sizes] for each in known]

    def on(self, sizes: Sequence[float]) -> BenchRuns:
        """Put the side on common apertures."""
        return BenchRuns(
            np.array([[each[um] for um in sizes] for each in self.shares]),
            np.array(self.measured_um(sizes), dtype=float),
            self.rounding,
        )

    def json(self, sizes: Sequence[float]) -> dict[str, Any]:
        """Give the side as it is frozen."""
        return {
            "name": self.name,
            "runs": [run.json() for run in self.runs],
            "passing_pct": [[round(100 * each[um], 6) for um in sizes] for each in self.shares],
            "measured_um": self.measured_um(sizes),
            "decimals": self.rounding.passing_decimals,
            "rounding": self.rounding.mode.value,
        }


def work_out_benches(actor: User, asked: BenchesAsked) -> Outcome:
    """Take the difference between two groups of runs of one sample apart.

    Refuses (`Invalid`), beside its field: a side without runs or with runs without results, runs
    of different samples, the same run on both sides, fewer than two sieves in common.
    """
    runs = bench_runs(actor, [*asked.first.runs, *asked.second.runs])
    if faults := [*_faults(asked, runs)]:
        raise Invalid(faults)
    first = _side(asked.first, runs, "first_runs")
    second = _side(asked.second, runs, "second_runs", like=first.rounding)
    sizes = sorted(first.apertures() & second.apertures(), reverse=True)
    if len(sizes) < FEWEST_SIEVES:
        msg = "Both sides have fewer than two sieves in common; nothing can be compared."
        raise Invalid.one("second_runs", msg, code="no-common-sieve")
    try:
        points = take_apart(sizes, first.on(sizes), second.on(sizes))
    except GradationError as error:
        raise Invalid.one("second_runs", str(error), code="cannot-compute") from error
    shaken = _shaken(first.runs, second.runs)
    samples = sorted({run.sample for run in runs.values()})
    inputs = {
        "sample": samples[0] if samples else "",
        "apertures_um": list(sizes),
        "first": first.json(sizes),
        "second": second.json(sizes),
    }
    figures = {
        "points": plain(points),
        "shaking": shaken,
        "notes": [*_notes(first, second)],
    }
    return Outcome(inputs, figures, _sentence(points, first.name, second.name))


def _faults(asked: BenchesAsked, runs: dict[int, BenchRun]) -> Iterator[Fault]:
    for side, group in (("first_runs", asked.first), ("second_runs", asked.second)):
        if not group.runs and not group.typed:
            yield Fault(side, "Give the runs of this side by their numbers.", "required")
        for key in group.runs:
            run = runs.get(key)
            if run is None:
                yield Fault(side, f"There is no run {key} to compare.", "unknown-run")
            elif not run.curve:
                msg = f"Run {run.name} has no result yet. Hand it over for review first."
                yield Fault(side, msg, "no-result")
    shared = set(asked.first.runs) & set(asked.second.runs)
    if shared:
        named = ", ".join(runs[key].name for key in shared if key in runs)
        yield Fault("second_runs", f"On both sides: {named}. Give each run to one.", "twice")
    samples = sorted({run.sample for run in runs.values()})
    if len(samples) > 1:
        msg = f"The runs are of {', '.join(samples)}; compare portions of one sample."
        yield Fault("second_runs", msg, "several-samples")
    yield from _unequal_lines(asked.second)


def _unequal_lines(group: BenchGroup) -> Iterator[Fault]:
    counts = {len(row.passing_pct) for row in group.typed}
    if len(counts) > 1:
        msg = "Each line needs a passing for every portion; some have more than others."
        yield Fault("typed", msg, "unequal-replicates")
    sizes = [row.aperture_um for row in group.typed]
    if len(set(sizes)) < len(sizes):
        yield Fault("typed", "An aperture stands twice. Give each a line.", "twice")


def _side(
    group: BenchGroup, runs: dict[int, BenchRun], field_name: str, like: Rounding | None = None
) -> _Side:
    if group.typed:
        portions = len(group.typed[0].passing_pct)
        shares = tuple(
            {float(row.aperture_um): float(row.passing_pct[i] / 100) for row in group.typed}
            for i in range(portions)
        )
        base = like or Rounding()
        measured = {
            float(row.aperture_um): float(row.measured_um)
            for row in group.typed
            if row.measured_um is not None
        }
        rounding = Rounding(_decimals(group), base.mode)
        name = group.name or "the other laboratory"
        return _Side(name, shares, rounding, reported_um=measured)
    own = tuple(runs[key] for key in group.runs)
    names = sorted({run.bench for run in own})
    curves = tuple(run.curve for run in own)
    return _Side(group.name or " and ".join(names), curves, own[0].rounding, own)


def _decimals(group: BenchGroup) -> int:
    """Give the decimals another laboratory reported with, as they were typed."""
    values = [value for row in group.typed for value in row.passing_pct]
    decimals = max(max(0, -int(value.as_tuple().exponent)) for value in values)
    return min(decimals, MOST_DECIMALS)


def _shaken(first: tuple[BenchRun, ...], second: tuple[BenchRun, ...]) -> dict[str, Any]:
    """Compare how every run was shaken with the first of the first side."""
    if not first or not second:
        return {
            "comparable": None,
            "reasons": ["How the other laboratory shook its portions is not in the records."],
        }
    missing = [run.name for run in (*first, *second) if run.settings is None]
    base = first[0].settings
    found = [
        compare_settings(base, run.settings)
        for run in (*first[1:], *second)
        if base is not None and run.settings is not None
    ]
    reasons = []
    if missing:
        shown = ", ".join(missing[:3]) + (f" and {len(missing) - 3} more" if missing[3:] else "")
        reasons.append(f"How the nest was shaken is not recorded of {shown}.")
    for each in found:
        reasons += [reason for reason in each.reasons if reason not in reasons]
    is_same = all(each.comparable for each in found) and not missing
    differs = any(each.comparable is False for each in found)
    return {"comparable": False if differs else True if is_same else None, "reasons": reasons}


def _notes(first: _Side, second: _Side) -> Iterator[str]:
    if len(first.shares) + len(second.shares) < 3:
        yield (
            "One portion each: what division alone brings is not known. Divide and sieve two or "
            "more portions on each side."
        )
    if first.rounding != second.rounding:
        yield "Both sides report by different rounding rules."
    ways = {run.division for run in (*first.runs, *second.runs) if run.division}
    if ways:
        yield f"Portions were made by: {'; '.join(sorted(ways))}."


def _sentence(points: tuple[PointApart, ...], first: str, second: str) -> str:
    most = max(points, key=lambda point: abs(point.difference_pct))
    side = "more" if most.difference_pct > 0 else "less"
    told = (
        f"{second} passes {brief(abs(most.difference_pct))} points {side} than {first} at "
        f"{designation(most.aperture_um)}, where they differ most."
        if most.difference_pct
        else f"{second} and {first} report the same passing at every sieve."
    )
    left = [point for point in points if point.rest is Rest.NOT_EXPLAINED]
    unknown = all(point.rest is Rest.NOT_KNOWN for point in points)
    if unknown:
        return f"{told} Without replicates nothing can be said of division."
    return f"{told} Not explained at {len(left)} of {len(points)} sieves."
