"""Results: computed again from the readings and the pinned versions, digit by digit."""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from django.db.models import Prefetch, QuerySet

from gradation.models import Result, RunSieve, Weighing
from gradation.proofs.entries import canonical_json
from gradation.queries.verification.asked import Broken, Progress, Scope
from gradation.queries.worksheets import run_worksheet
from gradation.science import SCIENCE_VERSION
from gradation.science.errors import GradationError
from gradation.science.worksheet import as_json, evaluate
from gradation.science.worksheet_parsing import parse_worksheet
from gradation.science.worksheet_writing import worksheet_json

__all__ = ["broken_figures", "results_in"]

#: What the readings alone decide; limits and names may be renewed after a result was frozen.
_READ = ("dry_mass_g", "washed_dry_mass_g", "fractions", "pan_g", "pan_increments_g", "splits")


def broken_figures(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Name each result whose inputs, readings or values are not what was frozen."""
    rows = results_in(scope)
    total = rows.count()
    for done, result in enumerate(rows.iterator(chunk_size=100)):
        told("results", done, total)
        says = _fault(result)
        if says:
            yield Broken("result", f"result {result.version} of run {result.run}", says)
    told("results", total, total)


def results_in(scope: Scope) -> QuerySet[Result]:
    """List the results of a scope with all that is needed to compute them again."""
    rows = Result.objects.order_by("id")
    rows = rows.filter(run__portion__sample=scope.sample) if scope.sample else rows
    rows = rows.filter(computed_at__gte=scope.since) if scope.since else rows
    weighings = Weighing.objects.select_related("made_by")
    return rows.select_related(
        "run__portion__sample__specification_version__specification",
        "run__portion__sample__material",
        "run__procedure_version__procedure",
    ).prefetch_related(
        Prefetch("run__places", RunSieve.objects.select_related("sieve")),
        Prefetch("run__weighings", weighings),
        "run__shakings",
        "run__instruments__instrument",
        "run__results",
        "run__procedure_version__apertures",
        "run__portion__sample__specification_version__lines",
    )


def _fault(result: Result) -> str:
    if sha256(canonical_json(result.inputs).encode()).hexdigest() != result.inputs_digest:
        return "its inputs do not give their digest"
    if _is_newest(result) and _read(_readings(result)) != _read(result.inputs):
        return "its inputs are not the readings of the run"
    if result.science_version != SCIENCE_VERSION:
        return ""  # the calculation of that time is not here any more; its inputs are proven
    try:
        again = as_json(evaluate(parse_worksheet(result.inputs)))
    except GradationError as error:
        return f"it cannot be computed again: {error}"
    if json.loads(json.dumps(again)) != result.values:
        return "computing it again gives other figures"
    return ""


def _is_newest(result: Result) -> bool:
    return result.version == max(each.version for each in result.run.results.all())


def _readings(result: Result) -> dict[str, Any]:
    """Write the worksheet of the run from the readings made until the result was frozen."""
    run = result.run
    made = [row for row in run.weighings.all() if row.made_at <= result.computed_at]
    run._prefetched_objects_cache["weighings"] = made  # type: ignore[attr-defined] # Django's own
    return worksheet_json(run_worksheet(run))


def _read(inputs: dict[str, Any]) -> dict[str, Any]:
    return {name: inputs.get(name) for name in _READ}
