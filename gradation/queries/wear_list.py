"""All sieves by when wear takes them to their limit: one list, few queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import Count, Max
from django.utils import timezone

from gradation.models import Check, RunSieve, Sieve
from gradation.queries.sieve_limits import sieve_limits
from gradation.queries.wear import RATE_DAYS
from gradation.science.errors import GradationError
from gradation.science.wear import (
    DateForecast,
    WearForecast,
    WearLimits,
    forecast_dates,
    forecast_uses,
    wear_trend,
)

__all__ = ["WornSieve", "worn_sieves"]

#: A day beyond this is a line drawn too far, and is not named (common practice).
FAR = timedelta(days=3652)


@dataclass(frozen=True)
class WornSieve:
    """One sieve's measured mean aperture against its limits, and where its trend leads."""

    sieve: Sieve
    checks: int
    found_um: float
    found_on: date
    limits: WearLimits | None
    forecast: WearForecast | None = None
    dates: DateForecast | None = None
    why: str = ""
    is_far: bool = False

    @property
    def deviation_pct(self) -> float:
        """Give how far the mean last found is from nominal [%]."""
        nominal_um = float(self.sieve.aperture_um)
        return (self.found_um - nominal_um) / nominal_um * 100

    @property
    def used_up_pct(self) -> float | None:
        """Give how much of the permitted deviation the last mean has used up [%]."""
        if self.limits is None or self.limits.upper is None:
            return None
        nominal_um = float(self.sieve.aperture_um)
        return abs(self.found_um - nominal_um) / (self.limits.upper - nominal_um) * 100


def worn_sieves(now: datetime) -> list[WornSieve]:
    """List the sieves not withdrawn whose apertures were measured, the soonest worn out first.

    Uses a day are counted over the last year. Two queries, whatever the number of sieves.
    """
    measured: dict[int, list[Check]] = defaultdict(list)
    sieves: dict[int, Sieve] = {}
    checks = Check.objects.filter(
        kind=Check.Kind.APERTURE, found_aperture_um__isnull=False
    ).exclude(equipment__state=Sieve.State.WITHDRAWN)
    for check in checks.select_related("equipment__sieve").order_by("performed_on", "pk"):
        sieve = check.equipment.sieve
        sieves[sieve.pk] = sieve
        measured[sieve.pk].append(check)
    rates = _uses_per_day(now)
    rows = [
        _worn(sieves[key], found, rates, timezone.localdate(now)) for key, found in measured.items()
    ]
    return sorted(rows, key=_soonest)


def _uses_per_day(now: datetime) -> Mapping[int, float]:
    """Give the rate of use of each sieve used in the last year, new ones since their first run."""
    start = now - timedelta(days=RATE_DAYS)
    rows = (
        RunSieve.objects.filter(run__weighed_at__gt=start, run__weighed_at__lte=now)
        .values("sieve_id")
        .annotate(uses=Count("pk"), since=Max("sieve__in_service_since"))
    )
    return {
        row["sieve_id"]: row["uses"]
        / _days_in_use(row["since"], timezone.localdate(start), timezone.localdate(now))
        for row in rows
    }


def _days_in_use(since: date | None, start: date, today: date) -> int:
    return max(1, (today - max(since or start, start)).days)


def _worn(
    sieve: Sieve, checks: Sequence[Check], rates: Mapping[int, float], today: date
) -> WornSieve:
    last, limits = checks[-1], _limits(sieve)
    row = WornSieve(
        sieve, len(checks), float(last.found_aperture_um or 0), last.performed_on, limits
    )
    if limits is None:
        return replace(row, why="No table holds its limits.")
    try:
        line = wear_trend(
            [check.uses_at_check for check in checks],
            [float(check.found_aperture_um or 0) for check in checks],
        )
    except GradationError as refusal:
        return replace(row, why=str(refusal))
    forecast = forecast_uses(line, limits, float(sieve.use_count))
    rate = rates.get(sieve.pk, 0.0)
    if rate <= 0:
        return replace(row, forecast=forecast, why="Not used within a year.")
    dates = forecast_dates(forecast, float(sieve.use_count), today, rate)
    is_far = dates.expected is not None and dates.expected > today + FAR
    return replace(row, forecast=forecast, dates=dates, is_far=is_far)


def _limits(sieve: Sieve) -> WearLimits | None:
    try:
        allowed = sieve_limits(sieve)
    except GradationError:
        return None
    nominal_um, y_um = allowed.nominal_um, allowed.mean_y_um
    return WearLimits(nominal_um - y_um, nominal_um + y_um)


def _soonest(row: WornSieve) -> tuple[date, float, str]:
    expected = row.dates.expected if row.dates else None
    return expected or date.max, -(row.used_up_pct or 0.0), row.sieve.serial
