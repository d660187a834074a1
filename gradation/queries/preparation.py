"""Drying of portions: what stands in the ovens, whether a mass is constant, what comes next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Max, Prefetch, QuerySet

from gradation.errors import NotFound
from gradation.models import (
    Bench,
    Drying,
    DryingContainer,
    DryingMass,
    ProcedureVersion,
    Run,
    TestPortion,
    User,
    Weighing,
)
from gradation.queries.portion_mass import plain
from gradation.queries.samples import samples_visible_to
from gradation.science.drying import constant_after, mass_changes_pct, moisture_pct
from gradation.science.errors import GradationError
from gradation.science.rounding import round_reported

__all__ = [
    "DryingState",
    "DryingView",
    "MassRow",
    "drying_mark",
    "drying_state",
    "drying_view",
    "dryings_of",
    "dryings_open",
    "find_drying",
    "procedure_of",
    "run_for",
    "washed_drying_state",
]

_SECONDS = 60

#: Rows that a view of a drying reads.
_WITH = (
    "portion__sample__material",
    "portion__sample__procedure_version__procedure",
    "oven",
    "run__portion",
    "run__procedure_version__procedure",
    "begun_by",
)


@dataclass(frozen=True)
class MassRow:
    """One weighing of a drying: what holds now, what was there before, and how it changed."""

    number: int
    mass: DryingMass
    weighed_at: datetime
    earlier: tuple[DryingMass, ...]
    change_pct: Decimal | None
    too_soon_by: int | None
    change_said: str

    @property
    def counts(self) -> bool:
        """Say whether it came late enough to show anything about constant mass."""
        return self.too_soon_by is None


@dataclass(frozen=True)
class DryingView:
    """A drying with its verdict, ready to be shown."""

    drying: Drying
    rows: tuple[MassRow, ...]
    is_constant: bool
    sentence: str
    next_due_at: datetime | None
    moisture_pct: Decimal | None
    moisture_said: str
    containers: tuple[DryingContainer, ...] = ()

    @property
    def next_number(self) -> int:
        """Give the number of the next weighing."""
        return len(self.rows) + 1

    @property
    def moisture_figure(self) -> str:
        """Write the moisture found; '' when there is none."""
        found = self.moisture_pct
        return "" if found is None else f"{round_reported(found, 1)} % of the dry mass"

    @property
    def last_mass(self) -> DryingMass | None:
        """Give the last weighing as it holds now."""
        return self.rows[-1].mass if self.rows else None

    @property
    def is_open(self) -> bool:
        """Say whether the portion is still being dried."""
        return self.drying.ended_at is None


@dataclass(frozen=True)
class DryingState:
    """Whether a portion may go on to the sieves as far as its moisture is concerned, and why."""

    is_constant: bool
    sentence: str
    drying: Drying | None = None


def dryings() -> QuerySet[Drying]:
    """List dryings with everything that a view of them reads."""
    masses = DryingMass.objects.select_related("made_by", "balance").order_by("number", "revision")
    containers = DryingContainer.objects.select_related("made_by").order_by("revision")
    return Drying.objects.select_related(*_WITH).prefetch_related(
        Prefetch("masses", masses), Prefetch("containers", containers)
    )


def find_drying(actor: User, pk: int) -> Drying:
    """Give one drying of a sample this person may see, or `NotFound`."""
    drying = dryings().filter(pk=pk, portion__sample__in=samples_visible_to(actor)).first()
    if drying is None:
        raise _no_such_drying()
    return drying


def drying_mark(actor: User, pk: int) -> str:
    """Say in one query how far a drying has come: another mark, another page."""
    rows = Drying.objects.filter(pk=pk, portion__sample__in=samples_visible_to(actor))
    found = rows.values_list("version", Max("masses__pk")).first()
    if found is None:
        raise _no_such_drying()
    version, last = found
    return f"{version}-{last or 0}"


def _no_such_drying() -> NotFound:
    msg = "There is no such drying. Scan the label of the portion."
    return NotFound(msg)


def dryings_of(portion: TestPortion) -> list[DryingView]:
    """List the dryings of a portion, oldest first."""
    return [drying_view(each) for each in dryings().filter(portion=portion)]


def dryings_open(bench: Bench | None = None) -> list[DryingView]:
    """List what stands in the ovens now (of a bench, if one is named), longest first."""
    rows = dryings().filter(ended_at=None).order_by("began_at", "id")
    if bench is not None:
        rows = rows.filter(oven__bench=bench)
    return [drying_view(each) for each in rows]


def drying_view(drying: Drying) -> DryingView:
    """Judge a drying as it stands.

    A weighing sooner than the procedure's interval is kept but does not count: over so short a
    time any mass is constant.
    """
    interval = procedure_of(drying).drying_interval_minutes
    rows = _rows(list(drying.masses.all()), interval, drying.limit_pct)
    is_constant, sentence = _verdict(drying, rows, interval)
    moisture, said = _moisture(drying, rows, is_constant)
    return DryingView(
        drying,
        rows,
        is_constant,
        sentence,
        _next_due(drying, rows, interval),
        moisture,
        said,
        tuple(drying.containers.all()),
    )


def procedure_of(drying: Drying) -> ProcedureVersion:
    """Give the procedure a drying follows: its run's after washing, else its sample's."""
    return drying.run.procedure_version if drying.run else drying.portion.sample.procedure_version


def _rows(
    masses: Sequence[DryingMass], interval: int | None, limit_pct: Decimal
) -> tuple[MassRow, ...]:
    numbered: dict[int, list[DryingMass]] = {}
    for mass in masses:
        numbered.setdefault(mass.number, []).append(mass)
    rows: list[MassRow] = []
    counted: MassRow | None = None
    for number, (*earlier, newest) in sorted(numbered.items()):
        first = earlier[0] if earlier else newest
        row = MassRow(
            number=number,
            mass=newest,
            weighed_at=first.stood_at,
            earlier=tuple(earlier),
            change_pct=_change(counted, newest),
            too_soon_by=_too_soon_by(counted, first.stood_at, interval),
            change_said=_said_change(counted, newest, limit_pct),
        )
        rows.append(row)
        counted = row if row.counts else counted
    return tuple(rows)


def _change(before: MassRow | None, mass: DryingMass) -> Decimal | None:
    if before is None:
        return None
    return mass_changes_pct([before.mass.mass_g, mass.mass_g])[0]


def _said_change(before: MassRow | None, mass: DryingMass, limit_pct: Decimal) -> str:
    """Write a loss as a negative change, as the eye expects it in a column."""
    change = _change(before, mass)
    if change is None:
        return ""
    return f"{'-' if change > 0 else ''}{_shown(abs(change), limit_pct)}"


def _too_soon_by(before: MassRow | None, at: datetime, interval: int | None) -> int | None:
    """Give the minutes missing to the procedure's interval, to the whole minute."""
    if before is None or interval is None:
        return None
    missing = interval - round((at - before.weighed_at).total_seconds() / _SECONDS)
    return missing if missing > 0 else None


