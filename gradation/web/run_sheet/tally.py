"""The figures worked out while weighing: mass balance, what was washed out, stages of a split."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.queries.run_view import RunView
from gradation.science.apertures import designation
from gradation.web.run_sheet.layout import share
from gradation.web.templatetags.notebook import figure

__all__ = ["StageLine", "Tally", "WashLoss", "stage_lines", "tally_of", "wash_loss_of"]

Figures = Mapping[str, Any]


@dataclass(frozen=True)
class Tally:
    """The figures worked out while weighing."""

    dry_mass: str
    recovered: str
    loss: str
    loss_word: str
    loss_limit: str
    loss_look: str


@dataclass(frozen=True)
class WashLoss:
    """What was washed out of the portion: a row of its own."""

    mass: str
    share: str


@dataclass(frozen=True)
class StageLine:
    """The mass balance of one stage of a split sieving."""

    name: str
    shaken: str
    recovered: str
    loss: str
    loss_pct: str
    is_over: bool


def tally_of(view: RunView, figures: Figures) -> Tally:
    """Give the mass balance as far as it is known."""
    weighed = any(place.weighing for at in view.sieves for place in at.fraction)
    is_cumulative = view.run.procedure_version.entry == "cumulative"
    stages = figures.get("stages") or [{}]
    recovered = "" if is_cumulative else stages[0].get("recovered_g", "")
    dry = _sum_of(view)
    return Tally(
        dry_mass=figure(dry) if dry is not None else "",
        recovered=figure(recovered) if (weighed or view.pan[0].weighing) and recovered else "",
        loss=share(figures.get("loss_pct"), decimals=2),
        loss_word="Gain" if (figures.get("loss_g") or 0) < 0 else "Loss",
        loss_limit=f"{view.run.procedure_version.loss_limit_pct.normalize():f}",
        loss_look="look" if figures.get("loss_verdict") == "exceeded" else "",
    )


def _sum_of(view: RunView) -> Decimal | None:
    masses = [place.weighing.mass_as_entered for place in view.dry_mass if place.weighing]
    return sum(masses, Decimal(0)) if masses else None


def wash_loss_of(view: RunView, figures: Figures) -> WashLoss | None:
    """Give what was washed out, once both masses are known; None where nothing is washed."""
    if not view.run.procedure_version.wash:
        return None
    lost_g = figures.get("wash_loss_g")
    if lost_g is None:
        return WashLoss("", "")
    decimals = max((row.decimals for row in view.run.weighings.all()), default=0)
    return WashLoss(
        figure(f"{lost_g:.{decimals}f}"), share(figures.get("wash_loss_pct"), decimals=1)
    )


def stage_lines(figures: Figures) -> tuple[StageLine, ...]:
    """Give the mass balance of each stage, where the run is split; a loss once a stage is done."""
    stages = figures.get("stages") or []
    if len(stages) < 2:
        return ()
    over = {
        warning["aperture_um"]
        for warning in figures.get("warnings", ())
        if warning["code"] in {"loss_exceeded", "gain_exceeded"}
    }
    below = [stage["below_um"] for stage in stages[1:]]
    done = [*(_is_done(figures, size_um) for size_um in below), bool(figures.get("is_complete"))]
    return tuple(
        StageLine(
            name=_name(stage["below_um"]),
            shaken=figure(stage["shaken_g"]),
            recovered=figure(stage["recovered_g"]),
            loss=figure(stage["loss_g"]) if is_done else "",
            loss_pct=share(stage["loss_pct"], decimals=2) if is_done else "",
            is_over=is_done and stage["below_um"] in over,
        )
        for stage, is_done in zip(stages, done, strict=True)
    )


def _is_done(figures: Figures, split_um: float) -> bool:
    """Say whether all sieves down to a split are weighed."""
    rows = (row for row in figures["table"] if row["aperture_um"] >= split_um)
    return all(row["retained_g"] is not None for row in rows)


def _name(below_um: float | None) -> str:
    if below_um is None:
        return "the whole portion"
    return f"the reduced part below {designation(Decimal(str(below_um)))}"
