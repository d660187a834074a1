"""Lists in the address: what is searched and chosen, which page; so that a list can be sent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest

from gradation.queries.paging import Page, page_of

LONGEST_SEARCH = 200


@dataclass(frozen=True)
class ShownPage:
    """The rows of one page and the ways to its neighbours."""

    rows: list[Any]
    older_url: str
    newer_url: str


@dataclass(frozen=True)
class Choice:
    """One word of a filter."""

    name: str
    url: str
    current: bool


def page_in_address(request: HttpRequest, rows: QuerySet[Any]) -> ShownPage:
    """Give the page of `rows` that the address asks for."""
    page = page_of(rows, before=key_in(request, "before"), after=key_in(request, "after"))
    return shown(request, page)


def shown(request: HttpRequest, page: Page[Any]) -> ShownPage:
    """Give a page with the ways to its neighbours."""
    return ShownPage(
        rows=page.rows,
        older_url=_address(request, before=page.older_than) if page.older_than else "",
        newer_url=_address(request, after=page.newer_than) if page.newer_than else "",
    )


def searched(request: HttpRequest, name: str = "q") -> str:
    """Give what was searched for, shortened to what a search can be."""
    return request.GET.get(name, "").replace("\x00", "").strip()[:LONGEST_SEARCH]


def choices(request: HttpRequest, name: str, words: list[tuple[str, str]]) -> list[Choice]:
    """Give a filter's words with their addresses, the chosen one marked."""
    chosen = request.GET.get(name, "")
    return [
        Choice(word, _address(request, **{name: value or None}), value == chosen)
        for value, word in words
    ]


def chosen(request: HttpRequest, name: str, allowed: list[tuple[str, str]]) -> str:
    """Give the chosen value of a filter, or '' when it is none of those offered."""
    value = request.GET.get(name, "")
    return value if value in {key for key, _ in allowed} else ""


def key_in(request: HttpRequest, name: str) -> int | None:
    """Give a row's key from the address, or None when there is none that could be one."""
    text = request.GET.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def _address(request: HttpRequest, **changes: Any) -> str:
    """Give this list's address with other choices, always from its newest page."""
    query = request.GET.copy()
    for name in ("before", "after"):
        query.pop(name, None)
    for name, value in changes.items():
        query.pop(name, None)
        if value is not None:
            query[name] = str(value)
    return f"?{query.urlencode()}"
