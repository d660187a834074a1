"""Bench: what the script of the weighing page asks for - to keep, to compare, to find."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.views.decorators.http import require_GET, require_POST

from gradation.errors import Refusal
from gradation.models import Run, Weighing
from gradation.policy import Action
from gradation.queries.codes import named_by
from gradation.queries.readings import current_weighing
from gradation.queries.run_changes import News, refuse_unseen, run_mark
from gradation.services import bench as services
from gradation.services.bench import Reading
from gradation.web.answers import PersonRequest
from gradation.web.bench_page import Seen, live_answer, live_sheet_of, sheet_after, told_of
from gradation.web.exchange import (
    exchange,
    of_another_person,
    refuse_overtaken,
    refused,
    said,
)
from gradation.web.forms.bench import ReadingForm, SeenForm
from gradation.web.run_sheet import row_name
from gradation.web.views.door import address_of


@require_POST
@exchange(Action.RECORD_RUN)
def reading_record(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep one reading at once; answer with everything that it changes on the screen."""
    refuse_unseen(request.user, pk)
    form = ReadingForm(request.POST)
    if not form.is_valid():
        return said(HTTPStatus.BAD_REQUEST, "malformed", "The server could not read this reading.")
    run, reading = Run(pk=pk), form.reading()
    barred = _of_another_person(request, run, form)
    if barred is not None:
        return barred
    try:
        kept = _keep(request, run, form, reading)
    except Refusal as refusal:
        return _not_kept(run, reading, refusal)
    seen = form.seen(kept)
    answer = live_answer(request, sheet_after(request, kept), seen)
    return JsonResponse({"kind": "kept", "key": str(kept.key), "pk": kept.pk, **answer})


def _of_another_person(request: PersonRequest, run: Run, form: ReadingForm) -> HttpResponse | None:
    """Refuse to keep under one name what was entered under another, unless it is kept already."""
    barred = of_another_person(request, form.cleaned_data["person"])
    if barred is None or _is_kept(run, form.cleaned_data["key"]):
        return None
    return barred


def _is_kept(run: Run, key: UUID) -> bool:
    return run.weighings.filter(key=key).exists()


def _keep(request: PersonRequest, run: Run, form: ReadingForm, reading: Reading) -> Weighing:
    reason, over = form.cleaned_data["reason"], form.cleaned_data["over"]
    if not reason:
        return services.record_weighing(actor=request.user, run=run, reading=reading)
    refuse_overtaken(_present(run, reading), over, reading.key)
    return services.correct_weighing(actor=request.user, run=run, reading=reading, reason=reason)


def _present(run: Run, reading: Reading) -> Weighing | None:
    return current_weighing(run, reading.slot, reading.position, reading.increment)


def _not_kept(run: Run, reading: Reading, refusal: Refusal) -> HttpResponse:
    """Say beside the field why a reading was not kept; a clash shows both values."""
    where = row_name(reading.slot, reading.position, reading.increment)
    present = _present(run, reading) if refusal.code == "reading-clash" else None
    if present is None:
        return refused(refusal, where=where)
    theirs = told_of(News(present, None))
    return said(HTTPStatus.CONFLICT, "clash", refusal.message, where=where, theirs=theirs)


@require_GET
@exchange(Action.READ_OWN_SAMPLES)
def run_changes(request: PersonRequest, pk: int) -> HttpResponse:
    """Give what came since the page was last told; nothing (204) when nothing did."""
    form = SeenForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    mark = run_mark(request.user, pk)
    last, version = asked.get("since") or 0, asked.get("version")
    if mark.last == last and version in {None, mark.version}:
        return HttpResponse(status=HTTPStatus.NO_CONTENT)
    answer = live_answer(request, live_sheet_of(request, pk), _seen(asked, last))
    return JsonResponse({"kind": "changed", **answer})


def _seen(asked: dict[str, Any], last: int) -> Seen:
    axis = {name: asked.get(name, "") for name in ("scale", "direction")}
    return Seen(last, gross=bool(asked.get("gross")), **axis)


@require_GET
@exchange(Action.READ_OWN_SAMPLES)
def person_show(request: PersonRequest) -> HttpResponse:
    """Say who is signed in in this browser now, with the token that sending needs."""
    person = {"pk": request.user.pk, "name": str(request.user)}
    return JsonResponse({"kind": "person", "person": person, "token": get_token(request)})


@require_GET
@exchange(Action.READ_RECORDS)
def code_find(request: PersonRequest) -> HttpResponse:
    """Say what a scanned code names and where the bench goes with it."""
    code = request.GET.get("q", "")[:200]
    named = named_by(request.user, code)
    if named is None:
        says = f"{code} is on no label of this laboratory."
        return said(HTTPStatus.OK, "unknown", says)
    return JsonResponse({"url": address_of(named.finding), **named.told})
