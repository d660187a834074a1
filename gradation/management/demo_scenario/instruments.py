"""Balances, shaker, oven and riffle: registered, checked before each date; weights on run days."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from gradation.management.demo_scenario.cast import FINE_BENCH, KEEPER, SAND_BENCH, STONE_BENCH
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.timeline import Story, weekday_before
from gradation.management.demo_scenario.world import World
from gradation.models import Equipment, Instrument
from gradation.services import checks, upkeep
from gradation.services.check_evidence import Evidence

Kind = Equipment.Kind

OWN_LIMITS = "Norrhaven instruction NI-4; limits invented for this demonstration"
BALANCE_INTERVAL_DAYS = 92


def _near(serial: str, day: date, wanted: str, step: str) -> Decimal:
    """Give what is found: a step beside what is wanted, or on it."""
    steps = int(generator(serial, day.isoformat(), wanted).integers(-1, 2))
    return Decimal(wanted) + steps * Decimal(step)


def _shaker(serial: str, day: date) -> Evidence:
    return checks.ShakerEvidence(
        amplitude_mm=_near(serial, day, "1.50", "0.02"),
        set_amplitude_mm=Decimal("1.50"),
        tolerance_mm=Decimal("0.10"),
        timer_s=_near(serial, day, "600", "1"),
        reference_s=Decimal(600),
        timer_limit_s=Decimal(5),
    )


def _oven(serial: str, day: date) -> Evidence:
    return checks.TemperatureEvidence(
        set_c=Decimal(110), found_c=_near(serial, day, "110.5", "0.5"), tolerance_c=Decimal(5)
    )


def _riffle(serial: str, day: date) -> Evidence:
    return checks.HalvesEvidence(
        left_g=_near(serial, day, "1002", "3"),
        right_g=_near(serial, day, "999", "3"),
        limit_pct=Decimal(2),
    )


@dataclass(frozen=True)
class InstrumentPlan:
    """One instrument of the scenario; `check` makes what its own checks find."""

    serial: str
    kind: Kind
    bench: str
    values: dict[str, Any]
    interval_days: int
    due_in_days: int = 0
    check: Callable[[str, date], Evidence] | None = None
    weights_g: tuple[str, ...] = ()
    limit_g: str = ""


PLANS = (
    InstrumentPlan(
        "NB-01",
        Kind.BALANCE,
        SAND_BENCH,
        {"capacity_g": 4200, "readability_g": Decimal("0.01"), "uncertainty_g": Decimal("0.01")},
        BALANCE_INTERVAL_DAYS,
        weights_g=("50.00", "500.00"),
        limit_g="0.02",
    ),
    InstrumentPlan(
        "NB-02",
        Kind.BALANCE,
        STONE_BENCH,
        {"capacity_g": 30_000, "readability_g": Decimal(1), "uncertainty_g": Decimal("0.6")},
        BALANCE_INTERVAL_DAYS,
        weights_g=("2000", "10000"),
        limit_g="2",
    ),
    InstrumentPlan(
        "NB-03",
        Kind.BALANCE,
        FINE_BENCH,
        {"capacity_g": 620, "readability_g": Decimal("0.01"), "uncertainty_g": Decimal("0.01")},
        BALANCE_INTERVAL_DAYS,
        weights_g=("20.00", "200.00"),
        limit_g="0.02",
    ),
    InstrumentPlan(
        "NA-01",
        Kind.SHAKER,
        SAND_BENCH,
        {
            "motion": "Vertical and circular, on a table shaker",
            "frequency_hz": Decimal(50),
            "amplitude_min_mm": Decimal("0.2"),
            "amplitude_max_mm": Decimal("3.0"),
            "greatest_nest_g": Decimal(15_000),
        },
        365,
        130,
        _shaker,
    ),
    InstrumentPlan(
        "NV-01",
        Kind.OVEN,
        "",
        {"set_temperature_c": Decimal(110), "temperature_tolerance_c": Decimal(5)},
        182,
        22,
        _oven,
    ),
    InstrumentPlan("NR-01", Kind.DIVIDER, "", {"chute_width_mm": Decimal(25)}, 365, 240, _riffle),
)


def instrument_story(world: World, plan: InstrumentPlan, opening: date, minute: int) -> Story:
    """Let one instrument be registered, and checked each time before its date."""
    yield world.days.moment(opening, 10, minute)
    world.instruments[plan.serial] = upkeep.register_instrument(
        actor=world.people[KEEPER], instrument=_new_instrument(world, plan, opening)
    )
    if plan.check is None:
        return
    for day in _check_days(world, plan, opening):
        yield world.days.moment(day, 14, minute)
        checks.record_check(
            actor=world.people[KEEPER],
            equipment=world.instruments[plan.serial],
            evidence=plan.check(plan.serial, day),
            performed_on=day,
        )


def _new_instrument(world: World, plan: InstrumentPlan, opening: date) -> Instrument:
    return Instrument(
        serial=plan.serial,
        kind=plan.kind,
        bench=world.benches.get(plan.bench),
        keeper=world.people[KEEPER],
        place=plan.bench or "Preparation room",
        in_service_since=opening,
        check_interval_days=plan.interval_days,
        limits_source=OWN_LIMITS,
        **plan.values,
    )


def _check_days(world: World, plan: InstrumentPlan, opening: date) -> list[date]:
    """List the days of its checks, the last so that the next falls due when the plan says."""
    day = world.today - timedelta(days=plan.interval_days - plan.due_in_days)
    days: list[date] = []
    while weekday_before(day) > opening:
        days.insert(0, weekday_before(day))
        day -= timedelta(days=plan.interval_days - 8)
    return [opening, *days]


def check_balance(world: World, bench: str, day: date) -> None:
    """Put the check-weights on the balance of a bench, once on each day it is used."""
    for plan in PLANS:
        if plan.bench == bench and plan.weights_g and (plan.serial, day) not in world.weighed:
            world.weighed.add((plan.serial, day))
            checks.record_check(
                actor=world.people[KEEPER],
                equipment=world.instruments[plan.serial],
                evidence=_weights(plan, day),
                performed_on=day,
            )


def _weights(plan: InstrumentPlan, day: date) -> Evidence:
    step = str(plan.values["readability_g"])
    return checks.WeightsEvidence(
        [
            (Decimal(nominal), _near(plan.serial, day, nominal, step), Decimal(plan.limit_g))
            for nominal in plan.weights_g
        ]
    )
