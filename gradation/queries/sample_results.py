"""What a sample reports against a specification: its determinations brought together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean, median
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery

from gradation.models import Assessment, DecisionRule, Result, Run, Sample, SpecificationVersion
from gradation.queries.determination_set import Determination, DeterminationSet, set_of
from gradation.queries.determinations import figures_of
from gradation.queries.run_uncertainty import decision_of
from gradation.queries.verdicts import verdict_sentence
from gradation.queries.worksheets import envelope_of, rounding_of
from gradation.science.envelopes import AssessmentRule, assess_values
from gradation.science.worksheet_assessment import decision_rule
from gradation.science.worksheet_output import assessment_as_json

__all__ = [
    "COUNTED",
    "SampleResult",
    "SampleVerdict",
    "assessed",
    "latest_assessments",
    "results_of",
    "sample_verdict",
]

COUNTED = (Run.State.WEIGHED, Run.State.ACCEPTED)
_WORST_FIRST = ("does_not_conform", "not_determined", "not_decidable", "conforms")


@dataclass(frozen=True)
class SampleResult:
    """One result: what a sample reports of its determinations, line by line."""

    sample: Sample
    runs: tuple[Run, ...]
    values: tuple[float | None, ...]
    """Unrounded, one for each line of the specification, in the line's unit."""
    standards: tuple[float | None, ...]
    """Standard uncertainty of each, in the same unit; None where it is not known."""
    how: str
    """'mean', 'median', or 'each' where every determination is a result of its own."""
    missing: int = 0
    """Determinations that the procedure still asks for."""

    @property
    def is_complete(self) -> bool:
        """Say whether the sample has all determinations that its procedure asks for."""
        return self.missing == 0


@dataclass(frozen=True)
class SampleVerdict:
    """What the determinations of a sample say together against its specification."""

    results: tuple[SampleResult, ...]
    """One, or one for each determination where the procedure reports each."""
    assessment: dict[str, Any]
    """In the form of a run's own comparison; of several results the worst."""
    sentence: str

    @property
    def runs(self) -> tuple[Run, ...]:
        """List the determinations behind it."""
        return tuple(run for result in self.results for run in result.runs)

    @property
    def how(self) -> str:
        """Say what is reported of the determinations."""
        return self.results[0].how

    @property
    def missing(self) -> int:
        """Give how many determinations the procedure still asks for."""
        return self.results[0].missing


def sample_verdict(sample: Sample) -> SampleVerdict | None:
    """Hold what a sample reports against its specification; None without one, or without results.

    The mean (or the median, where the determinations disagree and the procedure says so) is
    compared as a single value would be: rounded once, under the specification's decision rule.
    Its uncertainty is the largest of its determinations, because the sieves' share of it does not
    shrink with their number. Where each is reported, the worst verdict is the sample's.
    """
    version = sample.specification_version
    if version is None:
        return None
    results = tuple(
        results_of(latest_assessments(version).filter(result__run__portion__sample=sample))
    )
    if not results:
        return None
    found = [assessed(result, version) for result in results]
    worst = min(found, key=lambda each: _WORST_FIRST.index(each["outcome"]))
    return SampleVerdict(results, worst, verdict_sentence(worst, str(version)))


def latest_assessments(
    version: SpecificationVersion, states: Sequence[str] = COUNTED
) -> QuerySet[Assessment]:
    """Give the newest comparison of every run that counts, in the order they were computed.

    `states` are those of the runs looked at. Runs by another edition of the procedure than the
    sample's own are left out, as are those set aside.
    """
    newest = Result.objects.filter(run=OuterRef("result__run")).order_by("-version")
    return (
        Assessment.objects.filter(
            specification_version=version,
            result__run__state__in=states,
            result__run__counts=True,
            result__run__procedure_version=F("result__run__portion__sample__procedure_version"),
            result=Subquery(newest.values("pk")[:1]),
        )
        .select_related(
            "result__run__portion__sample__procedure_version",
            "result__run__portion__sample__material",
            "result__run__procedure_version",
        )
        .order_by("result__computed_at", "id")
    )


def results_of(rows: Iterable[Assessment]) -> Iterator[SampleResult]:
    """Bring the determinations of each sample together, samples in the order of their last one."""
    last: dict[int, int] = {}
    listed = list(rows)
    for place, row in enumerate(listed):
        last[_sample_of(row).pk] = place
    listed.sort(key=lambda row: last[_sample_of(row).pk])
    for _, own in groupby(listed, key=lambda row: _sample_of(row).pk):
        yield from _of_one_sample(list(own))


def _sample_of(row: Assessment) -> Sample:
    return row.result.run.portion.sample


def _of_one_sample(rows: Sequence[Assessment]) -> Iterator[SampleResult]:
    found = _set_of(rows)
    missing = max(0, found.procedure.determinations - len(rows))
    parts = [[row] for row in rows] if found.reports == "each" else [rows]
    for part in parts:
        lines = list(zip(*(row.lines for row in part), strict=True))
        middle = median if found.reports == "median" else fmean
        yield SampleResult(
            sample=_sample_of(rows[0]),
            runs=tuple(row.result.run for row in part),
            values=tuple(_over(middle, [line["value"] for line in each]) for each in lines),
            standards=tuple(_over(max, [line["u"] for line in each]) for each in lines),
            how=found.reports,
            missing=missing,
        )


def _set_of(rows: Sequence[Assessment]) -> DeterminationSet:
    procedure = _sample_of(rows[0]).procedure_version
    determinations = [
        Determination(row.result.run, dict(figures_of(row.result.values, procedure)))
        for row in sorted(rows, key=lambda row: row.result.run_id)
    ]
    return set_of(procedure, tuple(determinations))


def _over(
    middle: Callable[[Sequence[float]], float], values: Sequence[float | None]
) -> float | None:
    known = [value for value in values if value is not None]
    return float(middle(known)) if known and len(known) == len(values) else None


def assessed(result: SampleResult, version: SpecificationVersion) -> dict[str, Any]:
    """Hold one result against a specification, in the form of a run's own comparison."""
    is_plain = version.decision_rule == DecisionRule.PLAIN
    decision = None if is_plain else decision_of(version)
    rule = AssessmentRule(
        rounding=rounding_of(result.sample.procedure_version), decision=decision_rule(decision)
    )
    found = assess_values(result.values, envelope_of(version), rule, result.standards)
    return assessment_as_json(found, decision)
