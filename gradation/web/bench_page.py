"""The weighing page and the parts of it that a reading changes, from one layout of the run."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from gradation.models import Laboratory, Run, User, Weighing
from gradation.policy import Action, may
from gradation.queries.run_changes import News, news_since
from gradation.queries.runs import find_run, find_run_at_work, run_at_work, run_view
from gradation.queries.settled import settled_laboratory
from gradation.web.answers import PersonRequest
from gradation.web.figures import SCALES, run_chart
from gradation.web.run_findings import findings_at_bench, flags_left
from gradation.web.run_sheet import Sheet, row_name, run_sheet
from gradation.web.run_sheet.live import live_parts
from gradation.web.templatetags.notebook import clock, figure


@dataclass(frozen=True)
class Seen:
    """What a page shows already: readings up to this one, the axis of its chart, its way to weigh.

    `own` is the key of the reading that the answer acknowledges: it is no news to its page.
    """

    last: int = 0
    own: UUID | None = None
    scale: str = ""
    direction: str = ""
    gross: bool = False


def place_of(run: Run) -> str:
    """Give the address of the weighing page."""
    return reverse("bench:run-weigh", args=[run.pk])


def sheet_of(actor: User, pk: int) -> Sheet:
    """Lay out a run as far as it is weighed, with what the checks find in it."""
    return _sheet(actor, find_run(actor, pk))


def live_sheet_of(request: PersonRequest, pk: int) -> Sheet:
    """Lay out a run as `sheet_of` does, for a page that shows it already."""
    run = find_run_at_work(request.user, pk)
    return _sheet(request.user, run, settled_laboratory())


def sheet_after(request: PersonRequest, kept: Weighing) -> Sheet:
    """Lay out the run of a reading that was just kept."""
    return _sheet(request.user, run_at_work(request.user, kept), settled_laboratory())


def _sheet(actor: User, run: Run, laboratory: Laboratory | None = None) -> Sheet:
    view = run_view(run)
    sheet = run_sheet(view)
    if not may(actor, Action.READ_RECORDS):
        return sheet
    found = findings_at_bench(actor, view, laboratory=laboratory)
    return replace(sheet, findings=found, flags=flags_left(sheet.flags, found))


def last_reading(run: Run) -> int:
    """Give the key of the newest reading of a run from `find_run`."""
    return max((row.pk for row in run.weighings.all()), default=0)


def page_context(sheet: Sheet, *, writes: bool, gross: bool) -> dict[str, Any]:
    """Give what the page of a run shows."""
    return {
        "sheet": sheet,
        "run": sheet.run,
        "writes": writes,
        "gross": gross,
        "scales": SCALES,
        "last": last_reading(sheet.run),
    }


def live_answer(request: HttpRequest, sheet: Sheet, seen: Seen) -> dict[str, Any]:
    """Give the script everything that changed since its page was last told.

    `parts` are what stands in the page's elements, by their ids, written as the page writes it.
    """
    run = sheet.run
    news = list(news_since(run, seen.last))
    shown = page_context(sheet, writes=run.is_editable, gross=seen.gross)
    changed = {_place(it.weighing)["where"] for it in news}
    return {
        "last": shown["last"],
        "version": run.version,
        "state": run.state,
        "at": f"{timezone.localtime():%H:%M:%S}",
        "news": [told_of(it) for it in news if it.weighing.key != seen.own],
        "parts": live_parts(sheet, shown, changed),
        "findings": _findings(request, sheet),
        "figure": run_chart(sheet, seen.scale, seen.direction),
    }


def _findings(request: HttpRequest, sheet: Sheet) -> str:
    """Write what the checks found, with the forms that answer it."""
    context = {"findings": sheet.findings, "run": sheet.run, "csrf_token": get_token(request)}
    return render_to_string("parts/run_findings.html", context)


def told_of(news: News) -> dict[str, Any]:
    """Write a reading as another page tells of it: who, when, what, and what was there before."""
    row = news.weighing
    return {
        **_place(row),
        "pk": row.pk,
        "key": str(row.key),
        "mass": figure(row.mass_as_entered),
        "was": figure(news.before.mass_as_entered) if news.before else "",
        "by": str(row.made_by),
        "by_pk": row.made_by_id,
        "at": clock(row.made_at),
    }


def _place(row: Weighing) -> dict[str, Any]:
    return {
        "where": row_name(row.slot, row.position, row.increment),
        "slot": row.slot,
        "position": row.position,
        "increment": row.increment,
    }
