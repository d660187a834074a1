"""Control charts of the control sand and of the works' sand: limits frozen, points answered."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from gradation.management.demo_scenario.cast import QUALITY, REVIEWER
from gradation.management.demo_scenario.control import control_days
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import ChartNote, ControlChart
from gradation.services import control_charts

#: Months of the control sand that the frozen limits rest on.
BASE_MONTHS = 12
#: Months back in which a point still waits for its answer.
UNANSWERED_MONTHS = 2


@dataclass(frozen=True)
class Plan:
    """One chart: what it follows, and whether its limits are frozen from the first year."""

    name: str
    material: str
    characteristic: str
    kind: str = ControlChart.Kind.INDIVIDUALS.value
    rules: str = ControlChart.Rules.SET_1956.value
    group_by: str = ControlChart.Group.NONE.value
    is_frozen: bool = True
    asks: bool = True
    """Whether its points are to be answered; one that is only looked at asks for nothing."""


PLANS = (
    Plan("Control sand NC-7, 300 µm", "control_sand", "passing_300"),
    Plan("Control sand NC-7, 600 µm", "control_sand", "passing_600"),
    Plan(
        "Control sand NC-7, weighted d50",
        "control_sand",
        "d50",
        kind=ControlChart.Kind.WEIGHTED.value,
    ),
    Plan(
        "Control sand NC-7 by sieve set, 300 µm",
        "control_sand",
        "passing_300",
        rules=ControlChart.Rules.THREE_SIGMA.value,
        group_by=ControlChart.Group.NEST.value,
        is_frozen=False,
        asks=False,
    ),
)


def chart_stories(world: World) -> Iterator[Story]:
    """Yield the opening of the charts after a year, and the answers month by month."""
    days = control_days(world.days)
    yield _opening(world, days)
    for day in days[BASE_MONTHS:-UNANSWERED_MONTHS]:
        yield _answers(world, day)


def _opening(world: World, days: list[date]) -> Story:
    first, last = days[0], days[BASE_MONTHS - 1]
    day = world.days.later(last, 4)
    yield world.days.moment(day, 16, 10)
    for plan in PLANS:
        chart = _open(world, plan, day)
        if plan.is_frozen:
            control_charts.freeze_limits(
                actor=world.people[QUALITY],
                chart=chart,
                period=control_charts.BasePeriod(first, last),
                reason="First year of the control sand: no fault known, all checks passed.",
            )


def _open(world: World, plan: Plan, day: date) -> ControlChart:
    chart = ControlChart(
        name=plan.name,
        material=world.materials[plan.material],
        characteristic=plan.characteristic,
        kind=plan.kind,
        rules=plan.rules,
        group_by=plan.group_by,
        answers_from=day + timedelta(days=1) if plan.asks else world.today,
    )
    return control_charts.open_chart(actor=world.people[QUALITY], chart=chart)


_ANSWERS = (
    (
        "Bottle, balance and sieves looked at, masses read again from the record: nothing found.",
        "Watched; the next month's bottle lies inside the limits.",
    ),
    (
        "The 300 µm sieve of the nest opens with use: its last measurement lies above nominal.",
        "Aperture check brought forward, the keeper told; the sieve keeps its tolerance.",
    ),
    (
        "Division uneven: the rotary divider had been left at its slow step after cleaning.",
        "Speed put right and written on the divider; told at the bench meeting.",
    ),
)


def _answers(world: World, day: date) -> Story:
    """Let the points of a month be answered a few days after it, by reviewer and manager."""
    yield world.days.moment(world.days.later(day, 4), 15, 20)
    answered = ChartNote.objects.filter(answered_at__isnull=False).count()
    waiting = ChartNote.objects.filter(answered_at__isnull=True).order_by("pk")
    for place, note in enumerate(waiting, start=answered):
        cause, done = _ANSWERS[place % len(_ANSWERS)]
        who = QUALITY if place % 2 else REVIEWER
        control_charts.answer_note(actor=world.people[who], note=note, cause=cause, done=done)
