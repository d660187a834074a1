"""Endpoint of comparisons: runs, samples and means on common sieves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.told import Sent, Told
from gradation.api.equipment import StaffView
from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.comparisons import Asked, Cell, Comparison, SieveRow, compare
from gradation.queries.curve_picks import Pick, picks_named, read_pick
from gradation.queries.curves import PickedCurve
from gradation.science.rounding import round_reported

FULL_DECIMALS = 4


class CompareFilters(Sent):
    """What is compared; at least one of runs, samples, means."""

    runs = serializers.CharField(max_length=600, required=False)
    samples = serializers.CharField(max_length=600, required=False)
    means = serializers.CharField(max_length=600, required=False)
    reference = serializers.CharField(max_length=60, required=False)
    specification = serializers.IntegerField(required=False, min_value=1)


COMPARISON: dict[str, Any] = {
    "type": "object",
    "description": "Curves side by side, and the table of all their sieves.",
    "additionalProperties": {},
}


class Comparisons(StaffView):
    """Curves side by side; the query says which."""

    area = "gradations"
    operation = "comparisons"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=COMPARISON, asks=CompareFilters)}

    def get(self, request: Request) -> Response:
        """Give the curves and the table of all their sieves; anything unknown is refused."""
        query = self.asked
        picks, faults = _picks(self.person, {name: query.get(name, "") for name in _READERS})
        if not picks and not faults:
            msg = "Name what to compare: runs, samples or means."
            faults = [Fault("runs", msg, "required")]
        if faults:
            raise Invalid(faults)
        asked = Asked(tuple(picks), query.get("reference", ""), query.get("specification"))
        comparison = compare(self.person, asked)
        if comparison.faults:
            raise Invalid(comparison.faults)
        return Response(comparison_out(comparison))


def _runs(actor: User, word: str) -> list[Pick]:
    if word.isascii() and word.isdigit():
        return [read_pick(f"run:{word}", "runs")]
    return picks_named(actor, word, "runs")


def _samples(actor: User, word: str) -> list[Pick]:
    return [read_pick(f"sample:{word}", "samples")]


def _means(actor: User, word: str) -> list[Pick]:
    """Read 5:10, the latest ten runs of material 5, and 5:2026-01-01:2026-03-31."""
    kind = "period" if word.count(":") > 1 else "latest"
    return [read_pick(f"{kind}:{word}", "means")]


_READERS = {"runs": _runs, "samples": _samples, "means": _means}


def _picks(actor: User, asked: dict[str, str]) -> tuple[list[Pick], list[Fault]]:
    picks: list[Pick] = []
    faults: list[Fault] = []
    for name, text in asked.items():
        for word in filter(None, (part.strip() for part in text.split(","))):
            try:
                picks += _READERS[name](actor, word)
            except Invalid as refusal:
                faults += refusal.faults
    return picks, faults


def comparison_out(comparison: Comparison) -> dict[str, Any]:
    """Give a comparison as plain data: measurements as text, the unit in the name."""
    curves = comparison.curves
    return {
        "reference": curves[comparison.reference].pick.token,
        "specification": str(comparison.specification) if comparison.specification else None,
        "curves": [_curve(curve) for curve in curves],
        "sieves": [_sieve(comparison, row) for row in comparison.rows],
        "notes": list(comparison.notes),
    }


def _curve(curve: PickedCurve) -> dict[str, Any]:
    return {
        "curve": curve.pick.token,
        "label": curve.label,
        "detail": curve.detail,
        "count": curve.count,
        "runs": list(curve.runs),
        "interpolation": curve.group.interpolation.value,
        "apertures_um": [f"{um:g}" for um in curve.group.apertures_um],
        "passing_pct": [full(100 * share) for share in curve.passing],
        "passing_reported_pct": [
            curve.written(um, share)
            for um, share in zip(curve.group.apertures_um, curve.passing, strict=True)
        ],
        "standard_deviation_pct": [
            full(curve.deviation_pct[um]) if um in curve.deviation_pct else None
            for um in curve.group.apertures_um
        ],
    }


def _sieve(comparison: Comparison, row: SieveRow) -> dict[str, Any]:
    cells = zip(comparison.tokens, row.cells, strict=True)
    return {
        "aperture_um": f"{row.aperture_um:g}",
        "designation": row.name,
        "minimum_pct": _text(row.minimum),
        "maximum_pct": _text(row.maximum),
        "target_pct": _text(row.target),
        "curves": [{"curve": token, **_cell(cell)} for token, cell in cells],
    }


def _cell(cell: Cell) -> dict[str, Any]:
    return {
        "known": cell.known.value,
        "passing_pct": None if cell.passing_pct is None else full(cell.passing_pct),
        "difference_pct": None if cell.difference_pct is None else full(cell.difference_pct),
        "retained_on_sieve_pct": None if cell.retained_pct is None else full(cell.retained_pct),
    }


def full(value: float) -> str:
    """Write a percentage with four decimals: far finer than any weighing."""
    return f"{round_reported(value, FULL_DECIMALS):f}"


def _text(value: object) -> str | None:
    return None if value is None else str(value)
