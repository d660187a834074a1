"""What the checks look at: everything about one run, read once with a constant number of queries.

`Context` is frozen. A part that costs queries of its own is read only for the checks that need it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import prefetch_related_objects

from gradation.models import (
    Bench,
    Competence,
    Instrument,
    Laboratory,
    ProcedureVersion,
    Run,
    RunSieve,
    Shaking,
    Sieve,
    SpecificationVersion,
    Stage,
    TestPortion,
    User,
    Weighing,
)
from gradation.queries.days import day_of_work
from gradation.queries.preparation import DryingState
from gradation.queries.readings import latest_of
from gradation.queries.run_checks.rule import place_name
from gradation.queries.runs import preview
from gradation.science.apertures import designation
from gradation.science.history import Recorded
from gradation.science.worksheet import Evaluation

__all__ = [
    "Candidate",
    "Context",
    "Loader",
    "Part",
    "Standing",
    "of_candidate",
    "of_run",
    "with_parts",
]

Slot = Weighing.Slot


class Part(StrEnum):
    """What is read only when a check needs it."""

    TARES = "tares"
    CLAIMS = "claims"
    DRYING = "drying"
    WASHED_DRYING = "washed_drying"
    HISTORY = "history"
    SIBLINGS = "siblings"
    COMPETENCES = "competences"
    REPLACED_ON = "replaced_on"
    SHAKINGS = "shakings"
    UNCHECKED = "unchecked"


@dataclass(frozen=True)
class Standing:
    """One sieve in its place, coarse to fine from 1."""

    position: int
    sieve: Sieve
    aperture_um: Decimal
    next_check_on: date | None
    is_relief: bool = False

    @property
    def place(self) -> str:
        """Name its row on the run's sheet."""
        return place_name(Slot.FRACTION, self.position)

    @property
    def size(self) -> str:
        """Write its size as the trade does."""
        return designation(self.aperture_um)


@dataclass(frozen=True)
class Claim:
    """An open run that has a sieve, or a portion of the same sample."""

    run: Run
    said: str
    is_same_portion: bool = False
    is_sieve: bool = False


@dataclass(frozen=True)
class Candidate:
    """A run that somebody is about to open: where, with what, of which portion."""

    actor: User
    portion: TestPortion
    bench: Bench
    sieves: Sequence[Sieve]
    instruments: Sequence[Instrument] = ()
    reliefs: frozenset[int] = frozenset()
    has_pan: bool = True
    is_elsewhere: bool = False
    """Whether it was made elsewhere and is taken in now."""


@dataclass(frozen=True)
class Context:
    """One run, or one about to be opened, as the checks see it."""

    stage: Stage
    laboratory: Laboratory
    day: date
    """The day of the test, in the laboratory's time zone."""
    portion: TestPortion
    procedure: ProcedureVersion
    specification: SpecificationVersion | None
    bench: Bench
    people: tuple[User, ...]
    standing: tuple[Standing, ...]
    instruments: tuple[Instrument, ...]
    has_pan: bool = True
    is_elsewhere: bool = False
    """Whether the run was recorded elsewhere: by nobody, and with nothing, of this laboratory."""
    run: Run | None = None
    reviewer: User | None = None
    weighings: tuple[Weighing, ...] = ()
    """Every reading that counts: the newest revision of each."""
    evaluation: Evaluation | None = None
    tares: Mapping[int, tuple[Decimal, ...]] = field(default_factory=dict)
    """Tares by sieve, oldest first, of before this run."""
    claims: tuple[Claim, ...] = ()
    drying: DryingState | None = None
    washed_drying: DryingState | None = None
    history: Recorded | None = None
    """Accepted runs of the same material, procedure and sizes."""
    siblings: tuple[Mapping[str, Any], ...] = ()
    """Frozen values of the other determinations of the sample."""
    competences: tuple[Competence, ...] = ()
    keeps_competence: bool = False
    replaced_on: tuple[str, date] | None = None
    """The version that replaced the procedure's, and the day."""
    shakings: tuple[Shaking, ...] = ()
    unchecked: frozenset[int] = frozenset()
    """Balances that passed no check-weights on the day."""

    @property
    def zone(self) -> ZoneInfo:
        """Give the laboratory's time zone."""
        return ZoneInfo(self.laboratory.time_zone)

    @property
    def is_opening(self) -> bool:
        """Say whether the run does not exist yet."""
        return self.stage == Stage.OPENING

    def clock(self, moment: datetime) -> str:
        """Write a moment in the laboratory's zone."""
        return f"{moment.astimezone(self.zone):%d %b %Y %H:%M}"

    def at(self, slot: str, position: int = 0) -> list[Weighing]:
        """List the readings of one place."""
        return [row for row in self.weighings if (row.slot, row.position) == (slot, position)]

    def mass_g(self, slot: str, position: int = 0) -> Decimal | None:
        """Give the mass of one place [g], its increments together."""
        rows = self.at(slot, position)
        return sum((row.mass_as_entered for row in rows), Decimal(0)) if rows else None

    def place_of(self, aperture_um: Decimal | None) -> str:
        """Name the row of a size; the run itself where the nest does not have it."""
        found = (each.place for each in self.standing if each.aperture_um == aperture_um)
        return next(found, "run")


