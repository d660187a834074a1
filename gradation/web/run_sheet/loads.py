"""How full each sieve is: its share of the heaviest fraction, and its load against the limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.queries.run_view import AtSieve, Place, RunView
from gradation.science.acceptance import overload_limit_g
from gradation.science.errors import GradationError
from gradation.science.worksheet_form import Entry
from gradation.web.run_sheet.rows import Load

__all__ = ["Loads", "load_of", "loads_of"]

#: From here on the remedies are put forward, while there is still time for them. Common practice.
NEARLY_FULL_PCT = 80
_REMEDIES = (
    "Sieve it in several increments, put a relief sieve above it, split what passes a coarser "
    "sieve and combine, or take a larger frame."
)
_NO_INCREMENTS = (
    "Put a relief sieve above it, split what passes a coarser sieve and combine, or take a "
    "larger frame."
)


@dataclass(frozen=True)
class Loads:
    """Masses by place, as far as they are known [g, %]."""

    whole_g: Mapping[int, float]
    """What lies at each place of the nest, brought to the whole portion; the pan is place 0."""
    load_pct: Mapping[int, float]
    """Load of each sieve in % of its limit, where the procedure has a rule of load."""

    def share_pct(self, position: int) -> float | None:
        """Give a fraction as a share of the heaviest one."""
        mass_g = self.whole_g.get(position)
        return 100 * mass_g / max(self.whole_g.values()) if mass_g else None


def loads_of(view: RunView, figures: Mapping[str, Any]) -> Loads:
    """Give the masses of a run by place."""
    table = {Decimal(str(row["aperture_um"])): row for row in figures.get("table", ())}
    is_cumulative = view.run.procedure_version.entry == Entry.CUMULATIVE
    whole_g: dict[int, float] = {}
    load_pct: dict[int, float] = {}
    for at in view.sieves:
        row = table.get(at.sieve.aperture_um.normalize(), {})
        own_g = _own_g(at, row, is_cumulative=is_cumulative)
        mass_g = row.get("retained_g")
        if mass_g is not None or own_g is not None:
            whole_g[at.sieve.position] = float(mass_g if mass_g is not None else own_g or 0)
        pct = None if own_g is None else _load_pct(view, at, own_g)
        if pct is not None:
            load_pct[at.sieve.position] = pct
    pan_g = (figures.get("pan") or {}).get("retained_g")
    pan_g = _sum_g(view.pan) if pan_g is None and not is_cumulative else pan_g
    return Loads(whole_g if pan_g is None else {**whole_g, 0: float(pan_g)}, load_pct)


def _own_g(at: AtSieve, row: Mapping[str, Any], *, is_cumulative: bool) -> Decimal | None:
    """Give the most that lay on a sieve at one time."""
    if is_cumulative:
        return None if row.get("weighed_g") is None else Decimal(row["weighed_g"])
    masses = [place.weighing.mass_g for place in at.fraction if place.weighing]
    return max(masses) if masses else None


def _sum_g(places: Sequence[Place]) -> Decimal | None:
    masses = [place.weighing.mass_g for place in places if place.weighing]
    return sum(masses, Decimal(0)) if masses else None


def _load_pct(view: RunView, at: AtSieve, own_g: Decimal) -> float | None:
    rule = view.evaluation and view.evaluation.worksheet.overload
    if not rule:
        return None
    try:
        limit_g = overload_limit_g(rule, float(at.sieve.aperture_um))
    except GradationError:
        return None
    return 100 * float(own_g) / limit_g


def load_of(view: RunView, loads: Loads, position: int) -> Load | None:
    """Say of a sieve that is nearly full, or overloaded, what can be done."""
    pct = loads.load_pct.get(position)
    if pct is None or pct < NEARLY_FULL_PCT:
        return None
    is_cumulative = view.run.procedure_version.entry == Entry.CUMULATIVE
    return Load(
        f"{pct:.0f} % of its load limit",
        _NO_INCREMENTS if is_cumulative else _REMEDIES,
        is_over=pct > 100,
    )
