"""Tares of a sieve: weighed alone and before runs, in one line of time, with their drift."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import F

from gradation.models import RunSieve, Sieve, Tare, Weighing

__all__ = ["TareReading", "UsesAt", "tares_of"]


@dataclass(frozen=True, slots=True)
class TareReading:
    """One empty mass of a sieve; changes are None for the first."""

    at: datetime
    tare_g: Decimal
    uses: int
    """Uses counted up to then."""
    where: str
    """'weighed alone', or the run it was weighed for."""
    person: str
    note: str = ""
    change_g: Decimal | None = None
    """Since the reading before."""
    drift_g: Decimal | None = None
    """Since the first reading."""


def tares_of(sieve: Sieve) -> tuple[TareReading, ...]:
    """Give every tare of a sieve, oldest first; of a corrected reading the last revision counts."""
    readings = sorted([*_alone(sieve), *_of_runs(sieve)], key=lambda one: one[0])
    count = UsesAt(sieve)
    found: list[TareReading] = []
    for at, tare_g, where, person, note in readings:
        found.append(
            TareReading(
                at=at,
                tare_g=tare_g,
                uses=count(at),
                where=where,
                person=person,
                note=note,
                change_g=tare_g - found[-1].tare_g if found else None,
                drift_g=tare_g - found[0].tare_g if found else None,
            )
        )
    return tuple(found)


_Row = tuple[datetime, Decimal, str, str, str]


def _alone(sieve: Sieve) -> Iterator[_Row]:
    for tare in Tare.objects.filter(sieve=sieve.pk).select_related("weighed_by"):
        yield tare.weighed_at, tare.tare_g, "weighed alone", str(tare.weighed_by), tare.note


def _of_runs(sieve: Sieve) -> Iterator[_Row]:
    rows = (
        Weighing.objects.filter(
            slot=Weighing.Slot.FRACTION,
            tare_g__isnull=False,
            run__places__sieve=sieve.pk,
            run__places__position=F("position"),
        )
        .select_related("made_by", "run__portion")
        .order_by("revision")
    )
    newest = {(row.run_id, row.increment): row for row in rows}
    for row in newest.values():
        if row.tare_g is not None:
            yield row.made_at, row.tare_g, str(row.run), str(row.made_by), row.reason


class UsesAt:
    """Counts the uses of a sieve up to a moment, from its runs and from what it brought along."""

    def __init__(self, sieve: Sieve) -> None:
        made = RunSieve.objects.filter(sieve=sieve.pk, run__weighed_at__isnull=False)
        moments = made.order_by("run__weighed_at").values_list("run__weighed_at", flat=True)
        self._moments: list[datetime] = [moment for moment in moments if moment is not None]
        self._before = max(0, sieve.use_count - len(self._moments))

    def __call__(self, moment: datetime) -> int:
        """Give the uses up to a moment, that moment included."""
        return self._before + bisect_right(self._moments, moment)

    def per_day(self, now: datetime, days: int) -> float:
        """Give the rate of use over the last days, or since first use if that is later."""
        start = now - timedelta(days=days)
        recent = self(now) - self(start)
        if not recent:
            return 0.0
        since = max(start, self._moments[0])
        return recent / max(1.0, (now - since) / timedelta(days=1))
