"""Runs: the bench's work, the review queue, one run with its readings and figures."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from gradation.errors import NotFound
from gradation.models import (
    Bench,
    ProcedureVersion,
    Result,
    Run,
    RunInstrument,
    RunSieve,
    Sample,
    Shaking,
    SpecificationVersion,
    User,
    Weighing,
)
from gradation.policy import Action, may
from gradation.queries.run_view import Place, RunView, preview, run_view
from gradation.queries.samples import samples_visible_to, sees_every_sample
from gradation.queries.settled import attach_readings, attach_settled

__all__ = [
    "Place",
    "RunView",
    "find_run",
    "find_run_at_work",
    "needs_justification",
    "no_such_run",
    "other_runs",
    "preview",
    "run_at_work",
    "run_view",
    "runs_at_bench",
    "runs_awaiting_review",
    "runs_visible_to",
    "samples_awaiting_test",
    "seen_by",
]


_SPECIFICATIONS = SpecificationVersion.objects.select_related("specification")
_PROCEDURES = ProcedureVersion.objects.select_related("procedure")
_OF_THE_WORK = (
    Prefetch("places", RunSieve.objects.select_related("sieve")),
    Prefetch("weighings", Weighing.objects.select_related("made_by").prefetch_related("balance")),
    Prefetch("shakings", Shaking.objects.select_related("shaker", "made_by")),
    Prefetch("instruments", RunInstrument.objects.select_related("instrument")),
)


def runs_visible_to(actor: User) -> QuerySet[Run]:
    """List the runs a person may see, with what names them.

    What many runs share is read beside them, not joined: PostgreSQL plans a join of fifteen tables
    for longer than it reads one run (28 ms on the machine where it was noticed).
    """
    rows = Run.objects.select_related(
        "portion__sample", "bench", "technician", "transcription__performed_by"
    ).prefetch_related(
        "portion__sample__material",
        "portion__sample__customer",
        "portion__sample__source",
        Prefetch("portion__sample__specification_version", _SPECIFICATIONS),
        Prefetch("procedure_version", _PROCEDURES),
        "nest",
        "reviewer",
        "guard_sieve",
    )
    return seen_by(actor, rows)


def seen_by(actor: User, rows: QuerySet[Run]) -> QuerySet[Run]:
    """Keep of some runs those a person may see."""
    if sees_every_sample(actor):
        return rows
    return rows.filter(portion__sample__in=samples_visible_to(actor))


def find_run(actor: User, pk: int) -> Run:
    """Give one run with its places, readings and results, or `NotFound`."""
    run = (
        runs_visible_to(actor)
        .prefetch_related(
            *_OF_THE_WORK,
            Prefetch(
                "results", Result.objects.order_by("-version").prefetch_related("assessments")
            ),
            "procedure_version__apertures",
            "portion__sample__specification_version__lines",
        )
        .filter(pk=pk)
        .first()
    )
    return _found(run)


def find_run_at_work(actor: User, pk: int) -> Run:
    """Give one run to look at after each reading, what is settled of it as of a moment ago.

    A run to act upon comes from `find_run`; so does one that is no longer at the bench.
    """
    rows = seen_by(
        actor, Run.objects.select_related("portion__sample", "transcription__performed_by")
    )
    run = _found(rows.filter(pk=pk).first())
    return _at_work(actor, run, run.weighings.all())


def run_at_work(actor: User, kept: Weighing) -> Run:
    """Give the run of a reading that this person has just kept, as `find_run_at_work` does.

    What the use-case read of it while it held the run is not read again.
    """
    run = kept.run
    return _at_work(actor, run, run.weighings.all())


def _at_work(actor: User, run: Run, readings: QuerySet[Weighing]) -> Run:
    if not run.is_editable:
        return find_run(actor, run.pk)
    attach_settled(run)
    attach_readings(run, readings)
    return run


def _found(run: Run | None) -> Run:
    if run is None:
        raise no_such_run()
    return run


def no_such_run() -> NotFound:
    """Give the refusal of a run that does not exist for this person."""
    return NotFound("There is no such run. Go back to the bench's list and open it from there.")


def other_runs(run: Run) -> QuerySet[Run]:
    """List the other runs of a run's sample, also those that are invalid or do not count."""
    rows = Run.objects.filter(portion__sample=run.portion.sample_id).exclude(pk=run.pk)
    return rows.select_related("portion").order_by("id")


def runs_awaiting_review(actor: User) -> QuerySet[Run]:
    """List the runs handed over by the bench, oldest first; empty for who may not read records."""
    if not may(actor, Action.READ_RECORDS):
        return Run.objects.none()
    results = Result.objects.order_by("-version").prefetch_related("assessments")
    return (
        runs_visible_to(actor)
        .filter(state=Run.State.WEIGHED)
        .prefetch_related(Prefetch("results", results))
        .order_by("weighed_at")
    )


def runs_at_bench(actor: User, bench: Bench | None) -> QuerySet[Run]:
    """List the runs that wait for the bench: open ones and those returned by review."""
    rows = runs_visible_to(actor).filter(state__in=[Run.State.OPEN, Run.State.RETURNED])
    return (rows.filter(bench=bench) if bench else rows).order_by("opened_at")


def samples_awaiting_test(actor: User) -> QuerySet[Sample]:
    """List samples of which no run has been made yet, the soonest due first."""
    has_run = Run.objects.filter(portion__sample=OuterRef("pk")).exclude(state=Run.State.INVALID)
    return (
        samples_visible_to(actor)
        .filter(~Exists(has_run), state__in=[Sample.State.LOGGED, Sample.State.UNDER_TEST])
        .select_related("procedure_version__procedure")
        .prefetch_related("portions")
        .order_by("due_on", "id")
    )


def needs_justification(run: Run) -> list[str]:
    """List what speaks against accepting a run as it is: loss over limit, overloaded sieves."""
    result = run.results.order_by("-version").first()
    warnings = result.values.get("warnings", []) if result else []
    return [warning["sentence"] for warning in warnings if warning["code"] in _GRAVE]


_GRAVE = frozenset({"loss_exceeded", "gain_exceeded", "overloaded", "end_point_not_reached"})
