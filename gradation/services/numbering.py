"""Numbers that are given once: no gap, no duplicate, on either database."""

from __future__ import annotations

from django.db import connection

from gradation.models import Counter

__all__ = ["next_number", "next_numbers", "sample_numbers"]


def next_number(name: str) -> int:
    """Give the next number of a series.

    The counter's row is locked until the transaction ends, so a number whose transaction fails is
    given again. Refuses outside a transaction.
    """
    return next_numbers(name, 1)[0]


def next_numbers(name: str, count: int) -> range:
    """Give the next numbers of a series at once; as `next_number`, for many."""
    if not connection.in_atomic_block:
        msg = "A number is given inside the transaction that uses it."
        raise RuntimeError(msg)
    Counter.objects.get_or_create(name=name)
    counter = Counter.objects.select_for_update().get(name=name)
    first = counter.last + 1
    counter.last += count
    counter.save(update_fields=["last"])
    return range(first, first + count)


def sample_numbers(year: int, count: int) -> list[str]:
    """Give the next sample numbers of a year, such as 26-0148, in the caller's transaction."""
    given = next_numbers(f"sample/{year}", count)
    return [f"{year % 100:02d}-{n:04d}" for n in given]
