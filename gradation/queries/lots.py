"""The results of a lot together, where a specification is held against more than one.

A result is what one sample reports: its determinations are brought together first
(`sample_results`), so that a sample tested twice does not weigh twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gradation.models import Assessment, LotRule, Run, Sample, SpecificationVersion
from gradation.queries.sample_results import (
    COUNTED,
    SampleResult,
    latest_assessments,
    results_of,
)
from gradation.queries.worksheets import envelope_of, rounding_of
from gradation.science.envelopes import AssessmentRule
from gradation.science.errors import GradationError
from gradation.science.lots import LotAssessment, LotPlan, assess_lot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet

__all__ = ["LotVerdict", "lot_plan", "lot_verdict", "lots_of", "sample_lot"]

MOST_RUNS = 400


@dataclass(frozen=True)
class LotVerdict:
    """What the results of a lot say together, which they are, or why nothing can be said."""

    lot: str
    results: tuple[SampleResult, ...]
    """Oldest first; samples whose determinations are not complete are no results yet."""
    assessment: LotAssessment | None
    reason: str = ""
    waiting: tuple[SampleResult, ...] = ()
    """Samples of the lot that still want a determination."""
    material: str = ""

    @property
    def runs(self) -> tuple[Run, ...]:
        """List the runs behind the results."""
        return tuple(run for result in self.results for run in result.runs)

    @property
    def newest(self) -> Sample | None:
        """Give the sample of the newest result."""
        return self.results[-1].sample if self.results else None

    @property
    def why(self) -> str:
        """Say why nothing can be said: of the whole lot, or of the first line left open."""
        lines = self.assessment.lines if self.assessment else ()
        return self.reason or next((line.reason for line in lines if line.reason), "")

    @property
    def outcome(self) -> str:
        """Give the outcome as a word; not determined where nothing can be said."""
        return "not_determined" if self.assessment is None else self.assessment.outcome.value


def lot_plan(version: SpecificationVersion) -> LotPlan:
    """Give the lot rule of a specification as the calculation takes it."""
    return LotPlan(LotRule(version.lot_rule), version.lot_size, version.lot_share_pct)


def lot_verdict(run: Run) -> LotVerdict | None:
    """Hold a run and its lot against the lot rule, up to this run; None without a lot rule."""
    sample = run.portion.sample
    version, own = sample.specification_version, run.results.order_by("-version").first()
    if version is None or version.lot_rule == LotRule.SINGLE:
        return None
    rows = latest_assessments(version)
    if own is not None:
        rows = rows.filter(result__computed_at__lte=own.computed_at)
    return _judged(sample, version, _of_lot(rows, sample, version))


def sample_lot(sample: Sample, states: Sequence[str] = COUNTED) -> LotVerdict | None:
    """Hold the lot of a sample against the lot rule of its specification; None without one.

    `states` are those of the runs looked at; a certificate rests on accepted ones alone.

    Mean and percent within limits take the results of the same lot; a moving mean the latest of
    the same material, whatever the lot, up to this sample's own. Only results against the same
    version count.
    """
    version = sample.specification_version
    if version is None or version.lot_rule == LotRule.SINGLE:
        return None
    rows = latest_assessments(version, states)
    last = rows.filter(result__run__portion__sample=sample).last()
    if version.lot_rule == LotRule.MOVING_MEAN and last is not None:
        rows = rows.filter(result__computed_at__lte=last.result.computed_at)
    return _judged(sample, version, _of_lot(rows, sample, version))


def lots_of(version: SpecificationVersion, most: int = 12) -> list[LotVerdict]:
    """Judge the newest lots held against a version, the newest first; none under a single rule.

    Under a moving mean there is one for each material: the mean in force.
    """
    if version.lot_rule == LotRule.SINGLE:
        return []
    lots: dict[tuple[int, str], list[Assessment]] = {}
    for row in latest_assessments(version).reverse()[:MOST_RUNS]:
        sample = row.result.run.portion.sample
        is_of_lot = version.lot_rule != LotRule.MOVING_MEAN
        lots.setdefault((sample.material_id, sample.lot if is_of_lot else ""), []).append(row)
    return [
        _judged(rows[0].result.run.portion.sample, version, rows[::-1])
        for rows in list(lots.values())[:most]
    ]


def _of_lot(
    rows: QuerySet[Assessment], sample: Sample, version: SpecificationVersion
) -> list[Assessment]:
    """Give the newest rows of a sample's lot, oldest first."""
    of_lot = rows.filter(result__run__portion__sample__material=sample.material_id)
    if version.lot_rule != LotRule.MOVING_MEAN:
        of_lot = of_lot.filter(result__run__portion__sample__lot=sample.lot)
    return list(of_lot.reverse()[:MOST_RUNS])[::-1]


def _judged(
    sample: Sample, version: SpecificationVersion, rows: Sequence[Assessment]
) -> LotVerdict:
    """Judge the lot of a sample by its rule."""
    lot, material = sample.lot, sample.material.name
    if not lot and version.lot_rule != LotRule.MOVING_MEAN:
        why = "The sample names no lot; enter it at intake."
        return LotVerdict("", (), None, why, material=material)
    listed = list(results_of(rows))
    results = tuple(each for each in listed if each.is_complete)
    waiting = tuple(each for each in listed if not each.is_complete)
    rule = AssessmentRule(rounding=rounding_of(sample.procedure_version))
    values = [each.values for each in results]
    try:
        found = assess_lot(values, envelope_of(version), lot_plan(version), rule)
    except GradationError as error:
        return LotVerdict(lot, results, None, str(error), waiting, material)
    return LotVerdict(lot, results, found, "", waiting, material)
