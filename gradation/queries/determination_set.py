"""The determinations of a sample together: mean, range, whether they agree, and what follows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, median

from gradation.models import OnDisagreement, OutlierRule, ProcedureVersion, Result, Run, Sample
from gradation.queries.determinations import exceeds, figures_of, largest_range
from gradation.science.errors import GradationError
from gradation.science.quality.outliers import OutlierVerdict, grubbs_single

__all__ = [
    "Compared",
    "Determination",
    "DeterminationSet",
    "Outlier",
    "determinations_of",
    "set_of",
]

LEAST_FOR_GRUBBS = 3


@dataclass(frozen=True)
class Determination:
    """One run of the sample with the figures it is compared by."""

    run: Run
    figures: dict[str, float]


@dataclass(frozen=True)
class Outlier:
    """A determination that Grubbs' test finds apart from the others, and how strongly."""

    run: Run
    verdict: str
    sentence: str


@dataclass(frozen=True)
class Compared:
    """One figure over the determinations that count."""

    name: str
    values: tuple[float | None, ...]
    """Of every determination, in their order, whether it counts or not."""
    mean: float
    median: float
    spread: float
    counted: int
    limit: float | None
    agrees: bool | None
    outlier: Outlier | None = None


@dataclass(frozen=True)
class DeterminationSet:
    """All determinations of a sample by one procedure."""

    procedure: ProcedureVersion
    determinations: tuple[Determination, ...]
    compared: tuple[Compared, ...]
    agree: bool | None
    """None when there is nothing to judge: too few determinations, or no limit."""
    sentence: str
    wants_further: bool
    reports: str
    """What is reported of them: mean, median or each."""

    @property
    def counting(self) -> tuple[Determination, ...]:
        """List the determinations that count."""
        return tuple(each for each in self.determinations if each.run.counts)

    @property
    def outliers(self) -> dict[int, Outlier]:
        """Give the outliers by the run's key; the strongest word where several figures name one."""
        found: dict[int, Outlier] = {}
        for each in self.compared:
            if each.outlier is not None and found.get(each.outlier.run.pk) is None:
                found[each.outlier.run.pk] = each.outlier
        return found


def determinations_of(sample: Sample) -> DeterminationSet:
    """Compare the determinations of a sample that were handed over, with what follows from them."""
    return set_of(sample.procedure_version, _handed_over(sample))


def set_of(
    procedure: ProcedureVersion, determinations: tuple[Determination, ...]
) -> DeterminationSet:
    """Compare determinations already read, in the order in which they were made."""
    counting = [each for each in determinations if each.run.counts]
    compared = tuple(_compared(procedure, determinations, counting))
    agree = _agree(compared, len(counting))
    return DeterminationSet(
        procedure=procedure,
        determinations=determinations,
        compared=compared,
        agree=agree,
        sentence=_sentence(procedure, compared, counting, agree),
        wants_further=_wants_further(procedure, len(counting), agree),
        reports=_reports(procedure, len(counting), agree),
    )


def _handed_over(sample: Sample) -> tuple[Determination, ...]:
    """Read the newest frozen figures of every run that is not invalid, in order of making."""
    runs = (
        Run.objects.filter(portion__sample=sample, procedure_version=sample.procedure_version)
        .exclude(state__in=[Run.State.INVALID, Run.State.OPEN])
        .select_related("portion", "technician", "bench")
        .order_by("id")
    )
    newest = {row.run_id: row for row in _results(runs)}
    return tuple(
        Determination(run, dict(figures_of(newest[run.pk].values, sample.procedure_version)))
        for run in runs
        if run.pk in newest
    )


def _results(runs: Iterable[Run]) -> Sequence[Result]:
    return list(Result.objects.filter(run__in=[run.pk for run in runs]).order_by("version"))


