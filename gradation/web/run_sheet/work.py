"""How the run was worked, beside its masses: shaken as planned or not, washed, wet, with aids."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from gradation.models import Instrument, Run, Shaking
from gradation.queries.shakings import (
    Plan,
    compared,
    latest_shakings,
    plan_of,
    prefilled,
    same_motion_note,
    shaker_of,
)
from gradation.web.run_sheet.rows import Verdict
from gradation.web.templatetags.notebook import clock

__all__ = ["ShakingLine", "ShakingPanel", "handling_words", "plan_words", "shaking_panel"]


@dataclass(frozen=True)
class ShakingLine:
    """One shaking as it was made, and how it compares with the plan."""

    number: int
    words: str
    by: str
    verdict: Verdict
    reasons: str
    note: str
    corrected: str


@dataclass(frozen=True)
class ShakingPanel:
    """Shakings made, and the next one prefilled so that one confirmation records it."""

    plan: str
    prefilled: Plan
    made: tuple[ShakingLine, ...]
    hint: str
    can_confirm: bool
    wants_more: bool
    """Whether the end point is not reached, so that the nest is to be shaken again."""
    key: UUID


def shaking_panel(run: Run, figures: Mapping[str, Any]) -> ShakingPanel:
    """Lay out the shakings of a run from `find_run`."""
    latest = latest_shakings(run.shakings.all())
    shaker = shaker_of(run)
    ready = prefilled(run, shaker)
    codes = {warning["code"] for warning in figures.get("warnings", ())}
    return ShakingPanel(
        plan=plan_words(plan_of(run.procedure_version)),
        prefilled=ready,
        made=tuple(_line(run, row) for row in latest),
        hint=same_motion_note(run, shaker),
        can_confirm=_is_as_planned(run, shaker, ready),
        wants_more="end_point_not_reached" in codes,
        key=uuid4(),
    )


def _is_as_planned(run: Run, shaker: Instrument | None, ready: Plan) -> bool:
    """Say whether what is prefilled could be confirmed as it stands, without a note."""
    if ready.minutes is None:
        return False
    return compared(run.procedure_version, _as_shaking(shaker, ready)).comparable is not False


def _as_shaking(shaker: Instrument | None, plan: Plan) -> Shaking:
    return Shaking(
        shaker=shaker,
        minutes=plan.minutes or Decimal(0),
        amplitude_mm=plan.amplitude_mm,
        acceleration_g=plan.acceleration_g,
        frequency_hz=plan.frequency_hz,
        interval_s=plan.interval_s,
        taps_per_min=plan.taps_per_min,
    )


def _line(run: Run, row: Shaking) -> ShakingLine:
    found = compared(run.procedure_version, row)
    verdicts = {
        True: Verdict("within", "as planned"),
        False: Verdict("look", "not as planned"),
        None: Verdict("untested", "cannot be compared"),
    }
    began = f", from {clock(row.began_at)}" if row.began_at else ""
    corrected = f"corrected: {row.reason}" if row.revision > 1 else ""
    return ShakingLine(
        row.number,
        f"{plan_words(_done(row))}{began}",
        str(row.made_by),
        verdicts[found.comparable],
        "" if found.comparable else " ".join(found.reasons),
        row.note,
        corrected,
    )


def _done(row: Shaking) -> Plan:
    return Plan(
        row.shaker.serial if row.shaker else "",
        row.minutes,
        row.amplitude_mm,
        row.acceleration_g,
        row.frequency_hz,
        row.interval_s,
        row.taps_per_min,
    )


def plan_words(plan: Plan) -> str:
    """Write settings as the bench says them."""
    return ", ".join(_settings(plan))


def _settings(plan: Plan) -> Iterator[str]:
    if plan.minutes is not None:
        yield f"{_plain(plan.minutes)} min"
    if plan.amplitude_mm is not None:
        yield f"{_plain(plan.amplitude_mm)} mm peak to peak"
    if plan.acceleration_g is not None:
        yield f"{_plain(plan.acceleration_g)} g peak"
    if plan.frequency_hz is not None:
        yield f"{_plain(plan.frequency_hz)} Hz"
    if plan.interval_s is not None:
        yield f"a pause every {plan.interval_s} s"
    if plan.taps_per_min is not None:
        yield f"{plan.taps_per_min} taps a minute"
    if plan.motion:
        yield plan.motion[:1].lower() + plan.motion[1:] if " " in plan.motion else plan.motion


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def handling_words(run: Run) -> tuple[str, ...]:
    """Say how the portion was washed and sieved, as far as it was recorded."""
    return tuple(_handled(run))


def _handled(run: Run) -> Iterator[str]:
    if run.guard_sieve is not None:
        yield f"guard sieve {run.guard_sieve}"
    if run.wash_agent:
        yield f"washed with {run.wash_agent}"
    if run.soak_minutes is not None:
        yield f"soaked {_plain(run.soak_minutes)} min"
    if run.wet_sieved:
        yield "sieved wet"
    if run.aids:
        yield f"aids: {run.aids}"
