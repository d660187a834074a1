"""One heavy portion of crushed sand: coarse part in increments, fine part split and combined."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from uuid import UUID

from gradation.management.demo_scenario.bench_findings import hand_over
from gradation.management.demo_scenario.bench_work import fit_nest, shake
from gradation.management.demo_scenario.cast import SAND_BENCH
from gradation.management.demo_scenario.grains import generator
from gradation.management.demo_scenario.instruments import check_balance
from gradation.management.demo_scenario.materials import BY_KEY
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Division, Run, Sample, Stage, Weighing
from gradation.queries.run_checks import findings
from gradation.services import (
    bench,
    handling,
    intake,
    preparation,
    run_checks,
    run_places,
)

KIND = BY_KEY["crushed_sand"]
TECHNICIAN = "ilka"
DAYS_AGO = 1
LENGTH = timedelta(hours=4)
Slot = Weighing.Slot


@dataclass(frozen=True)
class Step:
    """One reading of the run: what, in grams, at which place of the nest."""

    slot: Slot
    mass: str
    position: int = 0
    increment: int = 1


WASHED = (Step(Slot.DRY_MASS, "1648.4"), Step(Slot.WASHED_DRY_MASS, "1571.0"))
#: On 9.5, 4.75 and 2.36 mm; what lay on 2.36 mm was sieved in two increments.
COARSE = (
    Step(Slot.FRACTION, "0.0", 1),
    Step(Slot.FRACTION, "51.8", 2),
    Step(Slot.FRACTION, "128.4", 3),
    Step(Slot.FRACTION, "121.7", 3, 2),
)
FINE = (
    Step(Slot.SPLIT_PASSING, "1268.4", 3),
    Step(Slot.SPLIT_REDUCED, "402.6", 3),
    Step(Slot.FRACTION, "101.4", 4),
    Step(Slot.FRACTION, "118.7", 5),
    Step(Slot.FRACTION, "100.2", 6),
    Step(Slot.FRACTION, "66.3", 7),
    Step(Slot.FRACTION, "12.0", 8),
    Step(Slot.PAN, "3.6"),
)


def split_story(world: World) -> Story:
    """Let the portion be washed, sieved in stages and handed over."""
    day = world.days.ago(DAYS_AGO)
    start = world.diary.take(SAND_BENCH, day, LENGTH)
    yield start
    check_balance(world, SAND_BENCH, day)
    run = _open(world)
    at = start
    for steps, minutes in ((WASHED, 130), (COARSE, 12), (FINE, 12)):
        for step in steps:
            at += timedelta(minutes=3)
            yield at
            _weigh(world, run, step)
        at += timedelta(minutes=minutes)
        yield at
        _after(world, run, steps)
    _answer_for_the_mass(world, run)
    hand_over(world.people[TECHNICIAN], run)


def _answer_for_the_mass(world: World, run: Run) -> None:
    actor = world.people[TECHNICIAN]
    found = findings(Run.objects.get(pk=run.pk), Stage.HAND_OVER)
    for each in found:
        if each.is_open and each.code == "portion-outside-band":
            reason = "Large on purpose, for the coarse part; sieved in stages."
            run_checks.answer_finding(actor=actor, run=run, key=each.key, reason=reason)


def _open(world: World) -> Run:
    actor = world.people[TECHNICIAN]
    portion = preparation.prepare_portion(
        actor=actor,
        sample=_log(world),
        division=preparation.Division(
            Division.OTHER, "riffle, 2 passes, half drawn by lot", drying=KIND.drying
        ),
    )
    nest = fit_nest(world, KIND)
    sieves = [place.sieve for place in nest.places.all()]
    setup = bench.Setup(bench=world.benches[SAND_BENCH], sieves=sieves, nest=nest)
    return bench.open_run(actor=actor, portion=portion, setup=setup)


def _log(world: World) -> Sample:
    source = world.sources["tarnholt_line_1"]
    delivery = intake.Delivery(
        customer=source.customer,
        source=source,
        material=world.materials[KIND.key],
        condition="sealed, moist",
        lot="TQ-0281",
        description="Crushed sand 0/4 from the new screen, large portion asked for",
        sampler_name=source.customer.contact_name,
        sampling_method=KIND.sampling,
        mass_received_g=KIND.received_g,
        storage_place="Preparation room",
    )
    return intake.log_sample(actor=world.people[TECHNICIAN], delivery=delivery)


def _weigh(world: World, run: Run, step: Step) -> None:
    reading = bench.Reading(
        slot=step.slot.value,
        text=step.mass,
        key=_key(step.slot, step.position, step.increment),
        position=step.position,
        increment=step.increment,
    )
    bench.record_weighing(actor=world.people[TECHNICIAN], run=run, reading=reading)


def _key(*parts: str | int) -> UUID:
    return UUID(bytes=generator("split", *parts).bytes(16), version=4)


def _after(world: World, run: Run, steps: tuple[Step, ...]) -> None:
    """Wash before the coarse sieves, shake each stage, split between them."""
    actor = world.people[TECHNICIAN]
    if steps is WASHED:
        washed = handling.Handling("dispersing agent, 2 g a litre", Decimal(20))
        handling.record_handling(actor=actor, run=run, handling=washed)
    elif steps is COARSE:
        reason = "The finer sieves would hold more than they may; what passes 2.36 mm is reduced."
        run_places.split_run(actor=actor, run=run, position=3, reason=reason)
    if steps is not FINE:
        _shake(world, run)


def _shake(world: World, run: Run) -> None:
    shake(world.people[TECHNICIAN], run, _key("shaking", run.shakings.count()))
