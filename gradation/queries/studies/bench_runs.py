"""What a comparison of benches needs of each run: curve, sieves as measured, shaking, division."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from django.db.models import Prefetch

from gradation.models import Check, Result, Run, RunSieve, Shaking, User
from gradation.queries.days import day_of_work, laboratory_zone
from gradation.queries.runs import runs_visible_to
from gradation.queries.shakings import settings_of
from gradation.queries.worksheets import rounding_of
from gradation.science.calculations.writing import plain
from gradation.science.rounding import Rounding
from gradation.science.shaker_settings import ShakerSettings

__all__ = ["BenchRun", "bench_runs"]


@dataclass(frozen=True)
class BenchRun:
    """One run, as it is compared."""

    key: int
    name: str
    sample: str
    bench: str
    technician: str
    curve: dict[float, float]
    """Share passing by aperture."""
    digest: str
    sieves: dict[float, str]
    measured_um: dict[float, float]
    """Mean aperture found by the last check before the run."""
    rounding: Rounding
    settings: ShakerSettings | None
    division: str

    def json(self) -> dict[str, Any]:
        """Give the run as it is frozen with the study."""
        return {
            "name": self.name,
            "bench": self.bench,
            "technician": self.technician,
            "inputs_digest": self.digest,
            "sieves": {f"{um:g}": serial for um, serial in self.sieves.items()},
            "settings": None if self.settings is None else plain(asdict(self.settings)),
            "division": self.division,
        }


def bench_runs(actor: User, keys: Sequence[int]) -> dict[int, BenchRun]:
    """Read the runs that may be seen, by their keys; a run without result has an empty curve."""
    results = Result.objects.order_by("-version").only("run_id", "curve", "inputs_digest")
    rows = (
        runs_visible_to(actor)
        .filter(pk__in=list(keys))
        .exclude(state=Run.State.INVALID)
        .prefetch_related(
            Prefetch("results", results),
            Prefetch("places", RunSieve.objects.select_related("sieve")),
            Prefetch("shakings", Shaking.objects.select_related("shaker")),
        )
    )
    runs = list(rows)
    checks = _checks({place.sieve_id for run in runs for place in run.places.all()})
    zone = laboratory_zone()
    return {run.pk: _run(run, checks, day_of_work(run, zone)) for run in runs}


def _checks(sieves: set[int | None]) -> list[Check]:
    return list(
        Check.objects.filter(
            equipment__in=[key for key in sieves if key],
            kind=Check.Kind.APERTURE,
            found_aperture_um__isnull=False,
        ).order_by("performed_on", "id")
    )


def _run(run: Run, checks: list[Check], day: date) -> BenchRun:
    result = next(iter(run.results.all()), None)
    places = [place for place in run.places.all() if place.sieve_id]
    latest = {
        check.equipment_id: float(check.found_aperture_um or 0)
        for check in checks
        if check.performed_on <= day
    }
    return BenchRun(
        key=run.pk,
        name=str(run),
        sample=run.portion.sample.number,
        bench=run.bench.name,
        technician=str(run.technician),
        curve=_curve(result),
        digest=result.inputs_digest if result else "",
        sieves={float(it.aperture_um): it.sieve.serial for it in places},
        measured_um={
            float(it.aperture_um): latest[it.sieve_id] for it in places if it.sieve_id in latest
        },
        rounding=rounding_of(run.procedure_version),
        settings=settings_of(run),
        division=run.portion.divided_how,
    )


def _curve(result: Result | None) -> dict[float, float]:
    if result is None:
        return {}
    return {float(um): float(pct) / 100 for um, pct in result.curve if pct is not None}
