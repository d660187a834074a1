"""A run at the bench of which the checks ask twice: one reason is given, one still waits."""

from dataclasses import replace
from decimal import Decimal

from gradation.management.demo_scenario.bench_findings import answer
from gradation.management.demo_scenario.bench_work import Job, run_story
from gradation.management.demo_scenario.grains import batch, generator, mixtures
from gradation.management.demo_scenario.materials import BY_KEY
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Division, Sample
from gradation.services import intake, preparation

KIND = BY_KEY["regrind"]
TECHNICIAN, SOURCE = "ilka", "loopholm_mill_6"
#: Less than the procedure asks for, and dust lost when the nest was opened.
PORTION_G, LOST = 138, 0.031
ALL_READINGS = 99


def waiting_run_story(world: World) -> Story:
    """Let a run be weighed to the end today; the loss has its reason, the portion has not."""
    day = world.days.ago(0)
    yield world.days.moment(day, 7, 35)
    actor = world.people[TECHNICIAN]
    sample = _log(world)
    yield world.days.moment(day, 7, 50)
    portion = preparation.prepare_portion(
        actor=actor,
        sample=sample,
        division=preparation.Division(Division.OTHER, KIND.division, drying=KIND.drying),
    )
    job = Job(
        key=("waiting run",),
        kind=KIND,
        portion=portion,
        technician=TECHNICIAN,
        day=day,
        mixture=batch(mixtures()[KIND.key], 1.0, generator("waiting run", "batch")),
        handling=replace(KIND.handling, portion_g=PORTION_G, lost=LOST),
        stops_after=ALL_READINGS,
    )
    run = yield from run_story(world, job)
    answer(actor, run, only="loss-over-limit")


def _log(world: World) -> Sample:
    source = world.sources[SOURCE]
    delivery = intake.Delivery(
        customer=source.customer,
        source=source,
        material=world.materials[KIND.key],
        condition="sealed, dry",
        lot="LP-1343",
        description="Polypropylene regrind, natural, jar of 400 g",
        sampler_name=source.customer.contact_name,
        sampling_method=KIND.sampling,
        mass_received_g=Decimal(400),
        storage_place="Store shelf B4",
    )
    return intake.log_sample(actor=world.people[TECHNICIAN], delivery=delivery)