def _compared(
    procedure: ProcedureVersion, all_: Sequence[Determination], counting: Sequence[Determination]
) -> list[Compared]:
    if not counting:
        return []
    first, *others = counting
    names = [name for name in first.figures if all(name in each.figures for each in others)]
    return [_one(procedure, name, all_, counting) for name in names]


def _one(
    procedure: ProcedureVersion,
    name: str,
    all_: Sequence[Determination],
    counting: Sequence[Determination],
) -> Compared:
    values = [each.figures[name] for each in counting]
    spread = max(values) - min(values)
    limit = largest_range(procedure, len(values))
    exceeded = exceeds(spread, limit)
    return Compared(
        name=name,
        values=tuple(each.figures.get(name) for each in all_),
        mean=fmean(values),
        median=median(values),
        spread=spread,
        counted=len(values),
        limit=limit,
        agrees=None if exceeded is None else not exceeded,
        outlier=_outlier(procedure, name, counting, values),
    )


def _outlier(
    procedure: ProcedureVersion,
    name: str,
    counting: Sequence[Determination],
    values: Sequence[float],
) -> Outlier | None:
    if procedure.outlier_rule != OutlierRule.GRUBBS or len(values) < LEAST_FOR_GRUBBS:
        return None
    try:
        test = grubbs_single(values)
    except GradationError:
        return None
    if test.verdict == OutlierVerdict.CORRECT:
        return None
    run = counting[test.positions[0]].run
    return Outlier(run, test.verdict.value, f"{run} at {name}: {test.sentence}")


def _agree(compared: Sequence[Compared], count: int) -> bool | None:
    judged = [each.agrees for each in compared if each.agrees is not None]
    if count < 2 or not judged:
        return None
    return all(judged)


def _most(procedure: ProcedureVersion) -> int:
    return max(procedure.determinations, procedure.determinations_most or 0)


def _wants_further(procedure: ProcedureVersion, count: int, agree: bool | None) -> bool:
    if count < procedure.determinations:
        return True
    follows = procedure.on_disagreement == OnDisagreement.FURTHER
    return agree is False and follows and count < _most(procedure)


def _reports(procedure: ProcedureVersion, count: int, agree: bool | None) -> str:
    if agree is not False or count < procedure.determinations:
        return "mean"
    if procedure.on_disagreement == OnDisagreement.REPORT_ALL:
        return "each"
    return "median"


def _sentence(
    procedure: ProcedureVersion,
    compared: Sequence[Compared],
    counting: Sequence[Determination],
    agree: bool | None,
) -> str:
    """Say how the determinations stand and what is done next."""
    count, wanted = len(counting), procedure.determinations
    if count < wanted:
        return f"{count} of {wanted} determinations. Divide and test {wanted - count} more."
    if wanted == 1 and count == 1:
        return "One determination, as the procedure asks."
    if agree is None:
        return f"{count} determinations; the procedure sets no limit on their range."
    if agree:
        return f"{count} determinations agree. Their mean is reported."
    return f"{_worst(compared)} {_what_follows(procedure, count)}"


def _worst(compared: Sequence[Compared]) -> str:
    apart = [each for each in compared if each.agrees is False and each.limit]
    worst = max(apart, key=lambda each: each.spread / (each.limit or 1))
    unit = "" if worst.name.replace(" ", "_").isidentifier() else " %"
    return (
        f"The determinations differ by {worst.spread:.2f}{unit} at {worst.name}, at most "
        f"{worst.limit:.2f}{unit}."
    )


def _what_follows(procedure: ProcedureVersion, count: int) -> str:
    most = _most(procedure)
    if procedure.on_disagreement == OnDisagreement.REPORT_ALL:
        return "Each is reported, with a word that they do not agree."
    if procedure.on_disagreement == OnDisagreement.FURTHER and count < most:
        return (
            f"Look for what differed; then divide and test a further portion "
            f"({count} of at most {most})."
        )
    return "The median is reported, with a word that they do not agree."
