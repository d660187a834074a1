"""Wear of a sieve: trends of aperture and tare with their forecast, and sieves out of line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from gradation.models import Check, Result, Run, RunSieve, Sieve
from gradation.queries.sieve_limits import sieve_limits
from gradation.queries.tares import UsesAt, tares_of
from gradation.science.departures import Compared, Departure, departure
from gradation.science.errors import GradationError
from gradation.science.wear import (
    DateForecast,
    WearForecast,
    WearLimits,
    WearTrend,
    forecast_dates,
    forecast_uses,
    wear_trend,
)

__all__ = ["Point", "Suspect", "Suspects", "Trend", "Wear", "suspect_sieves", "wear_of"]

RATE_DAYS = 365  # uses a day are counted over the last year
SIGNIFICANCE = 0.05  # shared out over all sieves looked at (Bonferroni); common practice


@dataclass(frozen=True, slots=True)
class Point:
    """One value found after so many uses."""

    on: date
    uses: int
    value: float
    standard: float | None = None


@dataclass(frozen=True)
class Trend:
    """One quantity of a sieve against its uses; where something lacks, `why` says what."""

    what: str
    unit: str
    points: tuple[Point, ...]
    limits: WearLimits
    line: WearTrend | None = None
    forecast: WearForecast | None = None
    dates: DateForecast | None = None
    why: str = ""


@dataclass(frozen=True)
class Wear:
    """The trends of a sieve."""

    sieve: Sieve
    uses_now: int
    uses_per_day: float
    trends: tuple[Trend, ...]


def wear_of(sieve: Sieve, now: datetime, *, tare_limits: WearLimits | None = None) -> Wear:
    """Give the trends of measured aperture, effective aperture and tare, each on its own.

    Apertures measured and those told by a reference material differ by method, so they are never
    joined to one line. `tare_limits` [g] are the laboratory's, where it has any.
    """
    count = UsesAt(sieve)
    uses_now, rate = max(sieve.use_count, count(now)), count.per_day(now, RATE_DAYS)
    limits, missing = _aperture_limits(sieve)
    by_kind: dict[str, list[Point]] = defaultdict(list)
    for check in Check.objects.filter(equipment=sieve.pk, found_aperture_um__isnull=False):
        by_kind[check.kind].append(_point(check))
    measured, effective = (
        _Series(what, "µm", by_kind[kind], limits, missing) for what, kind in _APERTURES.items()
    )
    tares = [
        Point(timezone.localdate(one.at), one.uses, float(one.tare_g)) for one in tares_of(sieve)
    ]
    own = tare_limits or WearLimits(None, None, "g")
    tare = _Series("tare", "g", tares, own, "" if tare_limits else _NO_TARE_LIMIT)
    trends = tuple(
        each.trend(uses_now, rate, timezone.localdate(now)) for each in (measured, effective, tare)
    )
    return Wear(sieve, uses_now, rate, trends)


_APERTURES = {
    "mean aperture measured": Check.Kind.APERTURE.value,
    "effective aperture by reference material": Check.Kind.REFERENCE.value,
}
_NO_TARE_LIMIT = "No limit is set for the tare, so no date is forecast."


def _point(check: Check) -> Point:
    standard = None if check.found_u_um is None else float(check.found_u_um)
    found = float(check.found_aperture_um or 0)
    return Point(check.performed_on, check.uses_at_check, found, standard)


def _aperture_limits(sieve: Sieve) -> tuple[WearLimits, str]:
    """Give nominal aperture -+ Y of the sieve's edition, or why there is no such limit."""
    try:
        allowed = sieve_limits(sieve)
    except GradationError as refusal:
        return WearLimits(None, None), str(refusal)
    nominal, y = allowed.nominal_um, allowed.mean_y_um
    return WearLimits(nominal - y, nominal + y), ""


@dataclass(frozen=True)
class _Series:
    """The values of one quantity before a line is laid through them."""

    what: str
    unit: str
    points: Sequence[Point]
    limits: WearLimits
    missing: str

    def trend(self, uses_now: int, rate: float, today: date) -> Trend:
        """Lay the line, and forecast where there is a limit and a rate of use."""
        points = tuple(sorted(self.points, key=lambda one: (one.on, one.uses)))
        bare = Trend(self.what, self.unit, points, self.limits)
        try:
            line = wear_trend([one.uses for one in points], [one.value for one in points])
        except GradationError as refusal:
            return replace(bare, why=str(refusal))
        if self.limits.lower is None and self.limits.upper is None:
            return replace(bare, line=line, why=self.missing)
        forecast = forecast_uses(line, self.limits, float(uses_now))
        if rate <= 0:
            return replace(bare, line=line, forecast=forecast, why=_UNUSED)
        dates = forecast_dates(forecast, float(uses_now), today, rate)
        return replace(bare, line=line, forecast=forecast, dates=dates)


