"""The balance on the weighing page: its port, what it last sent, what waits."""

from __future__ import annotations

from typing import Any

from django import template

from gradation.models import Run
from gradation.queries.balances import links_at, waiting_at
from gradation.web.picked import picked_bench

register = template.Library()

_SHOWN = 12


@register.inclusion_tag("parts/balance.html", takes_context=True)
def balance_panel(context: dict[str, Any], run: Run) -> dict[str, Any]:
    """Show the balances of the bench that this browser stands at, else of the run's bench."""
    request = context["request"]
    bench = picked_bench(request) or run.bench
    rows = waiting_at(bench)
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "user": request.user,
        "run": run,
        "bench": bench,
        "links": list(links_at(bench)),
        "waiting": list(rows[:_SHOWN]),
        "more": max(0, rows.count() - _SHOWN),
    }
