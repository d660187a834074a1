"""Blends of stockpiles, and the mean of increments."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Any

import numpy as np

from gradation.science.blend import (
    Binding,
    BlendLimits,
    BlendSolution,
    Nearness,
    Stockpile,
    blend_passing,
    meet_envelope,
    nearest_target,
    share_range,
    weighted_mean_passing,
)
from gradation.science.blend_lines import BlendLine, blend_lines
from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    check_percent,
    gaps,
    number,
    numbers,
    percents,
)
from gradation.science.calculations.writing import plain
from gradation.science.errors import NotDeterminable
from gradation.science.worksheet_reading import Fields


class Goal(StrEnum):
    """What is looked for."""

    MARGIN = "margin"
    TARGET = "target"
    RANGE = "range"
    TRIAL = "trial"


@dataclass(frozen=True, slots=True)
class _Asked:
    """Stockpiles, envelope and goal; shares from 0 to 1."""

    stockpiles: tuple[Stockpile, ...]
    limits: BlendLimits
    target: tuple[float | None, ...]
    nearness: Nearness
    shares: tuple[float, ...]


def _blend(fields: Fields) -> Answer:
    """Shares that meet an envelope best, come nearest to a target, or are tried."""
    fields.only(
        ("goal", "apertures_um", "stockpiles", "lower_pct", "upper_pct", "target_pct", "nearness",
         "shares_pct")
    )  # fmt: skip
    fields.require("apertures_um", "stockpiles")
    goal = fields.choice("goal", Goal.MARGIN)
    apertures = numbers(fields, "apertures_um", above=ZERO)
    asked = _Asked(
        tuple(_stockpile(each, len(apertures)) for each in fields.objects("stockpiles")),
        BlendLimits(
            apertures,
            _limits(fields, "lower_pct", apertures),
            _limits(fields, "upper_pct", apertures),
        ),
        _limits(fields, "target_pct", apertures),
        fields.choice("nearness", Nearness.LEAST_SQUARES),
        tuple(each / 100 for each in percents(fields, "shares_pct")),
    )
    if any(finer >= coarser for coarser, finer in pairwise(apertures)):
        fields.fault("apertures_um", "must fall from coarse to fine, as the nest stands.")
    if goal in (Goal.TARGET, Goal.TRIAL):
        fields.require("target_pct" if goal is Goal.TARGET else "shares_pct")
    if goal in (Goal.MARGIN, Goal.RANGE) and not (
        fields.has("lower_pct") or fields.has("upper_pct")
    ):
        fields.fault("lower_pct", "is missing; give lower limits, upper limits, or both.")
    solve = _GOALS[goal]
    return lambda: {"goal": goal.value, **solve(asked)}


def _stockpile(fields: Fields, count: int) -> Stockpile:
    """One material with the bounds of its share."""
    fields.only(("name", "passing_pct", "share_min_pct", "share_max_pct"))
    fields.require("name", "passing_pct")
    passing = percents(fields, "passing_pct")
    if fields.has("passing_pct") and len(passing) != count:
        fields.fault("passing_pct", f"needs {count} values, one for each aperture.")
    least = number(fields, "share_min_pct", least=ZERO)
    most = number(fields, "share_max_pct", 100.0, least=ZERO)
    check_percent(fields, "share_min_pct", least)
    check_percent(fields, "share_max_pct", most)
    shares = tuple(each / 100 for each in passing)
    return Stockpile(fields.text("name"), shares, least / 100, most / 100)


def _limits(fields: Fields, key: str, apertures: Sequence[float]) -> tuple[float | None, ...]:
    """Percentages at each aperture as shares; nothing at all when the list is missing."""
    if not fields.has(key):
        return (None,) * len(apertures)
    found = gaps(fields, key)
    for place, each in enumerate(found):
        check_percent(fields, f"{key}[{place}]", each)
    if len(found) != len(apertures):
        fields.fault(key, f"needs {len(apertures)} entries, one for each aperture; null for none.")
    return tuple(None if each is None else each / 100 for each in found)


def _margin(asked: _Asked) -> dict[str, Any]:
    """The largest smallest margin."""
    return _solution_json(meet_envelope(asked.stockpiles, asked.limits), asked)


def _target(asked: _Asked) -> dict[str, Any]:
    """The nearest blend to a target."""
    found = nearest_target(asked.stockpiles, asked.target, asked.limits, asked.nearness)
    return _solution_json(found, asked)


def _solution_json(found: BlendSolution, asked: _Asked) -> dict[str, Any]:
    """Shares and what holds them."""
    return {
        "exists": found.exists,
        "shares_pct": _by_name(asked, found.shares) if found.exists else None,
        "passing_pct": _percent(found.passing) if found.exists else None,
        "margin_pct": _percent(found.margin),
        "departure_pct": _percent(found.departure),
        "lines": _lines_json(found.passing, asked) if found.exists else None,
        "binding": [_binding_json(each) for each in found.binding],
        "sentence": found.sentence,
    }


def _lines_json(passing: Sequence[float], asked: _Asked) -> list[dict[str, Any]]:
    """The blend against each line of its envelope."""
    return [_line_json(line) for line in blend_lines(passing, asked.limits)]


def _line_json(line: BlendLine) -> dict[str, Any]:
    """One aperture with its margin."""
    return {
        "aperture_um": plain(line.aperture_um),
        "passing_pct": 100 * line.passing,
        "margin_pct": _percent(line.margin),
        "nearer_limit": line.nearer or None,
        "is_inside": line.is_inside,
    }


def _by_name(asked: _Asked, shares: Sequence[float]) -> list[dict[str, Any]]:
    """Shares beside the names of the stockpiles."""
    pairs = zip(asked.stockpiles, shares, strict=True)
    return [{"name": pile.name, "share_pct": 100 * share} for pile, share in pairs]


def _percent(shares: float | Sequence[float]) -> object:
    """A share or shares as percentages."""
    return plain(100.0 * np.asarray(shares, dtype=np.float64))


def _binding_json(binding: Binding) -> dict[str, Any]:
    """A limit that holds the blend back."""
    return {
        "aperture_um": binding.aperture_um,
        "limit_pct": 100 * binding.limit,
        "sentence": binding.sentence,
    }


def _range(asked: _Asked) -> dict[str, Any]:
    """Smallest and largest share of every stockpile over all blends that meet the envelope."""
    found = [share_range(asked.stockpiles, asked.limits, p.name) for p in asked.stockpiles]
    return {
        "exists": all(each.exists for each in found),
        "ranges": [
            {
                "name": pile.name,
                "smallest_pct": _percent(each.smallest),
                "largest_pct": _percent(each.largest),
                "held_by_smallest": [_binding_json(b) for b in each.held_by_smallest],
                "held_by_largest": [_binding_json(b) for b in each.held_by_largest],
            }
            for pile, each in zip(asked.stockpiles, found, strict=True)
        ],
    }


def _trial(asked: _Asked) -> dict[str, Any]:
    """What shares already chosen give."""
    if not asked.stockpiles:
        raise NotDeterminable("A blend needs stockpiles.")
    passing = blend_passing([pile.passing for pile in asked.stockpiles], asked.shares)
    lines = blend_lines(passing.tolist(), asked.limits)
    outside = [line.aperture_um for line in lines if not line.is_inside]
    return {
        "passing_pct": _percent(passing.tolist()),
        "shares_pct": _by_name(asked, asked.shares),
        "lines": [_line_json(line) for line in lines],
        "outside_um": outside,
        "meets_envelope": not outside,
    }


_GOALS: dict[Goal, Callable[[_Asked], dict[str, Any]]] = {
    Goal.MARGIN: _margin,
    Goal.TARGET: _target,
    Goal.RANGE: _range,
    Goal.TRIAL: _trial,
}


def _increments(fields: Fields) -> Answer:
    """Mean gradation of increments, each counting by its mass."""
    fields.only(("increments",))
    fields.require("increments")
    rows = [_increment(each) for each in fields.objects("increments")]
    if fields.has("increments") and not rows:
        fields.fault("increments", "holds no increment.")
    for place, (_, passing) in enumerate(rows):
        if len(passing) != len(rows[0][1]):
            fields.fault(f"increments[{place}].passing_pct", "has other apertures than the first.")

    def answer() -> dict[str, Any]:
        masses, passing = [mass for mass, _ in rows], [each for _, each in rows]
        return {
            "weighted_mean_pct": plain(weighted_mean_passing(masses, passing)),
            "plain_mean_pct": plain(weighted_mean_passing([1.0] * len(rows), passing)),
        }

    return answer


def _increment(fields: Fields) -> tuple[float, tuple[float, ...]]:
    """One increment."""
    fields.only(("mass_g", "passing_pct"))
    fields.require("mass_g", "passing_pct")
    return number(fields, "mass_g", least=ZERO), percents(fields, "passing_pct")


CALCULATIONS: Mapping[str, Reader] = {"blend": _blend, "increments": _increments}
