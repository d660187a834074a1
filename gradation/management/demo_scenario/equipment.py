"""Sieves through three years: registered, checked before each date, worn; two that are not fit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache

import numpy as np
from numpy.typing import NDArray

from gradation.management.demo_scenario.cast import FINE_BENCH, KEEPER, SAND_BENCH, STONE_BENCH
from gradation.management.demo_scenario.data_files import rows_of
from gradation.management.demo_scenario.further_checks import further_evidence, looked_at
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.timeline import Story, weekday_before
from gradation.management.demo_scenario.world import World
from gradation.models import Nest, Sieve
from gradation.science.apertures import designation
from gradation.science.conformity import Edition, permitted_deviations
from gradation.services import checks, upkeep

FAILED_DAYS_AGO = 25
EDITIONS = {
    "ASTM E11": Edition.ASTM_E11_17.value,
    "ISO 3310-1": Edition.ISO_3310_1_2016.value,
}
#: No table for plates is kept by the software; these say so.
PLATE_LIMITS = "Norrhaven instruction NI-3, invented; confirm against ISO 3310-2"
READINGS = 20
#: A master sieve is measured more closely.
MASTER_READINGS = 100
MEASURED = "Measured at the projector, 5 fields, 4 openings each."
LOOKED = "On the light table, lens of ten times."
TORN = "Torn near the rim, two wires loose: one opening far too wide, seen at ten times."
TORN_WIDENS = 1.9
#: Sieves whose empty mass is followed.
WEIGHED_EMPTY = frozenset({"NS-0105", "NS-0106", "NS-0107", "NS-0108"})
#: Between two deliveries of stone, so that no run misses it.
KNOCKED, KNOCKED_AGO = "NS-0206", 110
DAYS_A_YEAR = 365.25
BOUGHT_BEFORE = timedelta(days=12)


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
    outcome: str
    bias_pct: float
    wear_pct_a_year: float
    registered_days_ago: int | None

    @property
    def is_cloth(self) -> bool:
        """Say whether the openings are in woven wire."""
        return self.medium == Sieve.Medium.WOVEN_WIRE

    @property
    def fails(self) -> bool:
        """Say whether its last check takes it out of service."""
        return self.outcome == "fails"

    @property
    def is_new(self) -> bool:
        """Say whether it was delivered and not checked yet."""
        return self.outcome == "new"

    @property
    def is_master(self) -> bool:
        """Say whether it is kept for comparisons only."""
        return self.serial.startswith("NM-")

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
        due_in_days=None if row["outcome"] else int(row["due_in_days"]),
        outcome=row["outcome"],
        bias_pct=float(row["bias_pct"]),
        wear_pct_a_year=float(row["wear_pct_a_year"]),
        registered_days_ago=int(registered) if registered else None,
    )


def sieve_story(world: World, plan: SievePlan, opening: date, minute: int) -> Story:
    """Let one sieve be registered, and checked and weighed, each time before its date."""
    days = _check_days(world, plan, opening)
    yield world.days.moment(days[0], 9, minute)
    keeper = world.people[KEEPER]
    sieve = upkeep.register_sieve(actor=keeper, sieve=_new_sieve(world, plan, days[0]))
    world.sieves[plan.serial] = sieve
    for day in () if plan.is_new else days:
        yield world.days.moment(day, 13, minute)
        torn = plan.fails and day == days[-1]
        if plan.is_cloth and not torn:
            checks.record_check(
                actor=keeper, equipment=sieve, evidence=looked_at(), performed_on=day, note=LOOKED
            )
        checks.record_check(
            actor=keeper,
            equipment=sieve,
            evidence=_measured(world, plan, day, torn=torn),
            performed_on=day,
            note=TORN if torn else MEASURED,
        )
        true_um = plan.true_aperture_um(world, day)
        for evidence in further_evidence(world, plan.serial, day, true_um, float(plan.aperture_um)):
            checks.record_check(actor=keeper, equipment=sieve, evidence=evidence, performed_on=day)
        if plan.serial in WEIGHED_EMPTY:
            upkeep.weigh_tare(
                actor=keeper, sieve=sieve, tare_g=_tare_g(world, plan, day), note="dry, brushed"
            )


def _new_sieve(world: World, plan: SievePlan, day: date) -> Sieve:
    bench = next((name for name in world.benches if plan.rack.startswith(name)), "")
    style = "astm" if plan.series == "astm" else "iso"
    return Sieve(
        serial=plan.serial,
        aperture_um=plan.aperture_um,
        designation=designation(plan.aperture_um, style),
        standard=plan.standard,
        edition=EDITIONS.get(plan.standard, ""),
        bench=world.benches.get(bench),
        keeper=world.people[KEEPER],
        medium=plan.medium,
        frame_diameter_mm=plan.frame_diameter_mm,
        frame_height_mm=plan.frame_height_mm,
        place=plan.rack,
        bought_on=day - BOUGHT_BEFORE,
        in_service_since=None if plan.is_new else day,
        grade=Sieve.Grade.CALIBRATION if plan.is_master else Sieve.Grade.COMPLIANCE,
        is_master=plan.is_master,
        maker_certificate=f"MC-{plan.serial[3:]}",
        check_interval_days=plan.interval_days,
    )


def _check_days(world: World, plan: SievePlan, opening: date) -> Sequence[date]:
    """List the days of its checks, the last so that the next falls due when the plan says."""
    first = plan.first_day(world, opening)
    random = generator(plan.serial, "checks")
    days = [first]
    if plan.is_new:
        return days
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


def _measured(world: World, plan: SievePlan, day: date, *, torn: bool) -> checks.ApertureEvidence:
    """Draw single apertures about what the sieve really measures on that day."""
    random = generator(plan.serial, day.isoformat(), "apertures")
    count = MASTER_READINGS if plan.is_master else READINGS
    mean_um, spread_um = plan.true_aperture_um(world, day), _spread_um(plan)
    warp_um, weft_um = (
        [_shown(plan, value) for value in centre_um + spread_um * _scatter(random, count)]
        for centre_um in (mean_um - spread_um / 4, mean_um + spread_um / 4)
    )
    widest_um = mean_um * TORN_WIDENS if torn else mean_um + 3.5 * spread_um
    return checks.ApertureEvidence(
        warp_um=warp_um,
        weft_um=weft_um,
        largest_um=_shown(plan, widest_um),
        resolution_um=_step(plan),
        limits=None if plan.is_cloth else _plate_limits(plan),
    )


def _scatter(random: np.random.Generator, count: int) -> NDArray[np.float64]:
    """Scatter about nothing: no sieve fails by chance on the day the demo happens to be made."""
    drawn = random.normal(size=count)
    return drawn - drawn.mean()


def _spread_um(plan: SievePlan) -> float:
    """Give how far single apertures scatter: wire cloth more than a drilled plate."""
    if not plan.is_cloth:
        return float(plan.aperture_um) * 0.001
    permitted = permitted_deviations(plan.aperture_um, Edition(EDITIONS[plan.standard]))
    return (permitted.sd_um or permitted.mean_y_um) * 0.4


def _plate_limits(plan: SievePlan) -> checks.OwnLimits:
    return checks.OwnLimits(
        mean_um=plan.aperture_um / 100, single_um=plan.aperture_um * 2 / 100, source=PLATE_LIMITS
    )


def _step(plan: SievePlan) -> Decimal:
    """Give what the measuring microscope or the calliper can tell apart."""
    return Decimal("0.1") if plan.aperture_um < 1000 else Decimal(1)


def _shown(plan: SievePlan, aperture_um: float) -> Decimal:
    return Decimal(round(aperture_um / float(_step(plan)))) * _step(plan)


def _tare_g(world: World, plan: SievePlan, day: date) -> Decimal:
    """Give the empty mass: the wires lose a little as the openings wear."""
    years = 3 - (world.today - day).days / DAYS_A_YEAR
    unrest = float(generator(plan.serial, day.isoformat(), "tare").normal(0, 0.01))
    mass_g = 385 + float(plan.aperture_um) / 50 - 0.12 * plan.wear_pct_a_year * years + unrest
    return Decimal(f"{mass_g:.2f}")


@dataclass(frozen=True)
class NestPlan:
    """Sieves that stand together, coarse to fine, by serial number."""

    name: str
    procedure: str
    bench: str
    serials: tuple[str, ...]
    built_days_ago: int | None = None


_SAND_SERIALS = tuple(f"NS-{number:04d}" for number in range(101, 109))
#: The same with another No. 50, for one control run in three.
_SPARE_SERIALS = tuple("NS-0109" if each == "NS-0106" else each for each in _SAND_SERIALS)
SPARE_NEST = "Sand nest, second No. 50"
_STONE_SERIALS = tuple(f"NS-{number:04d}" for number in range(201, 208))
#: The foundry nest shares No. 30, 50, 100 and 200 with the sand nest of the same bench.
_CORE_SERIALS = (
    *("NS-0301", "NS-0105", "NS-0302", "NS-0106", "NS-0303"),
    *("NS-0107", "NS-0304", "NS-0108", "NS-0305"),
)

NESTS = (
    NestPlan("Sand nest", "NP-01", SAND_BENCH, _SAND_SERIALS),
    NestPlan(SPARE_NEST, "NP-01", SAND_BENCH, _SPARE_SERIALS),
    NestPlan("Stone nest 8/16", "NP-02", STONE_BENCH, _STONE_SERIALS),
    NestPlan("Foundry nest", "NP-03", SAND_BENCH, _CORE_SERIALS),
    NestPlan("Powder nest 1", "NP-04", FINE_BENCH, ("NS-0401", "NS-0402", "NS-0403", "NS-0404")),
    NestPlan(
        "Powder nest 2", "NP-04", FINE_BENCH, ("NS-0401", "NS-0402", "NS-0405", "NS-0404"), 22
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
