"""How often each caller asks, counted over all worker processes through the database.

A worker counts by itself and tells the database now and then: after a twentieth of the limit, or
once ten seconds have passed. So a caller may pass the limit by a twentieth for each worker, and
most requests write nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock

from django.db import IntegrityError, transaction
from django.db.models import F

from gradation.models import InterfaceUse

__all__ = ["count_call", "forget_counts"]

_SHARE = 20
_TOLD_EVERY_S = 10
_MINUTES_KEPT = 10
_MOST_CALLERS = 10_000


@dataclass
class _Count:
    minute: int
    untold: int = 0
    known: int = 0
    told_at: float = 0.0


_counts: dict[str, _Count] = {}
_lock = Lock()


def count_call(caller: str, limit: int, now: float) -> int:
    """Count one call; give the seconds to wait when the caller is past the limit, else 0."""
    minute = int(now // 60)
    with _lock:
        count = _counts.get(caller)
        if count is None or count.minute != minute:
            count = _counts[caller] = _Count(minute, told_at=now)
            _drop_old(minute)
        count.untold += 1
        is_due = count.untold * _SHARE >= limit or now - count.told_at >= _TOLD_EVERY_S
        told = count.untold if is_due else 0
        count.untold -= told
        if is_due:
            count.told_at = now
    if told:
        known = _told(caller, minute, told)
        count.known = max(count.known, known)
    return 60 - int(now % 60) if count.known + count.untold > limit else 0


def _drop_old(minute: int) -> None:
    if len(_counts) > _MOST_CALLERS:
        for caller in [name for name, kept in _counts.items() if kept.minute != minute]:
            del _counts[caller]


def _told(caller: str, minute: int, calls: int) -> int:
    """Add calls to what the database counts, and give what all workers counted together."""
    rows = InterfaceUse.objects.filter(caller=caller, minute=minute)
    if not rows.update(calls=F("calls") + calls):
        try:
            with transaction.atomic():
                InterfaceUse(caller=caller, minute=minute, calls=calls).save(force_insert=True)
        except IntegrityError:  # another worker was first
            rows.update(calls=F("calls") + calls)
        InterfaceUse.objects.filter(caller=caller, minute__lt=minute - _MINUTES_KEPT).delete()
    return rows.values_list("calls", flat=True).first() or calls


def forget_counts() -> None:
    """Forget what this process counted; for a new process and for tests."""
    with _lock:
        _counts.clear()
