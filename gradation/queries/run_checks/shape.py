"""Checks of the curve: a zero or kink inside, unlike what the material usually gives. 16 and 17."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np

from gradation.models import Severity, Stage, Weighing
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import (
    COMPLETE,
    WORKING,
    Limit,
    Limits,
    Rule,
    Seen,
    place_name,
)
from gradation.science.errors import GradationError
from gradation.science.history import (
    FEWEST_RUNS,
    History,
    Recorded,
    history_of,
    no_history,
    unlike_history,
)
from gradation.science.mistakes import DRY_ROW, WASHED_ROW
from gradation.science.plausibility import empty_inside, fingerprints

__all__ = ["RULES"]

Slot = Weighing.Slot
_LAST_RUNS = Limit("last_runs", "Accepted runs looked back on", Decimal(30), "", "common practice")


def _inside(context: Context, limits: Limits) -> Iterator[Seen]:
    yield from _zeros(context, limits)
    if context.stage != Stage.WEIGHING:
        yield from _slips(context, limits)


def _zeros(context: Context, limits: Limits) -> Iterator[Seen]:
    evaluation = context.evaluation
    if evaluation is None:
        return
    masses = [row.retained_g for row in evaluation.rows if row.retained_g is not None]
    if evaluation.pan_g is not None:
        masses.append(evaluation.pan_g)
    if len(masses) < 3:
        return
    odd = empty_inside(masses, float(limits["least_neighbour"]) / 100)
    for place in np.flatnonzero(odd):
        row = evaluation.rows[int(place)]
        yield Seen(
            f"Nothing on {row.designation}, and much on the sieves above and below it.",
            "Look whether it was skipped or two rows are exchanged; say so when the material is "
            "gap-graded.",
            context.place_of(row.aperture_um),
        )


def _slips(context: Context, limits: Limits) -> Iterator[Seen]:
    """Name the slip of pen or hand that would explain an unusual run.

    Without a history only the sum can betray one; then the loss has asked for its reason already.
    """
    recorded = _recorded(context)
    if recorded is None or (context.evaluation and context.evaluation.worksheet.splits):
        return
    usual = _usual(context, limits, recorded)
    try:
        found = fingerprints(recorded, usual)
    except GradationError:
        return
    for finding in found[:1]:
        yield Seen(
            finding.evidence,
            "Correct what is wrong, with a reason, or say why it stands.",
            _row_place(context, finding.rows),
            at_most=Severity.STOP if usual.runs else Severity.NOTE,
        )


def _row_place(context: Context, rows: tuple[int, ...]) -> str:
    row = rows[0] if rows else DRY_ROW
    special = {DRY_ROW: Slot.DRY_MASS, WASHED_ROW: Slot.WASHED_DRY_MASS}.get(row)
    if special is not None:
        return place_name(special)
    return context.standing[row].place if row < len(context.standing) else place_name(Slot.PAN)


def _recorded(context: Context) -> Recorded | None:
    """Give the run as masses of the whole portion; None while it is not complete."""
    evaluation = context.evaluation
    if evaluation is None or not evaluation.is_complete or evaluation.pan_g is None:
        return None
    dry_g = evaluation.worksheet.base_dry_mass_g
    masses = [row.retained_g for row in evaluation.rows]
    if dry_g is None or None in masses:
        return None
    washed_g = evaluation.worksheet.washed_dry_mass_g
    return Recorded(
        apertures_um=np.array([float(row.aperture_um) for row in evaluation.rows]),
        masses_g=np.array([*masses, evaluation.pan_g], dtype=np.float64),
        dry_mass_g=np.array(float(dry_g)),
        washed_dry_mass_g=None if washed_g is None else np.array(float(washed_g)),
    )


def _usual(context: Context, limits: Limits, recorded: Recorded) -> History:
    """Give what the material usually looks like; of a young material only that nothing is lost."""
    past = _last(context.history, int(limits["last_runs"]))
    if past is not None:
        return history_of(past)
    loss_pct = float(context.procedure.loss_limit_pct)
    return no_history(recorded.apertures_um.size, loss_pct / 100)


def _last(past: Recorded | None, runs: int) -> Recorded | None:
    """Keep the newest runs; None when they are too few to know what is usual."""
    if past is None or min(runs, past.masses_g.shape[0]) < FEWEST_RUNS:
        return None
    washed = past.washed_dry_mass_g
    return replace(
        past,
        masses_g=past.masses_g[:runs],
        dry_mass_g=past.dry_mass_g[:runs],
        washed_dry_mass_g=None if washed is None else washed[:runs],
    )


def _unlike(context: Context, limits: Limits) -> Iterator[Seen]:
    recorded = _recorded(context)
    past = _last(context.history, int(limits["last_runs"]))
    if recorded is None or past is None:
        return
    usual = history_of(past)
    found = unlike_history(recorded.passing, usual, float(limits["robust_z"]))
    if not bool(found.is_unlike):
        return
    row = int(found.row)
    each = context.standing[row]
    yield Seen(
        f"{100 * recorded.passing[row]:.1f} % passing {each.size}; the last {usual.runs} accepted "
        f"runs of {context.portion.sample.material.name} gave about "
        f"{100 * usual.passing.centre[row]:.1f} %, {abs(found.z[row]):.0f} usual spreads away.",
        "Look at the raw readings and at the label; material changes too.",
        each.place,
    )


RULES = (
    Rule(
        number=16,
        code="zero-or-kink",
        title="Zero on an inside sieve, or a kink",
        looks_at=(
            "A sieve inside the nest with nothing on it between two that hold much; when all is "
            "weighed, whether exchanged rows, a slip of digits or a wrong tare would explain the "
            "run."
        ),
        stages=WORKING,
        check=_inside,
        needs=frozenset({Part.HISTORY}),
        limits=(
            Limit(
                "least_neighbour",
                "Both neighbours hold at least, of the sum",
                Decimal(2),
                "%",
                "common practice",
            ),
            _LAST_RUNS,
        ),
    ),
    Rule(
        number=17,
        code="unlike-history",
        title="Outside what the material usually gives",
        looks_at=(
            f"Passing at each sieve against the last accepted runs of the same material and "
            f"procedure, by median and robust spread; from {FEWEST_RUNS} runs on."
        ),
        stages=COMPLETE,
        check=_unlike,
        severity=Severity.NOTE,
        needs=frozenset({Part.HISTORY}),
        limits=(
            _LAST_RUNS,
            Limit(
                "robust_z",
                "Stands out beyond",
                Decimal("5.5"),
                "usual spreads",
                "robust z-scores as in ISO 13528:2015, 9.4; the figure is our own",
            ),
        ),
    ),
)
