"""One run at a bench, reading by reading, as a technician makes it; slips included."""

from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from gradation.management.demo_scenario.bench_findings import hand_over, open_run
from gradation.management.demo_scenario.equipment import NESTS, true_apertures_um
from gradation.management.demo_scenario.grains import (
    Handling,
    Mixture,
    Sieving,
    generator,
    sieve,
)
from gradation.management.demo_scenario.instruments import check_balance
from gradation.management.demo_scenario.materials import Kind
from gradation.management.demo_scenario.world import World
from gradation.models import Nest, Run, Shaking, TestPortion, User, Weighing
from gradation.queries.equipment import nest_state, nests_for
from gradation.queries.shakings import prefilled, shaker_of
from gradation.services import bench, clock, shakings

#: Washing, and drying again in the oven.
WASH_MINUTES, SHAKE_MINUTES, READING_MINUTES = 125, 12, 2
LATEST_MINUTES = 25
#: For so many days each shaking has been put on record; before, the minutes alone.
SHAKINGS_ON_RECORD = 7
LONGER = "The timer was not heard beside the crusher."
#: Types a comma where others type a point.
COMMA_TYPIST = "tobin"

Work = Generator[datetime, None, Run]
"""A run in the making: yields the moment of each step, gives the run in the end."""


@dataclass(frozen=True)
class Job:
    """One run to be made."""

    key: tuple[str | int, ...]
    kind: Kind
    portion: TestPortion
    technician: str
    day: date
    mixture: Mixture
    handling: Handling
    typo: bool = False
    swapped: bool = False
    stops_after: int | None = None
    shaken_longer: int = 0
    nest: str = ""

    @property
    def bench(self) -> str:
        """Name the bench where this procedure's nests stand."""
        return next(nest.bench for nest in NESTS if nest.procedure == self.kind.procedure)

    @property
    def length(self) -> timedelta:
        """Give how long the run keeps its bench."""
        washing = WASH_MINUTES if self.handling.washed else 0
        return timedelta(minutes=washing + SHAKE_MINUTES + 38)

    @property
    def late(self) -> timedelta:
        """Give how long after the bench is free the run begins."""
        return timedelta(minutes=int(generator(*self.key, "late").integers(1, LATEST_MINUTES)))


@dataclass(frozen=True)
class Typed:
    """One reading as typed, how many minutes after opening, and whether it corrects the last."""

    reading: bench.Reading
    minute: int
    reason: str = ""


def run_story(world: World, job: Job) -> Work:
    """Let a run be opened, weighed and handed over, unless it stops half-way."""
    start = world.diary.take(job.bench, job.day, job.length + job.late) + job.late
    actor = world.people[job.technician]
    yield start
    check_balance(world, job.bench, job.day)
    nest = fit_nest(world, job.kind, job.nest)
    setup = bench.Setup(
        bench=world.benches[job.bench],
        sieves=[place.sieve for place in nest.places.all()],
        nest=nest,
    )
    run = open_run(actor, job.portion, setup)
    for typed in list(typed_in(job, sieving_of(world, job, nest)))[: job.stops_after]:
        if _is_shaken_before(world, job, typed):
            yield start + timedelta(minutes=typed.minute - 1)
            shake(actor, run, _key(job, "shaking"), job.shaken_longer)
        yield start + timedelta(minutes=typed.minute)
        enter(world, job, run, typed)
    if job.stops_after is not None:
        return run
    yield start + job.length - timedelta(minutes=3)
    minutes = run.procedure_version.shaking_minutes
    return hand_over(actor, run, bench.HandOver(shaking_minutes=minutes))


def _is_shaken_before(world: World, job: Job, typed: Typed) -> bool:
    """Say whether the nest is shaken before this reading, and that is put on record."""
    is_first = (typed.reading.slot, typed.reading.position) == (Weighing.Slot.FRACTION, 1)
    return is_first and not typed.reason and job.day >= world.days.ago(SHAKINGS_ON_RECORD)


def shake(actor: User, run: Run, key: UUID, longer: int = 0) -> Shaking:
    """Record a shaking as the procedure plans it, or some minutes longer, with the reason."""
    plan = prefilled(run, shaker_of(run))
    shaken = shakings.Shaken(
        key,
        (plan.minutes or Decimal(10)) + longer,
        plan.amplitude_mm,
        plan.acceleration_g,
        plan.frequency_hz,
        plan.interval_s,
        plan.taps_per_min,
        note=LONGER if longer else "",
    )
    return shakings.record_shaking(actor=actor, run=run, shaken=shaken)


