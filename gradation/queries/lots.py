"""The results of a lot together, where a specification is held against more than one."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import OuterRef, QuerySet, Subquery

from gradation.models import Assessment, LotRule, Result, Run, SpecificationVersion
from gradation.queries.worksheets import envelope_of, rounding_of
from gradation.science.envelopes import AssessmentRule
from gradation.science.errors import GradationError
from gradation.science.lots import LotAssessment, LotPlan, assess_lot

__all__ = ["LotVerdict", "lot_plan", "lot_verdict"]

MOST_RESULTS = 200
_COUNTED = (Run.State.WEIGHED, Run.State.ACCEPTED)


@dataclass(frozen=True)
class LotVerdict:
    """What the results of a lot say together, which they are, or why nothing can be said."""

    lot: str
    runs: tuple[Run, ...]
    assessment: LotAssessment | None
    reason: str = ""


def lot_plan(version: SpecificationVersion) -> LotPlan:
    """Give the lot rule of a specification as the calculation takes it."""
    return LotPlan(LotRule(version.lot_rule), version.lot_size, version.lot_share_pct)


def lot_verdict(run: Run) -> LotVerdict | None:
    """Hold a run and its lot against the lot rule; None where each result stands alone.

    Mean and percent within limits take the results of the same lot; a moving mean the latest of
    the same material, whatever the lot. Only results against the same version count, each run's
    newest, up to this run.
    """
    version = run.portion.sample.specification_version
    if version is None or version.lot_rule == LotRule.SINGLE:
        return None
    lot = run.portion.sample.lot
    if not lot and version.lot_rule != LotRule.MOVING_MEAN:
        return LotVerdict("", (), None, "The sample names no lot; enter it at intake.")
    rows = list(_rows(run, version, lot)[:MOST_RESULTS])[::-1]
    values = [[line["value"] for line in row.lines] for row in rows]
    runs = tuple(row.result.run for row in rows)
    rule = AssessmentRule(rounding=rounding_of(run.procedure_version))
    try:
        found = assess_lot(values, envelope_of(version), lot_plan(version), rule)
    except GradationError as error:
        return LotVerdict(lot, runs, None, str(error))
    return LotVerdict(lot, runs, found)


def _rows(run: Run, version: SpecificationVersion, lot: str) -> QuerySet[Assessment]:
    """Give the newest assessment of each run of the lot, newest first."""
    newest = Result.objects.filter(run=OuterRef("result__run")).order_by("-version")
    rows = (
        Assessment.objects.filter(
            specification_version=version,
            result__run__state__in=_COUNTED,
            result__run__portion__sample__material=run.portion.sample.material_id,
            result=Subquery(newest.values("pk")[:1]),
        )
        .select_related("result__run__portion__sample")
        .order_by("-result__computed_at", "-id")
    )
    own = run.results.order_by("-version").first()
    if own is not None:
        rows = rows.filter(result__computed_at__lte=own.computed_at)
    return (
        rows
        if version.lot_rule == LotRule.MOVING_MEAN
        else rows.filter(result__run__portion__sample__lot=lot)
    )
