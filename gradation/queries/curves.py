"""Curves from the frozen results: of a run, of a sample's determinations, of a material."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from typing import Any

import numpy as np
from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from gradation.errors import Invalid
from gradation.models import Material, ProcedureVersion, Result, Run, Sample, User
from gradation.queries.curve_picks import Pick, PickKind
from gradation.queries.runs import runs_visible_to
from gradation.queries.samples import samples_visible_to
from gradation.queries.worksheets import rounding_of
from gradation.science.apertures import designation
from gradation.science.errors import GradationError
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import Rounding, reported_passing
from gradation.science.side_by_side import CurveGroup, MeanCurve, mean_curve

__all__ = ["PickedCurve", "picked_curves"]

_MOST_NAMED = 12


@dataclass(frozen=True)
class PickedCurve:
    """One curve with what it rests on."""

    pick: Pick
    label: str
    detail: str
    group: CurveGroup
    rounding: Rounding
    reported: dict[float, str]
    """Passing as reported [%] at its own sieves."""
    deviation_pct: dict[float, float] = field(default_factory=dict)
    runs: tuple[str, ...] = ()
    """Names of the runs, the newest first; shortened for long means."""
    count: int = 1
    digests: tuple[str, ...] = ()
    """Digests of the inputs of the results used, for means of few runs."""
    notes: tuple[str, ...] = ()

    @property
    def passing(self) -> list[float]:
        """Give the shares passing at its own sieves, coarse to fine."""
        shares: list[float] = self.group.passing[0].tolist()
        return shares

    def written(self, aperture_um: float, share: float) -> str:
        """Write a passing of this curve as reported, or rounded by the same rule elsewhere."""
        own = self.reported.get(aperture_um)
        return own or f"{reported_passing(100 * share, self.rounding, aperture_um):f}"


@dataclass(frozen=True)
class _Row:
    """What a mean needs of one result."""

    run: str
    apertures_um: tuple[float, ...]
    passing: tuple[float, ...]
    interpolation: str
    digest: str
    procedure_version: int


def picked_curves(actor: User, picks: Sequence[Pick]) -> list[PickedCurve | Invalid]:
    """Give the curve of every pick, or in its place the refusal that says why there is none.

    Runs and samples are read together, so that many cost no more than one.
    """
    runs = _runs(actor, [int(p.key) for p in picks if p.kind is PickKind.RUN])
    samples = _samples(actor, [p.key for p in picks if p.kind is PickKind.SAMPLE])
    return [_curve(actor, pick, runs, samples) for pick in picks]


def _curve(
    actor: User, pick: Pick, runs: dict[str, Run], samples: dict[str, Sample]
) -> PickedCurve | Invalid:
    try:
        if pick.kind is PickKind.RUN:
            return _of_run(pick, runs.get(pick.key))
        if pick.kind is PickKind.SAMPLE:
            return _of_sample(pick, samples.get(pick.key))
        return _of_material(actor, pick)
    except Invalid as refusal:
        return refusal
    except GradationError as error:
        return _none(pick, str(error), "no-curve")


def _none(pick: Pick, sentence: str, code: str = "unknown-curve") -> Invalid:
    return Invalid.one(pick.token, sentence, code=code)


_RESULTS = Result.objects.order_by("-version").only(
    "run_id", "version", "values", "curve", "inputs_digest"
)


def _runs(actor: User, keys: list[int]) -> dict[str, Run]:
    if not keys:
        return {}
    rows = runs_visible_to(actor).filter(pk__in=keys)
    return {str(run.pk): run for run in rows.prefetch_related(Prefetch("results", _RESULTS))}


def _samples(actor: User, numbers: list[str]) -> dict[str, Sample]:
    if not numbers:
        return {}
    runs = (
        Run.objects.filter(state__in=[Run.State.ACCEPTED, Run.State.WEIGHED], counts=True)
        .select_related("procedure_version", "portion")
        .prefetch_related(Prefetch("results", _RESULTS))
        .order_by("-pk")
    )
    rows = samples_visible_to(actor).filter(number__in=numbers)
    return {s.number: s for s in rows.prefetch_related(Prefetch("portions__runs", runs))}


def _of_run(pick: Pick, run: Run | None) -> PickedCurve:
    if run is None:
        raise _none(pick, f"There is no run {pick.key}. Take it from the list, or type its number.")
    result = next(iter(run.results.all()), None)
    row = None if result is None else _row(run, result)
    if result is None or row is None:
        msg = f"Run {run} has no result yet. Hand it over for review, then compare it."
        raise _none(pick, msg, "no-result")
    sample = run.portion.sample
    state = "" if run.state == Run.State.ACCEPTED else f", {run.state}"
    return PickedCurve(
        pick=pick,
        label=f"Run {run}",
        detail=f"{sample.material.name}, {_day(run.opened_at)}{state}",
        group=CurveGroup.single(row.apertures_um, row.passing, Interpolation(row.interpolation)),
        rounding=rounding_of(run.procedure_version),
        reported=_reported(result),
        runs=(str(run),),
        digests=(row.digest,),
    )


def _of_sample(pick: Pick, sample: Sample | None) -> PickedCurve:
    if sample is None:
        raise _none(pick, f"There is no sample {pick.key}. Check the number on the label.")
    runs = [run for portion in sample.portions.all() for run in portion.runs.all()]
    held = [(run, run.results.all()[0]) for run in runs if run.results.all()]
    rows = [row for run, result in held if (row := _row(run, result)) is not None]
    if not rows:
        msg = f"Sample {sample} has no result yet. Hand a run over for review, then compare it."
        raise _none(pick, msg, "no-result")
    waiting = sum(run.state != Run.State.ACCEPTED for run, _ in held)
    notes = (f"Not reviewed yet: {waiting} of {len(held)} runs.",) if waiting else ()
    named = f"Sample {sample}" + (f", mean of {len(rows)}" if len(rows) > 1 else "")
    curve = _mean(pick, named, rows, held[0][0].procedure_version)
    of_one = _reported(held[0][1]) if len(rows) == 1 else curve.reported
    detail = f"{sample.material.name}, received {_day(sample.received_at)}"
    return replace(curve, detail=detail, reported=of_one, notes=(*curve.notes, *notes))


def _of_material(actor: User, pick: Pick) -> PickedCurve:
    material = Material.objects.filter(pk=int(pick.key)).first()
    if material is None:
        raise _none(pick, f"There is no material {pick.key}. Choose one of the list.")
    rows = _rows_of_material(actor, pick)
    if not rows:
        when = _period_words(pick)
        msg = f"{material.name} has no accepted run{when}. Choose a material that was tested."
        raise _none(pick, msg, "no-result")
    procedure = ProcedureVersion.objects.get(pk=rows[0].procedure_version)
    runs = "1 run" if len(rows) == 1 else f"{len(rows)} runs"
    which = "latest " if pick.kind is PickKind.LATEST else ""
    curve = _mean(pick, f"{material.name}, mean of {which}{runs}", rows, procedure)
    return replace(curve, detail=_mean_words(pick, len(rows)))


def _mean_words(pick: Pick, count: int) -> str:
    if pick.kind is PickKind.PERIOD:
        return f"accepted runs{_period_words(pick)}"
    short = f", {pick.count} were asked for" if count < pick.count else ""
    return f"accepted runs, the newest first{short}"


def _period_words(pick: Pick) -> str:
    if pick.first is None or pick.last is None:
        return ""
    return f" opened {_day(pick.first)} to {_day(pick.last)}"


def _rows_of_material(actor: User, pick: Pick) -> list[_Row]:
    """Give the newest result of each accepted run that counts, the newest run first."""
    runs = Run.objects.filter(
        portion__sample__in=samples_visible_to(actor).filter(material=int(pick.key)),
        state=Run.State.ACCEPTED,
        counts=True,
    )
    if pick.first is not None and pick.last is not None:
        begins, ends = (_moment(pick.first, time.min), _moment(pick.last, time.max))
        runs = runs.filter(opened_at__gte=begins, opened_at__lte=ends)
    results = Result.objects.filter(run__in=runs)
    if pick.kind is PickKind.LATEST:
        keys = list(runs.order_by("-opened_at", "-pk").values_list("pk", flat=True)[: pick.count])
        results = Result.objects.filter(run__in=keys)
    return _newest(results)


def _newest(results: QuerySet[Result]) -> list[_Row]:
    found: dict[int, _Row] = {}
    rows = results.order_by("-run__opened_at", "-run", "-version").values_list(
        "run_id",
        "run__portion__label",
        "run__determination",
        "curve",
        "run__procedure_version__interpolation",
        "inputs_digest",
        "run__procedure_version_id",
    )
    for run, label, determination, curve, interpolation, digest, procedure in rows.iterator():
        points = _points(curve)
        if run not in found and points:
            name = f"{label}/{determination}"
            found[run] = _Row(name, *points, interpolation, digest, procedure)
    return list(found.values())


def _row(run: Run, result: Result) -> _Row | None:
    points = _points(result.curve or _from_values(result.values))
    if points is None:
        return None
    procedure = run.procedure_version
    return _Row(str(run), *points, procedure.interpolation, result.inputs_digest, procedure.pk)


def _from_values(values: dict[str, Any]) -> list[list[float]]:
    return [[row["aperture_um"], row["passing_pct"]] for row in values.get("table", ())]


def _points(
    curve: Iterable[Sequence[float | None]],
) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Give apertures [µm] and shares passing, coarse to fine; None when nothing is known."""
    known = [(float(size), float(share)) for size, share in curve if size and share is not None]
    if not known:
        return None
    sizes, percents = zip(*sorted(known, reverse=True), strict=True)
    return tuple(sizes), tuple(min(1.0, max(0.0, each / 100)) for each in percents)


