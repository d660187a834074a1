"""Lay the figures of results out for charting: one row a figure, of each run's newest result."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC

from django.db import transaction
from django.db.models import Exists, OuterRef, Prefetch, prefetch_related_objects

from gradation.models import Result, ResultFigure, Run, Sample
from gradation.queries.days import laboratory_zone, noon_of
from gradation.queries.figure_names import figures_of
from gradation.services.bulk_rows import insert_alike

__all__ = ["fill_figures", "follow_material", "keep_figures", "keep_first_figures"]

_AT_ONCE = 500


def keep_figures(result: Result) -> None:
    """Let the figures of a new result take the place of those of the version before.

    Part of freezing a result, whose transaction and ledger entry cover it.
    """
    ResultFigure.objects.filter(run=result.run_id).delete()
    insert_alike(ResultFigure, {}, _rows([result]))


def keep_first_figures(results: Sequence[Result]) -> None:
    """Lay out the figures of results of runs that had none before, in bulk."""
    insert_alike(ResultFigure, {}, _rows(results))


def follow_material(sample: Sample) -> None:
    """Let the figures of a sample follow it when it is said to be another material."""
    figures = ResultFigure.objects.filter(run__portion__sample=sample)
    figures.exclude(material=sample.material_id).update(material=sample.material_id)


def fill_figures() -> int:
    """Lay out the results that have no figures yet, such as imported ones; say how many.

    The figures are copies: nothing of the records changes, so there is no ledger entry.
    """
    has_figures = ResultFigure.objects.filter(run=OuterRef("pk"))
    waiting = Run.objects.filter(~Exists(has_figures), results__isnull=False).distinct()
    keys = list(waiting.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(keys), _AT_ONCE):
        with transaction.atomic():
            results = list(_newest(keys[start : start + _AT_ONCE]))
            insert_alike(ResultFigure, {}, _rows(results))
    return len(keys)


def _newest(keys: list[int]) -> Iterator[Result]:
    """Give the newest result of each run."""
    results = Prefetch("results", Result.objects.order_by("-version"))
    runs = Run.objects.filter(pk__in=keys).prefetch_related(results)
    for run in runs.select_related("portion__sample", "procedure_version"):
        newest = next(iter(run.results.all()))
        newest.run = run
        yield newest


def _rows(results: Sequence[Result]) -> Iterator[dict[str, object]]:
    moments_s = _moments_s([each.run for each in results])
    for result in results:
        run = result.run
        same = {
            "result_id": result.pk,
            "run_id": run.pk,
            "material_id": run.portion.sample.material_id,
            "procedure_id": run.procedure_version.procedure_id,
            "at_s": moments_s[run.pk],
        }
        for name, value in figures_of(result):
            yield {**same, "name": name, "value": value}


def _moments_s(runs: Sequence[Run]) -> dict[int, int]:
    """Say when the work of each run was done [s since 1970], with two queries for all.

    Work at the bench counts from the opening. Work on paper counts from the day that the paper
    says; typed on that same day, from the opening at the latest, as it was done by then.
    """
    prefetch_related_objects(runs, "transcription")
    moments_s = {run.pk: int(run.opened_at.timestamp()) for run in runs}
    on_paper = {run.pk: run.on_paper.performed_on for run in runs if run.on_paper is not None}
    zone = laboratory_zone() if on_paper else UTC
    for key, day in on_paper.items():
        noon_s = int(noon_of(day, zone).timestamp())
        moments_s[key] = min(noon_s, moments_s[key])
    return moments_s