_UNUSED = "The sieve was not used within a year, so uses cannot be turned into a date."


@dataclass(frozen=True, slots=True)
class Suspect:
    """One sieve against its sisters of the same opening; `departure` None where too few runs."""

    sieve: Sieve
    departure: Departure | None
    stands_out: bool
    why: str = ""


@dataclass(frozen=True)
class Suspects:
    """All sieves looked at, the most suspect first, and the p below which one stands out."""

    since: date
    rows: tuple[Suspect, ...]
    compared: int
    p_limit: float


def suspect_sieves(since: datetime, *, aperture_um: Decimal | None = None) -> Suspects:
    """Compare each sieve's accepted runs with those of its sisters on the same materials.

    Sisters have the same opening, shape and cloth; the same material is sieved by the same
    procedure. Passing at the sieve's own opening is compared [%]. Three queries, whatever the
    number of runs.
    """
    results = _accepted_results(since)
    sieves, passing = _passing_by_sieve(since, results, aperture_um)
    rows = [_suspect(sieve, passing, sieves) for sieve in sieves.values()]
    compared = sum(row.departure is not None for row in rows)
    limit = SIGNIFICANCE / max(1, compared)
    judged = [replace(row, stands_out=_is_out(row, limit)) for row in rows]
    judged.sort(key=_most_suspect)
    return Suspects(since.date(), tuple(judged), compared, limit)


_Material = tuple[int, int]
_Passing = dict[int, dict[_Material, list[float]]]


@dataclass(frozen=True, slots=True)
class _Accepted:
    material: _Material
    passing_pct: Mapping[float, float]


def _accepted_results(since: datetime) -> dict[int, _Accepted]:
    rows = (
        Result.objects.filter(run__state=Run.State.ACCEPTED, run__opened_at__gte=since)
        .order_by("version")
        .values_list(
            "run_id", "curve", "run__portion__sample__material_id",
            "run__procedure_version__procedure_id",
        )
    )  # fmt: skip
    return {
        run_id: _Accepted((material, procedure), {float(size): share for size, share in curve})
        for run_id, curve, material, procedure in rows
    }


def _passing_by_sieve(
    since: datetime, results: Mapping[int, _Accepted], aperture_um: Decimal | None
) -> tuple[dict[int, Sieve], _Passing]:
    """Sort the passing at each sieve's own opening by sieve and material."""
    places = RunSieve.objects.filter(run__state=Run.State.ACCEPTED, run__opened_at__gte=since)
    if aperture_um is not None:
        places = places.filter(aperture_um=aperture_um)
    passing: _Passing = defaultdict(lambda: defaultdict(list))
    for run_id, sieve_id, size in places.values_list("run_id", "sieve_id", "aperture_um"):
        result = results.get(run_id)
        share = result.passing_pct.get(float(size)) if result else None
        if result is not None and share is not None:
            passing[sieve_id][result.material].append(share)
    return Sieve.objects.in_bulk(list(passing)), passing


def _suspect(sieve: Sieve, passing: _Passing, sieves: Mapping[int, Sieve]) -> Suspect:
    sisters = [key for key, other in sieves.items() if key != sieve.pk and _alike(sieve, other)]
    materials = [
        Compared(own, [share for key in sisters for share in passing[key].get(material, ())])
        for material, own in passing[sieve.pk].items()
    ]
    try:
        return Suspect(sieve, departure(materials), stands_out=False)
    except GradationError as refusal:
        return Suspect(sieve, None, stands_out=False, why=str(refusal))


def _alike(one: Sieve, other: Sieve) -> bool:
    return (one.aperture_um, one.shape, one.medium) == (
        other.aperture_um, other.shape, other.medium,
    )  # fmt: skip


def _is_out(row: Suspect, limit: float) -> bool:
    return row.departure is not None and row.departure.p < limit


def _most_suspect(row: Suspect) -> tuple[float, float, str]:
    if row.departure is None:
        return 2.0, 0.0, row.sieve.serial
    return row.departure.p, -abs(row.departure.z), row.sieve.serial
