"""Numbers that are given once: no gap, no duplicate, on either database."""

from __future__ import annotations

from django.db import connection

from gradation.models import Counter

__all__ = ["next_number"]


def next_number(name: str) -> int:
    """Give the next number of a series.

    The counter's row is locked until the transaction ends, so a number whose transaction fails is
    given again. Refuses outside a transaction.
    """
    if not connection.in_atomic_block:
        msg = "A number is given inside the transaction that uses it."
        raise RuntimeError(msg)
    Counter.objects.get_or_create(name=name)
    counter = Counter.objects.select_for_update().get(name=name)
    counter.last += 1
    counter.save(update_fields=["last"])
    return counter.last
