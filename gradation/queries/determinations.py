"""Determinations of one sample: the figures they are compared by, and where they disagree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gradation.models import ProcedureVersion
from gradation.science.apertures import designation
from gradation.science.quality.replicates import critical_range_factor

__all__ = ["Disagreement", "disagreements", "exceeds", "figures_of", "largest_range"]

Figures = Mapping[str, float]


@dataclass(frozen=True)
class Disagreement:
    """One figure at which the determinations lie further apart than the procedure allows."""

    name: str
    spread: float
    limit: float


def figures_of(values: Mapping[str, Any], procedure: ProcedureVersion) -> Figures:
    """Give the figures a procedure compares determinations by: the one it names, or each passing.

    `values` are those of a result, frozen or just computed.
    """
    name = procedure.repeatability_of
    if name:
        value = values["characteristics"].get(name)
        return {} if value is None else {name.replace("_", " "): float(value)}
    return {
        designation(row["aperture_um"]): float(row["passing_pct"])
        for row in values["table"]
        if row["passing_pct"] is not None
    }


def disagreements(
    determinations: Sequence[Figures], procedure: ProcedureVersion
) -> list[Disagreement]:
    """List where determinations lie apart, by the procedure's largest range or its repeatability.

    Figures that not every determination has are left out; without a limit nothing is judged.
    """
    if len(determinations) < 2:
        return []
    first, *others = determinations
    shared = [name for name in first if all(name in each for each in others)]
    found = (_apart(name, [each[name] for each in determinations], procedure) for name in shared)
    return [each for each in found if each is not None]


def largest_range(procedure: ProcedureVersion, count: int) -> float | None:
    """Give how far so many determinations may lie apart, in the unit of the figure.

    A limit that the procedure writes holds as it stands. From its repeatability the range grows
    with the number of determinations (ISO 5725-6:1994, 4.2). None: nothing to judge by.
    """
    if count < 2:
        return None
    if procedure.repeatability_limit is not None:
        return float(procedure.repeatability_limit)
    if not procedure.repeatability_sd:
        return None
    return critical_range_factor(count) * float(procedure.repeatability_sd)


def exceeds(spread: float, limit: float | None) -> bool | None:
    """Say whether a range is above its limit; one that equals it is not. None without a limit."""
    return None if limit is None else spread > limit * (1 + 1e-12)


def _apart(name: str, values: Sequence[float], procedure: ProcedureVersion) -> Disagreement | None:
    spread, limit = max(values) - min(values), largest_range(procedure, len(values))
    if limit is None or not exceeds(spread, limit):
        return None
    return Disagreement(name, spread, limit)