def _verdict(drying: Drying, rows: Sequence[MassRow], interval: int | None) -> tuple[bool, str]:
    """Say in one sentence whether the mass is constant and what to do."""
    if not rows:
        return False, "No weighing yet. Dry it, let it cool as the procedure says, then weigh."
    if (too_heavy := _heavier_than_moist(drying, rows[-1])) or len(rows) == 1:
        return False, too_heavy or f"One weighing so far. {_more(interval)}"
    counted = [row for row in rows if row.counts]
    pair = [row.mass.mass_g for row in counted[-2:]]
    stays = constant_after(pair, drying.limit_pct) is not None
    last = rows[-1]
    if last.counts:
        return stays, _said(drying, last, stays, interval)
    soon = _said_soon(last, interval)
    change = last.change_pct or Decimal(0)
    if stays and abs(change) <= drying.limit_pct:
        return True, f"{_said(drying, counted[-1], stays, interval)} {soon}"
    return False, f"Not yet. {soon} {_more(last.too_soon_by)}"


def _said(drying: Drying, row: MassRow, stays: bool, interval: int | None) -> str:
    change = row.change_pct if row.change_pct is not None else Decimal(0)
    most = f"at most {plain(drying.limit_pct)} %"
    figure = _shown(abs(change), drying.limit_pct)
    if stays:
        return f"Constant at weighing {row.number}: change {figure} %, {most}."
    if change < 0:
        return (
            f"Not yet: weighing {row.number} is {figure} % heavier than the one before, {most}. "
            "Check the container, the balance and that it is the same portion, then weigh again."
        )
    return f"Not yet: change {figure} % at weighing {row.number}, {most}. {_more(interval)}"


def _more(minutes: int | None) -> str:
    if minutes is None:
        return "Dry on, then weigh again."
    return f"Dry at least {minutes} {_minutes(minutes)} after it, then weigh again."


def _minutes(count: int) -> str:
    return "minute" if count == 1 else "minutes"


def _said_soon(row: MassRow, interval: int | None) -> str:
    after = (interval or 0) - (row.too_soon_by or 0)
    return (
        f"Weighing {row.number} came {after} {_minutes(after)} after the last that counts, the "
        f"procedure asks for {interval}: it is kept, but shows nothing about constant mass."
    )


