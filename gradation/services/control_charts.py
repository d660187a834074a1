"""Control charts: opened, given up, their limits frozen; points out of control noted, answered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime

from django.db import transaction
from django.db.models import Q, QuerySet

from gradation.errors import Conflict, Invalid
from gradation.models import ChartNote, ControlChart, FrozenLimits, Result, Run, User
from gradation.policy import Action, require
from gradation.queries.control_charts import (
    GroupTrend,
    followed_by,
    group_names,
    group_trends,
    in_force,
)
from gradation.queries.days import laboratory_zone
from gradation.queries.figure_names import is_followable
from gradation.queries.trend_rules import reason_of
from gradation.queries.trend_series import RunSeries, Stretch, run_series, seconds_of
from gradation.queries.trends import Trend, method_of, trend_of
from gradation.science import SCIENCE_VERSION
from gradation.science.errors import GradationError
from gradation.science.quality.control_charts import ChartLimits
from gradation.services import clock, ledger
from gradation.services.answering import answer_words
from gradation.services.checking import cleaned, locked, needs_reason, registered, shortened

__all__ = [
    "BasePeriod",
    "answer_note",
    "freeze_limits",
    "give_up_chart",
    "look_at_charts",
    "open_chart",
    "release_limits",
]

#: Runs looked back over when limits are frozen: many times the longest run rule (15).
_NEWEST = 500
#: Points that a new chart may ask answers for; opened over a long past, it names a later day.
_MOST_NOTES = 100


def open_chart(*, actor: User, chart: ControlChart) -> ControlChart:
    """Open a control chart and look at the runs there are already.

    Quality managers may. Refuses (`Invalid`) a chart of neither material nor procedure, an unknown
    figure, a name already taken, a day since which more points than can be answered are out of
    control. Points of runs since the day the chart names get their notes.
    Ledger: control chart opened.
    """
    require(actor, Action.KEEP_CHARTS)
    if not is_followable(chart.characteristic):
        msg = f"No result has a figure named {chart.characteristic}. Choose one of those offered."
        raise Invalid.one("characteristic", msg, code="unknown-figure")
    if chart.material_id is None and chart.procedure_id is None:
        msg = "A chart follows the runs of a material, of a procedure, or of both. Choose one."
        raise Invalid.one("material", msg, code="of-nothing")
    with transaction.atomic():
        chart.opened_by, chart.opened_at = actor, clock.now()
        registered(chart, "name")
        ledger.write(actor=actor, action="control chart opened", subject=chart)
        _refuse_flood(len(_note_findings(actor, [chart])))
    return chart


def _refuse_flood(notes: int) -> None:
    if notes > _MOST_NOTES:
        msg = (
            f"Since that day {notes} points are out of control, more than anybody answers "
            f"({_MOST_NOTES}). Choose a later day; the points before it stay marked on the chart."
        )
        raise Invalid.one("answers_from", msg, code="too-many-points")


def give_up_chart(*, actor: User, chart: ControlChart, reason: str) -> ControlChart:
    """Give a chart up: it stays readable, new runs open no more notes; its notes stay to answer.

    Quality managers may, with a reason. Refuses (`Conflict`) one given up already. Ledger: control
    chart given up.
    """
    require(actor, Action.KEEP_CHARTS)
    reason = needs_reason(reason, "give the chart up")
    with transaction.atomic():
        chart = _open_chart(chart)
        before = ledger.snapshot(chart)
        chart.closed_at, chart.closed_by, chart.closed_reason = clock.now(), actor, reason
        cleaned(chart).save()
        ledger.write(
            actor=actor,
            action="control chart given up",
            subject=chart,
            before=before,
            reason=reason,
        )
    return chart


def _open_chart(chart: ControlChart) -> ControlChart:
    held = locked(chart, "material", "procedure")
    if held.closed_at is not None:
        msg = f"{held} was given up on {held.closed_at:%d %b %Y}. Open a new chart instead."
        raise Conflict(msg, code="given-up")
    return held


@dataclass(frozen=True)
class BasePeriod:
    """The days whose runs limits are made from, both included, and of which group."""

    base_from: date
    base_to: date
    group_key: int = 0


def freeze_limits(
    *, actor: User, chart: ControlChart, period: BasePeriod, reason: str
) -> FrozenLimits:
    """Make limits from the accepted runs of a base period and hold the chart against them.

    Quality managers may, with a reason. Limits frozen before for the same group end. Refuses
    (`Invalid`) days in disorder or to come, a period with too few points, one without scatter;
    refuses (`Conflict`) a chart given up. Points since the day the chart names get their notes.
    Ledger: limits frozen, and limits ended for those before.
    """
    require(actor, Action.KEEP_CHARTS)
    reason = needs_reason(reason, "freeze the limits")
    _refuse_days(period)
    with transaction.atomic():
        chart = _open_chart(chart)
        limits = _limits_from(chart, period)
        _end_limits(actor, chart, period.group_key, f"Frozen anew: {reason}"[:400])
        names = group_names(chart.group_by, [period.group_key])
        frozen = FrozenLimits(
            chart=chart,
            group_key=period.group_key,
            group_name=names[period.group_key] if period.group_key else "",
            base_from=period.base_from,
            base_to=period.base_to,
            science_version=SCIENCE_VERSION,
            reason=reason,
            frozen_at=clock.now(),
            frozen_by=actor,
            **{each.name: getattr(limits, each.name) for each in fields(ChartLimits)},
        )
        cleaned(frozen).save(force_insert=True)
        ledger.write(actor=actor, action="limits frozen", subject=frozen, reason=reason)
        _note_findings(actor, [chart])
    return frozen


def _refuse_days(period: BasePeriod) -> None:
    if period.base_from > period.base_to:
        msg = "The base period ends before it begins. Check both days."
        raise Invalid.one("base_from", msg, code="dates-crossed")
    if period.base_to > clock.today():
        msg = "The base period ends in the future. It ends today at the latest."
        raise Invalid.one("base_to", msg, code="in-future")


def _limits_from(chart: ControlChart, period: BasePeriod) -> ChartLimits:
    stretch = Stretch(laboratory_zone(), period.base_from, period.base_to)
    runs = run_series(followed_by(chart), stretch)
    runs = runs.taken(runs.is_accepted & (runs.group_id == period.group_key))
    try:
        limits = trend_of(runs, method_of(chart)).chart.limits
    except GradationError as error:
        msg = f"No limits can be made from this period. {error}"
        raise Invalid.one("base_from", msg, code="too-few") from error
    if not limits.sigma > 0:
        msg = "All values of this period are equal, so there is no scatter to make limits from."
        raise Invalid.one("base_from", msg, code="no-scatter")
    return limits


def release_limits(
    *, actor: User, chart: ControlChart, group_key: int = 0, reason: str
) -> ControlChart:
    """End the frozen limits of a chart's group, so that the points shown make their own again.

    Quality managers may, with a reason. Refuses (`Conflict`) when none are frozen, or the chart is
    given up. Ledger: limits ended.
    """
    require(actor, Action.KEEP_CHARTS)
    reason = needs_reason(reason, "end the limits")
    with transaction.atomic():
        chart = _open_chart(chart)
        if not _end_limits(actor, chart, group_key, reason):
            msg = f"{chart} has no frozen limits here; they are made from the points shown."
            raise Conflict(msg, code="not-frozen")
    return chart


def _end_limits(actor: User, chart: ControlChart, group_key: int, reason: str) -> bool:
    former = FrozenLimits.objects.select_for_update().filter(
        chart=chart, group_key=group_key, ended_at__isnull=True
    )
    ended = former.first()
    if ended is None:
        return False
    before = ledger.snapshot(ended)
    ended.ended_at, ended.ended_by, ended.ended_reason = clock.now(), actor, reason
    cleaned(ended).save()
    ledger.write(actor=actor, action="limits ended", subject=ended, before=before, reason=reason)
    return True


def look_at_charts(*, actor: User, run: Run | None = None) -> list[ChartNote]:
    """Look at the charts a run belongs to - or at all - and note what is out of control.

    Reviewers and quality managers may; accepting a run does it. A point gets one note, once; later
    looks add those that came since. Ledger: point to be answered, one entry a note.
    """
    require(actor, Action.ANSWER_POINT)
    with transaction.atomic():
        charts = ControlChart.objects.filter(closed_at__isnull=True)
        return _note_findings(actor, charts if run is None else _charts_of(charts, run))


def _charts_of(charts: QuerySet[ControlChart], run: Run) -> QuerySet[ControlChart]:
    material = run.portion.sample.material_id
    procedure = run.procedure_version.procedure_id
    return charts.filter(
        Q(material=material) | Q(material__isnull=True),
        Q(procedure=procedure) | Q(procedure__isnull=True),
    )


def _note_findings(actor: User, charts: Iterable[ControlChart]) -> list[ChartNote]:
    return [note for chart in charts for note in _note_chart(actor, chart)]


def _note_chart(actor: User, chart: ControlChart) -> list[ChartNote]:
    """Note what no note says yet; the chart is held, so that two looks do not note twice."""
    chart = locked(chart)
    known = set(chart.notes.values_list("run_id", flat=True))
    new = [
        note
        for group in group_trends(chart, _series_of(chart))
        if group.trend is not None
        for note in _findings(chart, group, group.trend, known)
    ]
    _give_results(new)
    for note in new:
        cleaned(note).save(force_insert=True)
        ledger.write(actor=actor, action="point to be answered", subject=note)
    return new


def _series_of(chart: ControlChart) -> RunSeries:
    """Read as much as the judgement needs: the newest runs where limits are frozen for all."""
    method = method_of(chart)
    is_short = (
        chart.group_by == ControlChart.Group.NONE
        and not (method.is_of_subgroups or method.has_memory)
        and bool(in_force(chart))
    )
    stretch = Stretch(laboratory_zone(), newest=_NEWEST if is_short else None)
    runs = run_series(followed_by(chart), stretch)
    return runs.taken(runs.is_accepted)


def _findings(
    chart: ControlChart, group: GroupTrend, trend: Trend, known: set[int]
) -> list[ChartNote]:
    first_s = seconds_of(chart.answers_from, laboratory_zone())
    return [
        _note(chart, group, trend, place, rules)
        for place, rules in trend.findings().items()
        if trend.runs.at_s[place] >= first_s and int(trend.runs.run_id[place]) not in known
    ]


def _note(
    chart: ControlChart, group: GroupTrend, trend: Trend, place: int, rules: list[str]
) -> ChartNote:
    runs, drawn = trend.runs, trend.chart
    return ChartNote(
        chart=chart,
        group_key=group.key,
        group_name=group.name if group.key else "",
        run_id=int(runs.run_id[place]),
        rules=" ".join(rules)[:320],
        reasons=shortened(" ".join(reason_of(rule) for rule in rules), 700),
        run_opened_at=datetime.fromtimestamp(int(runs.at_s[place]), UTC),
        value=float(drawn.point[place]),
        centre=drawn.limits.centre,
        sigma=float(drawn.upper[place] - drawn.limits.centre) / 3,
        is_frozen=trend.is_frozen,
        opened_at=clock.now(),
    )


def _give_results(notes: list[ChartNote]) -> None:
    """Name the result each point came from: the newest of its run."""
    keys = [note.run_id for note in notes]
    newest = dict(
        Result.objects.filter(run__in=keys).order_by("version").values_list("run_id", "pk")
    )
    for note in notes:
        note.result_id = newest[note.run_id]


def answer_note(*, actor: User, note: ChartNote, cause: str, done: str) -> ChartNote:
    """Answer a point out of control: what caused it, what was done.

    Reviewers and quality managers may, once; refuses (`Invalid`) an answer without both, and
    (`Conflict`) a point answered already. Ledger: point answered.
    """
    require(actor, Action.ANSWER_POINT)
    cause, done = answer_words(cause, done)
    with transaction.atomic():
        note = locked(note, "chart", "run__portion", "answered_by")
        if note.answered_at is not None:
            msg = f"This point was answered by {note.answered_by} on {note.answered_at:%d %b %Y}."
            raise Conflict(msg, code="answered-already")
        before = ledger.snapshot(note)
        note.cause, note.done = cause, done
        note.answered_at, note.answered_by = clock.now(), actor
        cleaned(note).save()
        ledger.write(
            actor=actor, action="point answered", subject=note, before=before, reason=cause
        )
    return note