def enter(world: World, job: Job, run: Run, typed: Typed) -> None:
    """Enter one reading, or correct the one before it."""
    actor = world.people[job.technician]
    if typed.reason:
        bench.correct_weighing(actor=actor, run=run, reading=typed.reading, reason=typed.reason)
    else:
        bench.record_weighing(actor=actor, run=run, reading=typed.reading)


def fit_nest(world: World, kind: Kind, name: str = "") -> Nest:
    """Give the first nest of the procedure, or of that name, that is fit for use now."""
    nests = nests_for(world.procedures[kind.procedure])
    if name:
        nests = nests.filter(name=name)
    return next(nest for nest in nests if nest_state(nest, clock.today()).is_fit)


def sieving_of(world: World, job: Job, nest: Nest) -> Sieving:
    """Give what the balance shows for this job on this nest; asked again, the same."""
    apertures_um = true_apertures_um(world, nest, job.day)
    return sieve(job.mixture, apertures_um, job.handling, generator(*job.key, "run"))


def typed_in(job: Job, sieving: Sieving) -> Iterator[Typed]:
    """Yield the readings of a job in the order in which they are made."""
    slot = Weighing.Slot
    wash_minutes = WASH_MINUTES if sieving.washed_dry_mass_g is not None else 0
    yield Typed(_reading(job, slot.DRY_MASS, sieving.dry_mass_g), 3)
    if sieving.washed_dry_mass_g is not None:
        yield Typed(_reading(job, slot.WASHED_DRY_MASS, sieving.washed_dry_mass_g), wash_minutes)
    masses_g = exchanged(sieving).masses_g if job.swapped else sieving.masses_g
    heaviest = masses_g.index(max(masses_g[:-1])) + 1
    minute = wash_minutes + SHAKE_MINUTES
    for position, mass_g in enumerate(masses_g[:-1], start=1):
        minute += READING_MINUTES
        reading = fraction(job, position, mass_g)
        if job.typo and position == heaviest:
            yield Typed(replace(reading, text=transposed(reading.text), key=_key(job, 99)), minute)
            yield Typed(reading, minute + 1, "Two figures exchanged when typing.")
        else:
            yield Typed(reading, minute)
    yield Typed(_reading(job, slot.PAN, masses_g[-1]), minute + READING_MINUTES)


def exchanged(sieving: Sieving) -> Sieving:
    """Exchange the heaviest fraction with the next finer one, as tired people do."""
    masses_g = list(sieving.masses_g)
    place = masses_g.index(max(masses_g[:-2]))
    masses_g[place], masses_g[place + 1] = masses_g[place + 1], masses_g[place]
    return replace(sieving, masses_g=tuple(masses_g))


def transposed(text: str) -> str:
    """Exchange the first two figures of a number that differ."""
    place = next(
        number
        for number in range(len(text) - 1)
        if text[number : number + 2].isdigit() and text[number] != text[number + 1]
    )
    return f"{text[:place]}{text[place + 1]}{text[place]}{text[place + 2 :]}"


def fraction(job: Job, position: int, mass_g: Decimal) -> bench.Reading:
    """Give the reading of one sieve."""
    return _reading(job, Weighing.Slot.FRACTION, mass_g, position)


def _reading(job: Job, slot: Weighing.Slot, mass_g: Decimal, position: int = 0) -> bench.Reading:
    tare_g = job.kind.tare_g if slot in {Weighing.Slot.FRACTION, Weighing.Slot.PAN} else None
    source = Weighing.Source.BALANCE if job.kind.from_balance else Weighing.Source.TYPED
    return bench.Reading(
        slot=slot.value,
        text=_as_typed(job, mass_g if tare_g is None else mass_g + tare_g),
        tare_text="" if tare_g is None else _as_typed(job, tare_g),
        key=_key(job, slot.value, position, mass_g),
        position=position,
        source=source.value,
    )


def _as_typed(job: Job, mass_g: Decimal) -> str:
    text = f"{mass_g:f}"
    types_comma = job.technician == COMMA_TYPIST and not job.kind.from_balance
    return text.replace(".", ",") if types_comma else text


def _key(job: Job, *parts: object) -> UUID:
    random = generator(*job.key, *(str(part) for part in parts), "key")
    return UUID(bytes=random.bytes(16), version=4)
