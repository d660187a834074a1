"""Runs: the bench's work, the review queue, one run with its readings and figures."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from gradation.errors import NotFound
from gradation.models import (
    Bench,
    Result,
    Run,
    RunInstrument,
    RunSieve,
    Sample,
    Shaking,
    User,
    Weighing,
)
from gradation.policy import Action, may
from gradation.queries.run_view import Place, RunView, preview, run_view
from gradation.queries.samples import samples_visible_to, sees_every_sample

__all__ = [
    "Place",
    "RunView",
    "find_run",
    "needs_justification",
    "preview",
    "run_view",
    "runs_at_bench",
    "runs_awaiting_review",
    "runs_visible_to",
    "samples_awaiting_test",
]


def runs_visible_to(actor: User) -> QuerySet[Run]:
    """List the runs a person may see, with what names them."""
    rows = Run.objects.select_related(
        "portion__sample__material",
        "portion__sample__customer",
        "portion__sample__source",
        "portion__sample__specification_version__specification",
        "procedure_version__procedure",
        "bench",
        "nest",
        "technician",
        "reviewer",
        "guard_sieve",
    )
    if sees_every_sample(actor):
        return rows
    return rows.filter(portion__sample__in=samples_visible_to(actor))


def find_run(actor: User, pk: int) -> Run:
    """Give one run with its places, readings and results, or `NotFound`."""
    run = (
        runs_visible_to(actor)
        .prefetch_related(
            Prefetch("places", RunSieve.objects.select_related("sieve")),
            Prefetch("weighings", Weighing.objects.select_related("made_by")),
            Prefetch("shakings", Shaking.objects.select_related("shaker", "made_by")),
            Prefetch("instruments", RunInstrument.objects.select_related("instrument")),
            Prefetch(
                "results", Result.objects.order_by("-version").prefetch_related("assessments")
            ),
            "procedure_version__apertures",
            "portion__sample__specification_version__lines",
        )
        .filter(pk=pk)
        .first()
    )
    if run is None:
        msg = "There is no such run. Go back to the bench's list and open it from there."
        raise NotFound(msg)
    return run


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
