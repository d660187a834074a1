"""Pages of lists by key, never by offset: page 2,000 costs what page 1 costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from django.db.models import Model, QuerySet

__all__ = ["Page", "page_of"]

Row = TypeVar("Row", bound=Model)


@dataclass(frozen=True)
class Page(Generic[Row]):
    """Rows newest first, with the keys that lead to the older and newer neighbours."""

    rows: list[Row]
    older_than: int | None
    newer_than: int | None


def page_of(
    rows: QuerySet[Row], *, before: int | None = None, after: int | None = None, size: int = 50
) -> Page[Row]:
    """Give one page of `rows`, newest first: those before a key, after one, or the newest."""
    if after is not None:
        found = list(rows.filter(pk__gt=after).order_by("pk")[: size + 1])
        has_newer, found = len(found) > size, found[:size][::-1]
        has_older = bool(found)
    else:
        older = rows if before is None else rows.filter(pk__lt=before)
        found = list(older.order_by("-pk")[: size + 1])
        has_older, found = len(found) > size, found[:size]
        has_newer = before is not None and bool(found)
    return Page(
        rows=found,
        older_than=found[-1].pk if has_older and found else None,
        newer_than=found[0].pk if has_newer and found else None,
    )
