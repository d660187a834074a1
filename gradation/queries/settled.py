"""What stays as it is once a run uses it, kept for a moment beside the database.

A bench asks for its run after every reading, and each time the frozen versions behind it would be
read and put together again. They are for looking at: what is kept or handed over reads afresh.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db.models import Exists, Model, OuterRef, QuerySet, Subquery

from gradation.models import (
    Bench,
    Customer,
    Drying,
    Instrument,
    Laboratory,
    Material,
    ProcedureVersion,
    Run,
    RunCheckPolicy,
    RunInstrument,
    RunSieve,
    Shaking,
    Sieve,
    Source,
    SpecificationVersion,
    User,
    Weighing,
)

__all__ = [
    "attach_frame",
    "attach_readings",
    "attach_settled",
    "forget_settled",
    "settled",
    "settled_choices",
    "settled_laboratory",
    "was_dried",
]

Row = TypeVar("Row", bound=Model)
Found = TypeVar("Found")

#: A row is read again after so long [s], so that a renamed customer is not renamed for some only.
KEPT_S = 30.0
#: The sieves of a run, which change with its version only, but for their own state [s].
FRAME_KEPT_S = 60.0
#: Versions of procedures and specifications: what a run uses of them is frozen [s].
FROZEN_KEPT_S = 300.0
#: What has run out is thrown away when more than this is kept.
MOST_KEPT = 500

_WAS_DRIED = "_was_dried"

_kept: dict[Hashable, tuple[float, Any]] = {}


@dataclass(frozen=True)
class _Frame:
    """What a run stands on, and how it was shaken."""

    places: tuple[RunSieve, ...]
    instruments: tuple[RunInstrument, ...]
    shakings: tuple[Shaking, ...]


def attach_settled(run: Run) -> None:
    """Give a run, read with its sample, what is settled of it, without asking again and again."""
    sample = run.portion.sample
    run.bench = _settled(run.bench_id, Bench.objects.all)
    run.technician = _settled(run.technician_id, User.objects.all)
    if run.guard_sieve_id:
        run.guard_sieve = _settled(run.guard_sieve_id, Sieve.objects.all)
    if not _has(run, "shakings"):
        attach_frame(run)
    run.procedure_version = _settled(run.procedure_version_id, _procedures, FROZEN_KEPT_S)
    if sample.specification_version_id:
        version = _settled(sample.specification_version_id, _specifications, FROZEN_KEPT_S)
        sample.specification_version = version
    sample.material = _settled(sample.material_id, Material.objects.all)
    sample.customer = _settled(sample.customer_id, Customer.objects.all)
    if sample.source_id:
        sample.source = _settled(sample.source_id, Source.objects.all)


def attach_frame(run: Run) -> None:
    """Give a run what it stands on and how it was shaken.

    Sieves and instruments of a run change with its version, and a shaking is only ever added, so
    that both together name what stands there: who holds the run's row reads what is true.
    """
    shaken, dried = _marks(run)
    frame = _remembered((Run, run.pk, run.version, shaken), FRAME_KEPT_S, lambda: _frame(run))
    for name in ("places", "instruments", "shakings"):
        _attach(run, name, getattr(frame, name))
    run.__dict__[_WAS_DRIED] = dried


def was_dried(run: Run) -> bool:
    """Say whether the portion of a run, or the one it was divided from, has a drying on record."""
    known: bool | None = run.__dict__.get(_WAS_DRIED)
    return _marks(run)[1] if known is None else known


def _marks(run: Run) -> tuple[int | None, bool]:
    """Give the newest shaking of a run, and whether its portion has a drying, in one query."""
    concerned = [key for key in (run.portion_id, run.portion.parent_id) if key is not None]
    dryings = Drying.objects.filter(portion__in=concerned)
    newest = Shaking.objects.filter(run=OuterRef("pk")).order_by("-pk").values("pk")[:1]
    marks = Run.objects.filter(pk=run.pk).values_list(Subquery(newest), Exists(dryings))
    found: tuple[int | None, bool] = marks.order_by().get()
    return found


def settled_laboratory() -> Laboratory | None:
    """Give the laboratory as of a moment ago, once it is set up."""
    return _remembered((Laboratory,), KEPT_S, Laboratory.objects.first)


def settled_choices() -> tuple[RunCheckPolicy, ...]:
    """Give what the laboratory has chosen for its checks of runs, as of a moment ago."""
    return _remembered((RunCheckPolicy,), KEPT_S, lambda: tuple(RunCheckPolicy.objects.all()))


def settled(key: Hashable, read: Callable[[], Found]) -> Found:
    """Give what somebody looks up at every reading, as of a moment ago; `key` tells it apart."""
    return _remembered(key, KEPT_S, read)


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
    """Give a run the readings that its holder has read, with their makers and balances."""
    rows = list(readings)
    for row in rows:
        row.made_by = _settled(row.made_by_id, User.objects.all)
        if row.balance_id:
            row.balance = _settled(row.balance_id, Instrument.objects.all)
    _attach(run, "weighings", rows)


def _attach(run: Run, name: str, rows: Iterable[Model]) -> None:
    """Let `run.<name>.all()` give rows at hand, as if they had been prefetched."""
    known = getattr(run, name).get_queryset()
    known._result_cache = list(rows)
    run.__dict__.setdefault("_prefetched_objects_cache", {})[name] = known


def _has(run: Run, name: str) -> bool:
    return name in getattr(run, "_prefetched_objects_cache", {})


def _frame(run: Run) -> _Frame:
    return _Frame(
        tuple(run.places.select_related("sieve")),
        tuple(run.instruments.select_related("instrument")),
        tuple(run.shakings.select_related("shaker", "made_by")),
    )


def _settled(pk: int, rows: Callable[[], QuerySet[Row]], lasts_s: float = KEPT_S) -> Row:
    asked = rows()
    return _remembered((asked.model, pk), lasts_s, lambda: asked.get(pk=pk))


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
