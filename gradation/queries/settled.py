"""What stays as it is once a run uses it, kept for a moment beside the database.

A bench asks for its run after every reading, and each time the frozen versions behind it would be
read and put together again. They are for looking at: what is kept or handed over reads afresh.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from gradation.models import (
    Bench,
    Customer,
    Instrument,
    Material,
    ProcedureVersion,
    Run,
    RunInstrument,
    RunSieve,
    Shaking,
    Sieve,
    Source,
    SpecificationVersion,
    User,
    Weighing,
)

__all__ = ["attach_readings", "attach_settled", "forget_settled"]

Row = TypeVar("Row", bound=Model)
Found = TypeVar("Found")

#: A row is read again after so long [s], so that a renamed customer is not renamed for some only.
KEPT_S = 5.0
#: The sieves of a run, which change with its version only, but for their own state.
FRAME_KEPT_S = 30.0
#: What has run out is thrown away when more than this is kept.
MOST_KEPT = 500

_kept: dict[Hashable, tuple[float, Any]] = {}


@dataclass(frozen=True)
class _Frame:
    """What a run stands on, and how it was shaken."""

    places: tuple[RunSieve, ...]
    instruments: tuple[RunInstrument, ...]
    shakings: tuple[Shaking, ...]


def attach_settled(run: Run) -> None:
    """Give a run, read with its sample, what is settled of it, without asking again and again.

    Sieves and instruments of a run change with its version, and a shaking is only ever added, so
    that both together name what stands there.
    """
    sample = run.portion.sample
    run.bench = _settled(run.bench_id, Bench.objects.all)
    run.technician = _settled(run.technician_id, User.objects.all)
    if run.guard_sieve_id:
        run.guard_sieve = _settled(run.guard_sieve_id, Sieve.objects.all)
    shaken = run.shakings.order_by("-pk").values_list("pk", flat=True).first()
    frame = _remembered((Run, run.pk, run.version, shaken), FRAME_KEPT_S, lambda: _frame(run))
    for name in ("places", "instruments", "shakings"):
        _attach(run, name, getattr(frame, name))
    run.procedure_version = _settled(run.procedure_version_id, _procedures)
    if sample.specification_version_id:
        version = _settled(sample.specification_version_id, _specifications)
        sample.specification_version = version
    sample.material = _settled(sample.material_id, Material.objects.all)
    sample.customer = _settled(sample.customer_id, Customer.objects.all)
    if sample.source_id:
        sample.source = _settled(sample.source_id, Source.objects.all)


def forget_settled() -> None:
    """Read everything afresh from now on."""
    _kept.clear()


def _procedures() -> QuerySet[ProcedureVersion]:
    rows = ProcedureVersion.objects.select_related("procedure")
    return rows.prefetch_related("apertures")


def _specifications() -> QuerySet[SpecificationVersion]:
    rows = SpecificationVersion.objects.select_related("specification")
    return rows.prefetch_related("lines")


def attach_readings(run: Run, readings: Iterable[Weighing]) -> None:
    """Give a run the readings that its holder has read, with the balances they came from."""
    rows = list(readings)
    for row in rows:
        if row.balance_id:
            row.balance = _settled(row.balance_id, Instrument.objects.all)
    _attach(run, "weighings", rows)


def _attach(run: Run, name: str, rows: Iterable[Model]) -> None:
    """Let `run.<name>.all()` give rows at hand, as if they had been prefetched."""
    known = getattr(run, name).get_queryset()
    known._result_cache = list(rows)
    run.__dict__.setdefault("_prefetched_objects_cache", {})[name] = known


def _frame(run: Run) -> _Frame:
    return _Frame(
        tuple(run.places.select_related("sieve")),
        tuple(run.instruments.select_related("instrument")),
        tuple(run.shakings.select_related("shaker", "made_by")),
    )


def _settled(pk: int, rows: Callable[[], QuerySet[Row]]) -> Row:
    asked = rows()
    return _remembered((asked.model, pk), KEPT_S, lambda: asked.get(pk=pk))


def _remembered(key: Hashable, lasts_s: float, read: Callable[[], Found]) -> Found:
    now = time.monotonic()
    until, kept = _kept.get(key, (0.0, None))
    if now < until:
        found: Found = kept
        return found
    found = read()
    if len(_kept) >= MOST_KEPT:
        _forget_what_ran_out(now)
    _kept[key] = (now + lasts_s, found)
    return found


def _forget_what_ran_out(now: float) -> None:
    for key, (until, _) in list(_kept.items()):
        if until <= now:
            _kept.pop(key, None)
