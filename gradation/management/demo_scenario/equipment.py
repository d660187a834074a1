"""Sieves through three years: registered, checked before each date, worn; two that are not fit."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache

from gradation.management.demo_scenario.cast import FINE_BENCH, KEEPER, SAND_BENCH, STONE_BENCH
from gradation.management.demo_scenario.data_files import rows_of
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.timeline import Story, weekday_before
from gradation.management.demo_scenario.world import World
from gradation.models import Check, Nest, Sieve
from gradation.science.apertures import designation
from gradation.services import upkeep

FAILED_DAYS_AGO = 25
#: Between two deliveries of stone, so that no run misses it.
KNOCKED, KNOCKED_AGO = "NS-0206", 110
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class SievePlan:
    """One sieve of the scenario: what stands on its plate, and how true and how worn it is."""

    serial: str
    aperture_um: Decimal
    series: str
    standard: str
    frame_diameter_mm: Decimal
    frame_height_mm: Decimal
    medium: str
    rack: str
    interval_days: int
    due_in_days: int | None
    bias_pct: float
    wear_pct_a_year: float
    registered_days_ago: int | None

    @property
    def fails(self) -> bool:
        """Say whether its last check takes it out of service."""
        return self.due_in_days is None

    def first_day(self, world: World, opening: date) -> date:
        """Give the day it was registered."""
        if self.registered_days_ago is None:
            return opening
        return weekday_before(world.today - timedelta(days=self.registered_days_ago))

    def true_aperture_um(self, world: World, day: date) -> float:
        """Give what its openings really measure on a day: wider as it wears."""
        years = 3 - (world.today - day).days / DAYS_A_YEAR
        deviation_pct = self.bias_pct + self.wear_pct_a_year * years
        return float(self.aperture_um) * (1 + deviation_pct / 100)


@cache
def sieve_plans() -> tuple[SievePlan, ...]:
    """Give the scenario's sieves."""
    return tuple(_plan(row) for row in rows_of("sieves"))


def _plan(row: dict[str, str]) -> SievePlan:
    registered = row["registered_days_ago"]
    return SievePlan(
        serial=row["serial"],
        aperture_um=Decimal(row["aperture_um"]),
        series=row["series"],
        standard=row["standard"],
        frame_diameter_mm=Decimal(row["frame_diameter_mm"]),
        frame_height_mm=Decimal(row["frame_height_mm"]),
        medium=row["medium"],
        rack=row["rack"],
        interval_days=int(row["interval_days"]),
        due_in_days=None if row["due_in_days"] == "fails" else int(row["due_in_days"]),
        bias_pct=float(row["bias_pct"]),
        wear_pct_a_year=float(row["wear_pct_a_year"]),
        registered_days_ago=int(registered) if registered else None,
    )


def sieve_story(world: World, plan: SievePlan, opening: date, minute: int) -> Story:
    """Let one sieve be registered and checked, each time before its date."""
    days = _check_days(world, plan, opening)
    yield world.days.moment(days[0], 9, minute)
    world.sieves[plan.serial] = upkeep.register_sieve(
        actor=world.people[KEEPER], sieve=_new_sieve(plan, days[0])
    )
    for day in days:
        yield world.days.moment(day, 13, minute)
        upkeep.record_check(
            actor=world.people[KEEPER],
            check=_check(world, plan, day, passed=not (plan.fails and day == days[-1])),
        )


def _new_sieve(plan: SievePlan, day: date) -> Sieve:
    style = "astm" if plan.series == "astm" else "iso"
    return Sieve(
        serial=plan.serial,
        aperture_um=plan.aperture_um,
        designation=designation(plan.aperture_um, style),
        standard=plan.standard,
        medium=plan.medium,
        frame_diameter_mm=plan.frame_diameter_mm,
        frame_height_mm=plan.frame_height_mm,
        place=plan.rack,
        in_service_since=day,
        check_interval_days=plan.interval_days,
    )


def _check_days(world: World, plan: SievePlan, opening: date) -> Sequence[date]:
    """List the days of its checks, the last so that the next falls due when the plan says."""
    first = plan.first_day(world, opening)
    random = generator(plan.serial, "checks")
    days = [first]
    for day in _back_from_last(world, plan, int(random.integers(4, 12))):
        if day <= first:
            break
        days.insert(1, day)
    return days


def _back_from_last(world: World, plan: SievePlan, early_days: int) -> Iterator[date]:
    """Yield check days backwards: each some days before the one after it would be due."""
    day = world.today - timedelta(
        days=FAILED_DAYS_AGO if plan.due_in_days is None else plan.interval_days - plan.due_in_days
    )
    while True:
        yield weekday_before(day)
        day -= timedelta(days=plan.interval_days - early_days)


