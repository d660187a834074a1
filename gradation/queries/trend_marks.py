"""What happened beside a series, from the records: new sieves, versions, failed checks, limits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from django.db.models import Min, QuerySet

from gradation.models import (
    Check,
    Equipment,
    FrozenLimits,
    ProcedureVersion,
    ResultFigure,
    Run,
    RunInstrument,
    Sieve,
)
from gradation.queries.figure_names import aperture_of
from gradation.queries.trend_series import Followed, RunSeries, Stretch, seconds_of

__all__ = ["Happened", "Mark", "marks_of"]


class Happened(StrEnum):
    """Kinds of marks."""

    SIEVE = "new sieve"
    VERSION = "new procedure version"
    CHECK = "check failed"
    LIMITS = "limits frozen"


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that may explain a change from this moment on."""

    at_s: int
    kind: Happened
    words: str


def marks_of(
    followed: Followed, runs: RunSeries, stretch: Stretch, frozen: list[FrozenLimits]
) -> list[Mark]:
    """List what happened within a series, in the order of time."""
    if not len(runs):
        return []
    first_uses = _first_uses(followed, runs)
    found = [
        *_versions(runs),
        *_sieves(first_uses, runs),
        *_failed_checks(followed, first_uses, runs, stretch),
        *_limits(runs, stretch, frozen),
    ]
    return sorted(found, key=lambda mark: (mark.at_s, mark.words))


def _versions(runs: RunSeries) -> Iterator[Mark]:
    """Mark the first run of each procedure version but the first."""
    keys, first = np.unique(runs.version_id, return_index=True)
    later = {int(key): int(place) for key, place in zip(keys, first, strict=True) if place}
    if not later:
        return
    for version in ProcedureVersion.objects.filter(pk__in=later).select_related("procedure"):
        yield Mark(int(runs.at_s[later[version.pk]]), Happened.VERSION, str(version))


def _first_uses(followed: Followed, runs: RunSeries) -> dict[int, int]:
    """Give the sieves a series was made with, each with the moment of its first run.

    Of a passing it is the sieve at that aperture; of a value from the whole curve, every sieve.
    """
    if aperture_of(followed.characteristic) is not None:
        keys, first = np.unique(runs.sieve_id, return_index=True)
        found = zip(keys.tolist(), runs.at_s[first].tolist(), strict=True)
        return {key: at_s for key, at_s in found if key}
    firsts = _figures(followed, runs).values_list("run__places__sieve_id").order_by()
    return {key: at_s for key, at_s in firsts.annotate(Min("at_s")) if key is not None}


def _figures(followed: Followed, runs: RunSeries) -> QuerySet[ResultFigure]:
    """Give the rows of the series again, to join further tables with."""
    rows = ResultFigure.objects.filter(
        name=followed.characteristic, at_s__gte=int(runs.at_s[0]), at_s__lte=int(runs.at_s[-1])
    ).exclude(run__state=Run.State.INVALID)
    if followed.material_id is not None:
        rows = rows.filter(material=followed.material_id)
    if followed.procedure_id is not None:
        rows = rows.filter(procedure=followed.procedure_id)
    if followed.group_column and len(runs.groups) == 1:
        rows = rows.filter(**{followed.group_column: runs.groups[0] or None})
    return rows


def _sieves(first_uses: dict[int, int], runs: RunSeries) -> Iterator[Mark]:
    """Mark the first use of each sieve at its place, but of those the series began with."""
    later = {key for key, at_s in first_uses.items() if at_s > runs.at_s[0]}
    for sieve in Sieve.objects.filter(pk__in=later) if later else ():
        yield Mark(first_uses[sieve.pk], Happened.SIEVE, str(sieve))


def _failed_checks(
    followed: Followed, first_uses: dict[int, int], runs: RunSeries, stretch: Stretch
) -> Iterator[Mark]:
    """Mark the failed checks of sieves and instruments that the series was made with."""
    days = [datetime.fromtimestamp(int(at), stretch.zone).date() for at in runs.at_s[[0, -1]]]
    failed = list(
        Check.objects.filter(passed=False, performed_on__range=days).select_related("equipment")
    )
    instruments = {
        check.equipment_id for check in failed if check.equipment.kind != Equipment.Kind.SIEVE
    }
    used = {*first_uses, *_used_instruments(followed, runs, instruments)}
    for check in failed:
        if check.equipment_id in used:
            at_s = max(seconds_of(check.performed_on, stretch.zone), int(runs.at_s[0]))
            yield Mark(at_s, Happened.CHECK, f"{check.equipment}: {check.kind}")


def _used_instruments(followed: Followed, runs: RunSeries, candidates: set[int]) -> Iterable[int]:
    """Say which of some instruments stood beside the series."""
    if not candidates:
        return ()
    rows = RunInstrument.objects.filter(
        instrument__in=candidates, run__in=_figures(followed, runs).values("run_id")
    )
    return rows.values_list("instrument_id", flat=True).distinct().order_by()


def _limits(runs: RunSeries, stretch: Stretch, frozen: list[FrozenLimits]) -> Iterator[Mark]:
    last = None if stretch.until is None else seconds_of(stretch.until, stretch.zone)
    for limits in frozen:
        at_s = int(limits.frozen_at.timestamp())
        if runs.at_s[0] <= at_s and (last is None or at_s < last):
            first, last_day = limits.base_from, limits.base_to
            words = f"base {first.day} {first:%b %Y} to {last_day.day} {last_day:%b %Y}"
            yield Mark(at_s, Happened.LIMITS, words)