def of_candidate(candidate: Candidate, laboratory: Laboratory, day: date) -> Context:
    """Give the context of a run about to be opened."""
    sample = candidate.portion.sample
    return Context(
        stage=Stage.OPENING,
        laboratory=laboratory,
        day=day,
        portion=candidate.portion,
        procedure=sample.procedure_version,
        specification=sample.specification_version,
        bench=candidate.bench,
        people=() if candidate.is_elsewhere else (candidate.actor,),
        standing=tuple(
            Standing(
                n, sieve, sieve.aperture_um, sieve.next_check_on, sieve.pk in candidate.reliefs
            )
            for n, sieve in enumerate(candidate.sieves, start=1)
        ),
        instruments=tuple(candidate.instruments),
        has_pan=candidate.has_pan,
        is_elsewhere=candidate.is_elsewhere,
    )


#: Read with a run; not again what was prefetched.
_OF_A_RUN = (
    "technician",
    "bench",
    "portion__sample__specification_version__lines",
    "portion__sample__material",
    "procedure_version__procedure",
    "procedure_version__apertures",
    "places__sieve",
    "weighings__made_by",
    "weighings__balance",
    "instruments__instrument",
)


def of_run(
    run: Run, stage: Stage, laboratory: Laboratory, evaluation: Evaluation | None = None
) -> Context:
    """Give the context of a run.

    With `evaluation`, its page has read and computed it, and neither is done a second time.
    """
    if evaluation is None:
        prefetch_related_objects([run], *_OF_A_RUN)
    weighings = tuple(latest_of(run.weighings.all()))
    paper = run.on_paper
    people = {run.technician_id: run.technician} | {
        row.made_by_id: row.made_by for row in weighings
    }
    if paper is not None:
        people[paper.performed_by_id] = paper.performed_by
    return Context(
        stage=stage,
        laboratory=laboratory,
        day=day_of_work(run, ZoneInfo(laboratory.time_zone)),
        portion=run.portion,
        procedure=run.procedure_version,
        specification=run.portion.sample.specification_version,
        bench=run.bench,
        people=() if run.run_import_id else tuple(people.values()),
        standing=tuple(_standing(place) for place in run.places.all()),
        instruments=tuple(row.instrument for row in run.instruments.all()),
        has_pan=any(row.slot == Slot.PAN for row in weighings),
        is_elsewhere=run.run_import_id is not None,
        run=run,
        weighings=weighings,
        evaluation=preview(run)[0] if evaluation is None else evaluation,
    )


def _standing(place: RunSieve) -> Standing:
    return Standing(
        place.position, place.sieve, place.aperture_um, place.next_check_on, place.is_relief
    )


Loader = Callable[[Context], Mapping[str, Any]]


def with_parts(context: Context, needed: Iterable[Part], loaders: Mapping[Part, Loader]) -> Context:
    """Read the parts that the checks need, each once."""
    for part in sorted(set(needed)):
        context = replace(context, **loaders[part](context))
    return context
