"""Drying: what the script of its page asks for - to keep a weighing, to see what changed."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpResponse, JsonResponse
from django.views.decorators.http import require_GET, require_POST

from gradation.errors import Refusal
from gradation.models import Drying, DryingMass
from gradation.policy import Action
from gradation.queries.preparation import drying_mark, drying_view, find_drying
from gradation.services import dryings
from gradation.services.dryings import MassReading
from gradation.web.answers import PersonRequest
from gradation.web.drying_page import drying_answer, told_mass
from gradation.web.exchange import exchange, of_another_person, refuse_overtaken, refused, said
from gradation.web.forms.preparation import DryingReadingForm


@require_POST
@exchange(Action.PREPARE_PORTION)
def drying_reading(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep one weighing at once; answer with everything that it changes on the page."""
    drying = find_drying(request.user, pk)
    form = DryingReadingForm(request.POST)
    if not form.is_valid():
        return said(HTTPStatus.BAD_REQUEST, "malformed", "The server could not read this weighing.")
    known = drying.masses.filter(key=form.cleaned_data["key"]).exists()
    barred = None if known else of_another_person(request, form.cleaned_data["person"])
    if barred is not None:
        return barred
    reading = form.reading()
    try:
        kept = _keep(request, drying, form, reading)
    except Refusal as refusal:
        return _not_kept(drying, reading, refusal)
    answer = drying_answer(request, request.user, drying_view(find_drying(request.user, pk)))
    return JsonResponse({"kind": "kept", "key": str(kept.key), "pk": kept.pk, **answer})


def _keep(
    request: PersonRequest, drying: Drying, form: DryingReadingForm, reading: MassReading
) -> DryingMass:
    reason, over = form.cleaned_data["reason"], form.cleaned_data["over"]
    if not reason:
        return dryings.record_drying_mass(actor=request.user, drying=drying, reading=reading)
    refuse_overtaken(_present(drying, reading), over, reading.key)
    return dryings.correct_drying_mass(
        actor=request.user, drying=drying, reading=reading, reason=reason
    )


def _present(drying: Drying, reading: MassReading) -> DryingMass | None:
    masses = drying.masses.filter(number=reading.number).select_related("made_by")
    return masses.order_by("revision").last()


def _not_kept(drying: Drying, reading: MassReading, refusal: Refusal) -> HttpResponse:
    """Say why a weighing was not kept; a clash shows both values."""
    present = _present(drying, reading) if refusal.code == "reading-clash" else None
    if present is None:
        return refused(refusal)
    theirs = told_mass(present)
    return said(HTTPStatus.CONFLICT, "clash", refusal.message, theirs=theirs)


@require_GET
@exchange(Action.READ_OWN_SAMPLES)
def drying_changes(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the page as it stands now; nothing (204) when nothing changed since its mark."""
    if drying_mark(request.user, pk) == request.GET.get("mark"):
        return HttpResponse(status=HTTPStatus.NO_CONTENT)
    answer = drying_answer(request, request.user, drying_view(find_drying(request.user, pk)))
    return JsonResponse({"kind": "changed", **answer})
