"""Many runs at once, as copies of one that went through the services: for series over time."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from gradation.models import Result, ResultFigure, Run, RunSieve, Sample, TestPortion
from tests import factories

FIRST = datetime(2026, 1, 5, 8, tzinfo=UTC)
#: SQLite takes so many values in one statement.
_AT_ONCE = 1000
_count = itertools.count(1)


def copy_of(row: Any, **changes: Any) -> Any:
    """Give a new row with another's values, but for those named."""
    values = {field.attname: getattr(row, field.attname) for field in type(row)._meta.fields}
    return type(row)(**{**values, "id": None, **changes})


def pattern_of(material: Any, **masses: Any) -> Run:
    """Make one accepted run of a material, to be copied."""
    return factories.make_accepted_run(sample=factories.make_sample(material=material), **masses)


def make_series(
    pattern: Run, figures: Mapping[str, Sequence[float]], *, per_sample: int = 1, **of_run: Any
) -> list[Run]:
    """Write a run an hour apart for each value of the figures; lists in `of_run` give each its own.

    `per_sample` runs in a row are determinations of one sample. `first` moves the beginning.
    """
    first = of_run.pop("first", FIRST)
    count = len(next(iter(figures.values())))
    start = next(_count)
    numbers = range(count)
    samples = Sample.objects.bulk_create(
        copy_of(pattern.portion.sample, number=f"M{start}-{n}")
        for n in numbers
        if n % per_sample == 0
    )
    portions = TestPortion.objects.bulk_create(
        copy_of(pattern.portion, sample_id=samples[n // per_sample].pk, label=f"M{start}-{n}")
        for n in numbers
    )
    own = [{name: _of(values, n) for name, values in of_run.items()} for n in numbers]
    runs = Run.objects.bulk_create(
        copy_of(pattern, portion_id=portions[n].pk, opened_at=first + timedelta(hours=n), **own[n])
        for n in numbers
    )
    _hang_on(pattern, runs, figures)
    return runs


def _of(values: Any, n: int) -> Any:
    return values[n] if isinstance(values, list) else values


def _hang_on(pattern: Run, runs: list[Run], figures: Mapping[str, Sequence[float]]) -> None:
    """Write the sieves, the result and the figures of each run."""
    RunSieve.objects.bulk_create(
        copy_of(place, run_id=run.pk, in_use=False)
        for run in runs
        for place in pattern.places.all()
    )
    frozen = pattern.results.get()
    results = Result.objects.bulk_create(
        copy_of(frozen, run_id=run.pk, inputs={}, values={}) for run in runs
    )
    ResultFigure.objects.bulk_create(
        (
            ResultFigure(
                result=result,
                run=run,
                material_id=pattern.portion.sample.material_id,
                procedure_id=pattern.procedure_version.procedure_id,
                name=name,
                value=float(values[n]),
                at_s=int(run.opened_at.timestamp()),
            )
            for n, (run, result) in enumerate(zip(runs, results, strict=True))
            for name, values in figures.items()
        ),
        batch_size=_AT_ONCE,
    )