def _shown(change_pct: Decimal, limit_pct: Decimal) -> str:
    """Write a change with enough decimals to show on which side of the limit it lies."""
    limit = limit_pct.normalize()
    usual = max(0, -int(limit.as_tuple().exponent)) + 1
    for decimals in range(usual, usual + 4):
        rounded = round_reported(change_pct, min(decimals, 6))
        if (rounded <= limit) == (change_pct <= limit):
            break
    return f"{rounded:f}"


def _heavier_than_moist(drying: Drying, row: MassRow) -> str:
    moist_g = drying.portion.moist_mass_g
    if drying.stage != Drying.Stage.BEFORE or moist_g is None or row.mass.mass_g <= moist_g:
        return ""
    return (
        f"Weighing {row.number} is {row.mass.mass_as_entered} g, the portion before drying only "
        f"{plain(moist_g)} g. Check the container, both masses and that it is the same portion."
    )


def _moisture(
    drying: Drying, rows: Sequence[MassRow], is_constant: bool
) -> tuple[Decimal | None, str]:
    """Give the moisture by the last mass, of the dry mass, once it is constant."""
    moist_g = drying.portion.moist_mass_g
    if not is_constant or moist_g is None or drying.stage != Drying.Stage.BEFORE:
        return None, ""
    try:
        found = moisture_pct(moist_g, rows[-1].mass.mass_g)
    except GradationError as error:
        return None, str(error)
    return found, f"Moisture {round_reported(found, 1)} % of the dry mass."


def _next_due(drying: Drying, rows: Sequence[MassRow], interval: int | None) -> datetime | None:
    """Give the moment from which the next weighing counts."""
    if drying.ended_at is not None or interval is None:
        return None
    counted = [row.weighed_at for row in rows if row.counts]
    return (counted[-1] if counted else drying.began_at) + timedelta(minutes=interval)


def drying_state(portion: TestPortion) -> DryingState:
    """Say whether a portion is dry, or need not be; of one divided from it, its parent counts."""
    procedure = portion.sample.procedure_version
    if portion.is_as_received:
        return DryingState(True, f"Tested as received, not dried: {portion.drying}")
    views = [view for view in dryings_of(portion) if view.drying.stage == Drying.Stage.BEFORE]
    if views:
        return _state_of(views[-1])
    if portion.parent is not None and (above := drying_state(portion.parent)).drying:
        return DryingState(
            above.is_constant, f"As {portion.parent}: {above.sentence}", above.drying
        )
    if procedure.constant_mass_pct is None:
        noted = f" Noted: {portion.drying}." if portion.drying else ""
        return DryingState(True, f"{procedure} asks for no proof of constant mass.{noted}")
    return DryingState(
        False,
        f"{portion} is not dried yet: {procedure} asks for constant mass. Dry it, or say why it is "
        "tested as received.",
    )


def washed_drying_state(run: Run) -> DryingState:
    """Say whether what was left after washing a run's portion was dried to constant mass."""
    procedure = run.procedure_version
    views = [drying_view(each) for each in dryings().filter(run=run)]
    washed = [view for view in views if view.drying.stage == Drying.Stage.AFTER_WASHING]
    if washed:
        return _state_of(washed[-1])
    if not procedure.wash or procedure.constant_mass_pct is None:
        return DryingState(True, f"{procedure} asks for no drying after washing.")
    return DryingState(
        False,
        f"What was left of {run} after washing has no drying on record: {procedure} asks for "
        "constant mass.",
    )


def _state_of(view: DryingView) -> DryingState:
    drying = view.drying
    if view.is_constant:
        return DryingState(True, view.sentence, drying)
    if drying.ended_at is None:
        return DryingState(False, f"{drying.portion} is in the oven. {view.sentence}", drying)
    return DryingState(
        False, f"Drying of {drying.portion} was given up: {drying.end_reason}", drying
    )


def run_for(drying: Drying) -> Run | None:
    """Give the run that waits for the dry mass of this drying; None when there is none."""
    if drying.stage == Drying.Stage.AFTER_WASHING:
        run, slot = drying.run, Weighing.Slot.WASHED_DRY_MASS
        return run if run and run.is_editable and not _has(run, slot) else None
    runs = Run.objects.filter(portion=drying.portion_id, state__in=Run.EDITABLE).order_by("id")
    return next((run for run in runs if not _has(run, Weighing.Slot.DRY_MASS)), None)


def _has(run: Run, slot: Weighing.Slot) -> bool:
    return run.weighings.filter(slot=slot).exists()
