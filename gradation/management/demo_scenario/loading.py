"""Fill an empty database with the scenario, all of it or nothing."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.db import transaction

from gradation.management.demo_scenario.balance_links import balance_story
from gradation.management.demo_scenario.blending import blend_story
from gradation.management.demo_scenario.cast import PASSWORD, PEOPLE, TIME_ZONE
from gradation.management.demo_scenario.certificate_wishes import wishes_story
from gradation.management.demo_scenario.competences import competence_story
from gradation.management.demo_scenario.control import control_days, control_stories
from gradation.management.demo_scenario.control_charts import chart_stories
from gradation.management.demo_scenario.equipment import (
    NESTS,
    knock_story,
    nest_story,
    sieve_plans,
    sieve_story,
)
from gradation.management.demo_scenario.further_checks import lot_story
from gradation.management.demo_scenario.instruments import PLANS as INSTRUMENTS
from gradation.management.demo_scenario.instruments import instrument_story
from gradation.management.demo_scenario.method_drafts import method_work
from gradation.management.demo_scenario.opening import later_editions, opening_story
from gradation.management.demo_scenario.preparation import preparation_stories
from gradation.management.demo_scenario.samples import sample_plans, sample_story
from gradation.management.demo_scenario.specification_drafts import draft_stories
from gradation.management.demo_scenario.split_run import split_story
from gradation.management.demo_scenario.studies import study_stories
from gradation.management.demo_scenario.timeline import Story, Workdays, play
from gradation.management.demo_scenario.waiting_run import waiting_run_story
from gradation.management.demo_scenario.world import Diary, World
from gradation.models import Certificate, Laboratory, Run, Sample, Sieve
from gradation.services import clock

#: Working days between the laboratory's opening and its first control run.
OPENED_BEFORE = 15


@dataclass(frozen=True)
class SignIn:
    """How to sign in as one role."""

    role: str
    username: str
    password: str


SIGN_INS = tuple(
    SignIn(str(role), person.username, PASSWORD) for person in PEOPLE for role in person.roles
)


@dataclass(frozen=True)
class Scenario:
    """What was loaded, counted by state, and who can sign in."""

    sign_ins: tuple[SignIn, ...]
    samples: dict[str, int]
    runs: dict[str, int]
    certificates: dict[str, int]
    sieves: dict[str, int]


def is_loaded() -> bool:
    """Say whether there is a laboratory already; then nothing is loaded."""
    return Laboratory.objects.exists()


def load_scenario() -> Scenario:
    """Let the scenario happen unless there is a laboratory already; give what there is."""
    if not is_loaded():
        zone = ZoneInfo(TIME_ZONE)
        now = clock.now()
        days = Workdays.until(now, zone)
        world = World(now.astimezone(zone).date(), days, Diary(days))
        with transaction.atomic():
            play(_stories(world))
    return _summary()


def _stories(world: World) -> Iterator[Story]:
    opening = world.days.later(control_days(world.days)[0], -OPENED_BEFORE)
    yield opening_story(world, opening)
    yield competence_story(world, opening)
    yield wishes_story(world, opening)
    yield from later_editions(world)
    yield method_work(world)
    yield from draft_stories(world)
    yield from _equipment(world, opening)
    yield from control_stories(world)
    yield from chart_stories(world)
    yield from preparation_stories(world)
    for plan in sample_plans():
        yield sample_story(world, plan)
    yield waiting_run_story(world)
    yield split_story(world)
    yield blend_story(world)
    yield from study_stories(world)


def _equipment(world: World, opening: date) -> Iterator[Story]:
    yield lot_story(world, opening)
    for minute, sieve in enumerate(sieve_plans()):
        yield sieve_story(world, sieve, opening, minute)
    for minute, instrument in enumerate(INSTRUMENTS):
        yield instrument_story(world, instrument, opening, minute)
    for minute, nest in enumerate(NESTS):
        yield nest_story(world, nest, opening, minute)
    yield knock_story(world)
    yield balance_story(world)


def _summary() -> Scenario:
    return Scenario(
        sign_ins=SIGN_INS,
        samples=Counter(Sample.objects.values_list("state", flat=True)),
        runs=Counter(Run.objects.values_list("state", flat=True)),
        certificates=Counter(Certificate.objects.values_list("state", flat=True)),
        sieves=Counter(Sieve.objects.values_list("state", flat=True)),
    )
