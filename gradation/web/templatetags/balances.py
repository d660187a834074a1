"""The balance on the weighing page: its port, what it last sent, what waits."""

from __future__ import annotations

from typing import Any

from django import template

from gradation.models import Bench, Drying, Run
from gradation.queries.balances import links_at, waiting_at
from gradation.web.picked import picked_bench

register = template.Library()

_SHOWN = 12


_PANEL = "parts/balance.html"


@register.inclusion_tag(_PANEL, takes_context=True)
def balance_panel(context: dict[str, Any], run: Run) -> dict[str, Any]:
    """Show the balances of the bench that this browser stands at, else of the run's bench."""
    bench = picked_bench(context["request"]) or run.bench
    return {**_panel(context, bench), "run": run}


@register.inclusion_tag(_PANEL, takes_context=True)
def drying_balance_panel(context: dict[str, Any], drying: Drying, bench: Bench) -> dict[str, Any]:
    """Show the balances of a bench, for the next weighing of a drying."""
    return {**_panel(context, bench), "drying": drying}


def _panel(context: dict[str, Any], bench: Bench) -> dict[str, Any]:
    request = context["request"]
    rows = waiting_at(bench)
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "user": request.user,
        "bench": bench,
        "links": list(links_at(bench)),
        "waiting": list(rows[:_SHOWN]),
        "more": max(0, rows.count() - _SHOWN),
    }
