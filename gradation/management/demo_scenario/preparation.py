"""Stone on its way to the sieves: divided by lot, dried to constant mass, two in the oven."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID

from gradation.management.demo_scenario.bench_findings import open_run
from gradation.management.demo_scenario.bench_work import fit_nest
from gradation.management.demo_scenario.cast import STONE_BENCH
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.instruments import check_balance
from gradation.management.demo_scenario.materials import BY_KEY
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Division, Drying, Sample, TestPortion
from gradation.services import bench, dryings, intake, preparation

KIND = BY_KEY["stone_8_16"]
SIZE_UM = Decimal(16000)
CONTAINER = "842"


@dataclass(frozen=True)
class Batch:
    """One bag of stone and how far its preparation went."""

    key: str
    days_ago: int
    technician: str
    source: str
    lot: str
    moist_g: tuple[int, ...]
    kept_instead: str
    #: Minutes in the oven and what the balance then shows, with the container.
    weighings: tuple[tuple[int, str], ...]
    #: Of the second portion, on the next day; it is constant, and nobody took it out yet.
    second: tuple[tuple[int, str], ...] = ()


BATCHES = (
    Batch(
        "two portions",
        1,
        "ilka",
        "tarnholt_line_1",
        "TQ-0279",
        (2764, 2718),
        "2",
        ((95, "3588"), (185, "3552"), (250, "3550")),
        ((70, "3521"), (140, "3489"), (205, "3488")),
    ),
    Batch(
        "in the oven",
        0,
        "tobin",
        "osterby_stockpile",
        "OW-44",
        (2802,),
        "",
        ((80, "3604"), (150, "3571")),
    ),
)


def preparation_stories(world: World) -> Iterator[Story]:
    """Yield a story for each bag."""
    for batch in BATCHES:
        yield _story(world, batch)


def _story(world: World, batch: Batch) -> Story:
    day = world.days.ago(batch.days_ago)
    yield world.days.moment(day, 8, 40)
    actor = world.people[batch.technician]
    sample = _log(world, batch)
    yield world.days.moment(day, 9, 25)
    portions = preparation.prepare_portions(
        actor=actor, sample=sample, division=_division(world, batch), count=len(batch.moist_g)
    )
    start = world.days.moment(day, 9, 50)
    yield start
    drying = _into_the_oven(world, batch, portions)
    yield from _weigh(world, batch, drying, start)
    if batch.second:
        dryings.end_drying(actor=actor, drying=drying)
        yield from _next_day(world, batch, portions, drying)


def _next_day(world: World, batch: Batch, portions: Sequence[TestPortion], dried: Drying) -> Story:
    """Open a run on what was dried and leave it before the shaker; dry the other portion."""
    today = world.days.ago(0)
    start = world.days.moment(today, 7, 40)
    yield start
    drying = _into_the_oven(world, batch, portions[1:])
    yield from _to_the_shaker(world, batch, dried)
    yield from _weigh(world, replace(batch, key="the other", weighings=batch.second), drying, start)


def _to_the_shaker(world: World, batch: Batch, dried: Drying) -> Story:
    """Open a run; its dry mass is the last of the drying, and the nest waits to be shaken."""
    nest = fit_nest(world, KIND)
    today = world.days.ago(0)
    free = world.diary.take(STONE_BENCH, today, timedelta(minutes=30))
    yield max(free, world.days.moment(today, 7, 55))
    check_balance(world, STONE_BENCH, today)
    actor = world.people[batch.technician]
    sieves = [place.sieve for place in nest.places.all()]
    run = open_run(
        actor,
        dried.portion,
        bench.Setup(bench=world.benches[STONE_BENCH], sieves=sieves, nest=nest),
    )
    dryings.take_dry_mass(actor=actor, drying=dried, run=run)


def _log(world: World, batch: Batch) -> Sample:
    source = world.sources[batch.source]
    delivery = intake.Delivery(
        customer=source.customer,
        source=source,
        material=world.materials[KIND.key],
        condition="sealed, moist",
        lot=batch.lot,
        description="Crushed stone 8/16, bag of 15 kg",
        sampler_name=source.customer.contact_name,
        sampling_method=KIND.sampling,
        mass_received_g=KIND.received_g,
        storage_place="Preparation room",
    )
    return intake.log_sample(actor=world.people[batch.technician], delivery=delivery)


def _division(world: World, batch: Batch) -> preparation.Division:
    """Give two passes of the riffle; at the second portion of a pair the tray was spilled."""
    spilled = ("", "L L") if batch.kept_instead else ("",)
    return preparation.Division(
        way=Division.RIFFLE,
        divider=world.instruments["NR-01"],
        passes=2,
        taken=spilled,
        reason="The tray with the half drawn was knocked over." if batch.kept_instead else "",
        masses_g=[Decimal(mass) for mass in batch.moist_g],
        top_size_um=SIZE_UM,
    )


def _into_the_oven(world: World, batch: Batch, portions: Sequence[TestPortion]) -> Drying:
    oven = dryings.Oven(oven=world.instruments["NV-01"], container_text=CONTAINER)
    return dryings.begin_drying(
        actor=world.people[batch.technician], portion=portions[0], oven=oven
    )


def _weigh(world: World, batch: Batch, drying: Drying, start: datetime) -> Story:
    actor = world.people[batch.technician]
    for number, (minutes, text) in enumerate(batch.weighings, start=1):
        yield start + timedelta(minutes=minutes)
        key = UUID(bytes=generator("drying", batch.key, number).bytes(16), version=4)
        reading = dryings.MassReading(number, text, key)
        dryings.record_drying_mass(actor=actor, drying=drying, reading=reading)