def _mean(pick: Pick, label: str, rows: Sequence[_Row], procedure: ProcedureVersion) -> PickedCurve:
    mean = mean_curve(_groups(rows))
    rounding, shares = rounding_of(procedure), mean.passing.tolist()
    pairs = list(zip(mean.apertures_um, shares, strict=True))
    return PickedCurve(
        pick=pick,
        label=label,
        detail="",
        group=CurveGroup.single(mean.apertures_um, shares, Interpolation(rows[0].interpolation)),
        rounding=rounding,
        reported={um: f"{reported_passing(100 * share, rounding, um):f}" for um, share in pairs},
        deviation_pct=_deviations(mean),
        runs=tuple(row.run for row in rows[:_MOST_NAMED]),
        count=mean.count,
        digests=tuple(row.digest for row in rows) if len(rows) <= _MOST_NAMED else (),
        notes=tuple(_mean_notes(mean)),
    )


def _groups(rows: Iterable[_Row]) -> list[CurveGroup]:
    by_nest: dict[tuple[tuple[float, ...], str], list[tuple[float, ...]]] = defaultdict(list)
    for row in rows:
        by_nest[(row.apertures_um, row.interpolation)].append(row.passing)
    return [
        CurveGroup(nest, np.array(curves, dtype=np.float64), Interpolation(rule))
        for (nest, rule), curves in by_nest.items()
    ]


def _deviations(mean: MeanCurve) -> dict[float, float]:
    if mean.count < 2:
        return {}
    return {
        um: 100 * float(each) for um, each in zip(mean.apertures_um, mean.deviation, strict=True)
    }


def _mean_notes(mean: MeanCurve) -> Iterable[str]:
    if mean.left_out_um:
        sizes = ", ".join(designation(size) for size in mean.left_out_um)
        yield f"Not every run knows its passing at {sizes}; left out of the mean."
    read = [
        um
        for um, measured in zip(mean.apertures_um, mean.measured, strict=True)
        if measured < mean.count
    ]
    if read:
        sizes = ", ".join(designation(size) for size in read)
        yield f"Runs of another nest were read between their sieves at {sizes}."


def _reported(result: Result) -> dict[float, str]:
    return {
        float(row["aperture_um"]): str(row["passing_reported"])
        for row in result.values.get("table", ())
        if row.get("passing_reported") is not None
    }


def _day(moment: datetime | date) -> str:
    local = timezone.localtime(moment) if isinstance(moment, datetime) else moment
    return f"{local.day} {local:%b %Y}"


def _moment(day: date, clock: time) -> datetime:
    return timezone.make_aware(datetime.combine(day, clock))
