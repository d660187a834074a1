"""The customers' samples: what becomes of each, from delivery to as far as its plan says."""

from collections.abc import Generator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cache
from zlib import crc32

from gradation.management.demo_scenario.bench_findings import hand_over
from gradation.management.demo_scenario.bench_work import (
    Job,
    Typed,
    enter,
    exchanged,
    fit_nest,
    fraction,
    run_story,
    sieving_of,
)
from gradation.management.demo_scenario.cast import REVIEWER, TECHNICIANS
from gradation.management.demo_scenario.data_files import rows_of
from gradation.management.demo_scenario.grains import batch, generator, mixtures
from gradation.management.demo_scenario.materials import BY_KEY, Kind
from gradation.management.demo_scenario.paper_work import TYPED_AFTER, paper_story
from gradation.management.demo_scenario.reporting import report
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Division, Run, Sample, TestPortion
from gradation.queries.runs import needs_justification
from gradation.services import intake, preparation, review

Step = Generator[datetime, None, None]
Testing = Generator[datetime, None, list[Run]]

#: How far a sample goes, in order; where two words stand together they go equally far.
STAGES = (
    {"logged", "cancelled"},
    {"prepared"},
    {"open"},
    {"weighed", "returned", "invalid"},
    {"accepted"},
    {"drafted"},
    {"reported", "amended", "withdrawn"},
    {"closed"},
    {"disposed"},
)
#: Batches that miss their envelope, or just touch it: grain size as a multiple of the usual.
SIZE_FACTORS = {"coarse": 1.25, "fine": 0.58, "fringe": 0.94}
#: Readings of the run that was left for the night.
LEFT_AFTER = 3
SPILLED = 0.011
#: The sample whose nest was shaken too long, and by how many minutes.
NOT_HEARD, NOT_HEARD_MIN = "n34", 3
HEAPED_G = 830.0


@dataclass(frozen=True)
class SamplePlan:
    """One sample of the scenario."""

    key: str
    material: str
    source: str
    days_ago: int
    reach: str
    fault: str
    lot: str
    reference: str
    description: str
    condition: str
    note: str

    @property
    def stage(self) -> int:
        """Give how far the sample goes."""
        return next(number for number, words in enumerate(STAGES) if self.reach in words)

    def goes_to(self, word: str) -> bool:
        """Say whether the sample goes at least as far as the stage of this word."""
        return self.stage >= next(n for n, words in enumerate(STAGES) if word in words)

    @property
    def number(self) -> int:
        """Give a number of its own, for minutes and for taking turns."""
        return crc32(self.key.encode())


@cache
def sample_plans() -> tuple[SamplePlan, ...]:
    """Give the scenario's samples."""
    return tuple(
        SamplePlan(**{**row, "days_ago": int(row["days_ago"])})  # type: ignore[arg-type]
        for row in rows_of("samples")
    )


@dataclass
class Course:
    """One sample on its way: its plan, and how many working days ago it is now."""

    world: World
    plan: SamplePlan
    ago: int
    sample: Sample = field(init=False)
    runs: list[Run] = field(default_factory=list)

    @property
    def kind(self) -> Kind:
        """Give the material with the way it is handled."""
        return BY_KEY[self.plan.material]

    @property
    def technician(self) -> str:
        """Name who works on it: they take turns."""
        return TECHNICIANS[self.plan.number % len(TECHNICIANS)]

    def at(self, hour: int, minute: int = 0) -> datetime:
        """Give a time on the present day of the course, some minutes of its own later."""
        own = timedelta(minutes=self.plan.number % 23)
        return self.world.days.moment(self.world.days.ago(self.ago), hour, minute) + own

    def next_day(self, days: int = 1) -> None:
        """Go on to a later working day."""
        self.ago -= days


def sample_story(world: World, plan: SamplePlan) -> Story:
    """Let one sample be delivered and go as far as its plan says."""
    course = Course(world, plan, plan.days_ago)
    yield course.at(8, 15)
    course.sample = _log(course)
    if plan.reach == "cancelled":
        course.next_day()
        yield course.at(9, 30)
        actor = world.people[course.technician]
        intake.cancel_sample(actor=actor, sample=course.sample, reason=plan.note)
    elif plan.goes_to("prepared"):
        yield from _test(course)
        yield from report(course)


def _log(course: Course) -> Sample:
    world, plan, kind = course.world, course.plan, course.kind
    source = world.sources[plan.source]
    day_before = world.days.ago(course.ago + 1)
    delivery = intake.Delivery(
        customer=source.customer,
        source=source,
        material=world.materials[plan.material],
        condition=plan.condition or "sealed, label legible, dry",
        lot=plan.lot,
        customer_reference=plan.reference,
        description=plan.description,
        sampler_name=source.customer.contact_name,
        sampling_method=kind.sampling,
        sampled_at=world.days.moment(day_before, 14, plan.number % 60),
        mass_received_g=kind.received_g * Decimal(95 + plan.number % 9) / 100,
        storage_place=f"Store shelf {'ABCDE'[plan.number % 5]}{1 + plan.number % 7}",
        due_on=world.days.later(world.days.ago(course.ago), 7),
    )
    return intake.log_sample(actor=world.people[course.technician], delivery=delivery)


