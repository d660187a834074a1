"""The control material: the same sand every month for three years, so that drift can be seen."""

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from gradation.management.demo_scenario.bench_work import Job, run_story
from gradation.management.demo_scenario.cast import REVIEWER, TECHNICIANS
from gradation.management.demo_scenario.equipment import SPARE_NEST
from gradation.management.demo_scenario.grains import batch, generator, mixtures
from gradation.management.demo_scenario.materials import BY_KEY
from gradation.management.demo_scenario.timeline import Story, Workdays
from gradation.management.demo_scenario.world import World
from gradation.models import Division, Sample
from gradation.services import intake, preparation, review

MONTHS, MONTHS_A_BOX = 36, 12
KIND = BY_KEY["control_sand"]


def control_days(days: Workdays) -> list[date]:
    """Give the first working day of each of the last months whose run can be reviewed by now."""
    latest = days.ago(2)
    month = np.datetime64(latest, "M")
    firsts: list[date] = [
        np.busday_offset(month - back, 0, roll="forward").astype(object)
        for back in range(MONTHS + 1)
    ]
    return sorted(day for day in firsts if day <= latest)[-MONTHS:]


def control_stories(world: World) -> Iterator[Story]:
    """Yield a story for each box of bottles: one sample, a bottle a month."""
    days = control_days(world.days)
    for first in range(0, len(days), MONTHS_A_BOX):
        yield _box_story(world, first, days[first : first + MONTHS_A_BOX])


def _box_story(world: World, first: int, days: Sequence[date]) -> Story:
    yield world.days.moment(days[0], 7, 15)
    sample = _log(world, 1 + first // MONTHS_A_BOX)
    for month, day in enumerate(days, start=first):
        yield from _month(world, sample, month, day)


def _log(world: World, box: int) -> Sample:
    source = world.sources["norrhaven_drum"]
    delivery = intake.Delivery(
        customer=source.customer,
        source=source,
        material=world.materials[KIND.key],
        condition="sealed, dry",
        lot=f"NC-7, box {box}",
        description="Control sand NC-7, box of twelve bottles, one a month",
        sampled_by=Sample.SampledBy.LABORATORY,
        sampling_method=KIND.sampling,
        mass_received_g=KIND.received_g,
        storage_place="Cabinet C1",
    )
    return intake.log_sample(actor=world.people[TECHNICIANS[0]], delivery=delivery)


def _month(world: World, sample: Sample, month: int, day: date) -> Story:
    """Divide one bottle, sieve it, have the run reviewed on the next working day."""
    technician = TECHNICIANS[month % len(TECHNICIANS)]
    yield world.days.moment(day, 7, 20)
    portion = preparation.prepare_portion(
        actor=world.people[technician],
        sample=sample,
        division=preparation.Division(Division.OTHER, KIND.division, drying=KIND.drying),
    )
    job = Job(
        key=("control", month),
        kind=KIND,
        portion=portion,
        technician=technician,
        day=day,
        mixture=batch(mixtures()[KIND.key], 1.0, generator("control", month, "batch")),
        handling=KIND.handling,
        nest=SPARE_NEST if month % 3 == 1 else "",
    )
    run = yield from run_story(world, job)
    yield world.days.moment(world.days.later(day, 1), 8, 50)
    review.look_through_trail(actor=world.people[REVIEWER], run=run)
    review.accept_run(actor=world.people[REVIEWER], run=run, reason="Raw readings looked through.")