def _check(world: World, plan: SievePlan, day: date, *, passed: bool) -> Check:
    sieve = world.sieves[plan.serial]
    if not passed:
        return Check(
            equipment=sieve,
            kind=Check.Kind.VISUAL,
            performed_on=day,
            passed=False,
            sentence="Not in order.",
            note="Tear of 3 mm near the rim and two loose wires, seen at ten times.",
        )
    mean_um = plan.true_aperture_um(world, day)
    return Check(
        equipment=sieve,
        kind=Check.Kind.APERTURE,
        performed_on=day,
        passed=True,
        sentence="In order.",
        found_aperture_um=_measured(plan, mean_um),
        readings={"largest_aperture_um": str(_measured(plan, mean_um * (1 + _widest(plan))))},
        note="No sag, no tear, cloth tight. Measured at the projector, 5 fields.",
    )


def _widest(plan: SievePlan) -> float:
    """Give how far the largest opening found exceeds the mean, as a share: more in fine cloth."""
    return 0.35 / math.sqrt(plan.aperture_um) if plan.aperture_um < 1000 else 0.008


def _measured(plan: SievePlan, aperture_um: float) -> Decimal:
    """Round to what the measuring microscope or the calliper shows."""
    step = Decimal("0.1") if plan.aperture_um < 1000 else Decimal(1)
    return Decimal(round(aperture_um / float(step))) * step


@dataclass(frozen=True)
class NestPlan:
    """Sieves that stand together, coarse to fine, by serial number."""

    name: str
    procedure: str
    bench: str
    serials: tuple[str, ...]
    built_days_ago: int | None = None


_SAND_SERIALS = tuple(f"NS-{number:04d}" for number in range(101, 109))
_STONE_SERIALS = tuple(f"NS-{number:04d}" for number in range(201, 208))
#: The foundry nest shares No. 30, 50, 100 and 200 with the sand nest of the same bench.
_CORE_SERIALS = (
    *("NS-0301", "NS-0105", "NS-0302", "NS-0106", "NS-0303"),
    *("NS-0107", "NS-0304", "NS-0108", "NS-0305"),
)

NESTS = (
    NestPlan("Sand nest", "NP-01", SAND_BENCH, _SAND_SERIALS),
    NestPlan("Stone nest 8/16", "NP-02", STONE_BENCH, _STONE_SERIALS),
    NestPlan("Foundry nest", "NP-03", SAND_BENCH, _CORE_SERIALS),
    NestPlan("Powder nest 1", "NP-04", FINE_BENCH, ("NS-0401", "NS-0402", "NS-0403", "NS-0404")),
    NestPlan(
        "Powder nest 2", "NP-04", FINE_BENCH, ("NS-0401", "NS-0402", "NS-0405", "NS-0404"), 21
    ),
    NestPlan(
        "Regrind nest",
        "NP-05",
        FINE_BENCH,
        ("NS-0501", "NS-0502", "NS-0503", "NS-0504", "NS-0505"),
    ),
)


def nest_story(world: World, plan: NestPlan, opening: date, minute: int) -> Story:
    """Let one nest be built, after its sieves were checked."""
    days_ago = plan.built_days_ago
    day = opening if days_ago is None else weekday_before(world.today - timedelta(days=days_ago))
    yield world.days.moment(day, 15, minute)
    nest = upkeep.build_nest(
        actor=world.people[KEEPER],
        name=plan.name,
        procedure=world.procedures[plan.procedure],
        bench=world.benches[plan.bench],
        sieves=[world.sieves[serial] for serial in plan.serials],
    )
    world.nests.setdefault(plan.procedure, []).append(nest)


def true_apertures_um(world: World, nest: Nest, day: date) -> list[float]:
    """Give what the openings of a nest's sieves really measure on a day, coarse to fine."""
    plans = {plan.serial: plan for plan in sieve_plans()}
    return [plans[place.sieve.serial].true_aperture_um(world, day) for place in nest.places.all()]


def knock_story(world: World) -> Story:
    """Let one sieve be dropped, taken out of service and put back after it was looked at."""
    yield world.days.moment(world.days.ago(KNOCKED_AGO), 14, 20)
    keeper = world.people[KEEPER]
    sieve = upkeep.take_out_of_service(
        actor=keeper, item=world.sieves[KNOCKED], reason="Dropped, rim dented; looks round."
    )
    yield world.days.moment(world.days.ago(KNOCKED_AGO - 2), 11, 5)
    upkeep.put_back_in_service(
        actor=keeper, item=sieve, reason="Rim trued, fits its neighbours; plate looked at: sound."
    )