def _test(course: Course) -> Step:
    """Prepare portions and make the runs, with the plan's mishap on the way."""
    yield course.at(14)
    portions = [_prepare(course)]
    if course.plan.fault == "two_portions":
        portions.append(_prepare(course))
    elif course.plan.fault == "repeat":
        portions.append(portions[0])
    if not course.plan.goes_to("open"):
        return
    course.next_day()
    for number, portion in enumerate(portions, start=1):
        yield from _run(course, portion, number)
    if course.plan.reach not in {"open", "weighed"}:
        yield from _review(course)


def _prepare(course: Course) -> TestPortion:
    division = preparation.Division(Division.OTHER, course.kind.division, drying=course.kind.drying)
    actor = course.world.people[course.technician]
    return preparation.prepare_portion(actor=actor, sample=course.sample, division=division)


def _run(course: Course, portion: TestPortion, number: int) -> Step:
    """Make one run, at the bench or on paper, and add it to the course."""
    job = _job(course, portion, number)
    if course.plan.fault == "paper":
        run = yield from paper_story(course.world, job)
        course.next_day(TYPED_AFTER)
    else:
        run = yield from run_story(course.world, job)
    course.runs.append(run)


def _job(course: Course, portion: TestPortion, number: int) -> Job:
    plan, kind = course.plan, course.kind
    is_first = number == 1
    handling = kind.handling
    if plan.fault == "loss" or (plan.fault == "invalid" and is_first):
        handling = replace(handling, lost=SPILLED)
    if plan.fault == "overload":
        handling = replace(handling, portion_g=HEAPED_G)
    lot = generator(plan.key, "batch")
    return Job(
        key=(plan.key, number),
        kind=kind,
        portion=portion,
        technician=course.technician,
        day=course.world.days.ago(course.ago),
        mixture=batch(mixtures()[plan.material], SIZE_FACTORS.get(plan.fault, 1.0), lot),
        handling=handling,
        typo=plan.fault == "typo",
        swapped=plan.fault == "swap",
        stops_after=LEFT_AFTER if plan.reach == "open" else None,
        shaken_longer=NOT_HEARD_MIN if plan.key == NOT_HEARD else 0,
    )


def _review(course: Course) -> Step:
    """Have somebody else look at every run, and do again what did not stand."""
    course.next_day()
    yield course.at(9, 10)
    if course.plan.fault == "swap":
        yield from _return_and_correct(course)
    elif course.plan.fault == "invalid":
        yield from _repeat_invalid(course)
    if course.plan.goes_to("accepted"):
        _accept_all(course)


def _return_and_correct(course: Course) -> Step:
    reviewer = course.world.people[REVIEWER]
    run = review.return_run(actor=reviewer, run=course.runs[0], reason=course.plan.note)
    course.runs = [run]
    if not course.plan.goes_to("accepted"):
        return
    course.next_day()
    yield course.at(10, 20)
    _put_right(course, run)
    course.next_day()
    yield course.at(9, 40)


def _put_right(course: Course, run: Run) -> None:
    """Enter both exchanged fractions anew, with the reason, and hand the run over again."""
    job = _job(course, run.portion, 1)
    job = replace(job, day=course.world.days.ago(course.ago + 2))
    right = sieving_of(course.world, job, run.nest or fit_nest(course.world, job.kind))
    for position, (mass_g, wrong_g) in enumerate(
        zip(right.masses_g[:-1], exchanged(right).masses_g, strict=False), start=1
    ):
        if mass_g != wrong_g:
            typed = Typed(fraction(job, position, mass_g), 0, "Fractions exchanged; weighed again.")
            enter(course.world, job, run, typed)
    actor = course.world.people[course.technician]
    course.runs = [hand_over(actor, run)]


def _repeat_invalid(course: Course) -> Step:
    reviewer = course.world.people[REVIEWER]
    review.invalidate_run(actor=reviewer, run=course.runs[0], reason=course.plan.note)
    course.runs = []
    if not course.plan.goes_to("accepted"):
        return
    yield course.at(15)
    portion = _prepare(course)
    course.next_day()
    yield from _run(course, portion, 2)
    course.next_day()
    yield course.at(9, 40)


def _accept_all(course: Course) -> None:
    reviewer = course.world.people[REVIEWER]
    accepted = []
    for run in course.runs:
        reason = course.plan.note if needs_justification(run) else "Raw readings looked through."
        review.look_through_trail(actor=reviewer, run=run)
        accepted.append(review.accept_run(actor=reviewer, run=run, reason=reason))
    course.runs = accepted
