"""Bench: a run recorded on paper - marked, its scans, compared by a second person."""

from __future__ import annotations

from urllib.parse import quote

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from gradation.models import Run
from gradation.policy import Action
from gradation.queries.paper import PICTURES, PaperWork, may_compare, paper_of, scan_of
from gradation.queries.runs import find_run, run_view
from gradation.services import transcribing
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.bench_page import place_of
from gradation.web.forms.paper import ComparisonForm, PaperForm, ScanForm
from gradation.web.readings import people_of, readings_of
from gradation.web.run_sheet import run_sheet


@page(Action.RECORD_RUN)
def paper_mark(request: PersonRequest, pk: int) -> HttpResponse:
    """Mark a run as recorded on paper, before it is typed."""
    run = find_run(request.user, pk)
    form = PaperForm(
        sent(request), request.FILES or None, initial={"performed_by": request.user.pk}
    )
    intro = (
        "Every reading of this run is then marked as typed from paper. Somebody who typed none of "
        "it compares it with the scans before it is accepted. The mark is not taken back."
    )
    asking = Asking(f"Readings come from paper · run {run}", "Keep the paper", place_of(run), intro)
    return FormPage(request, form, asking, context={"back_name": f"Run {run}"}).answer(
        Doing(
            lambda: transcribing.mark_transcribed(
                actor=request.user, run=run, told=form.told(), scan=form.scan()
            ),
            lambda _: place_of(run),
            lambda _: f"Run {run} is typed from paper; the scan is kept.",
        )
    )


@page(Action.RECORD_RUN)
def scan_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep a further page of the paper."""
    run = find_run(request.user, pk)
    form = ScanForm(sent(request), request.FILES or None)
    asking = Asking(f"Add a page of the paper · run {run}", "Keep the scan", place_of(run))
    return FormPage(request, form, asking, context={"back_name": f"Run {run}"}).answer(
        Doing(
            lambda: transcribing.add_scan(actor=request.user, run=run, scan=form.scan()),
            lambda _: f"{place_of(run)}#paper",
            lambda scan: f"{scan.name} is kept with the paper of run {run}.",
        )
    )


@require_GET
@page()
def scan_show(request: PersonRequest, pk: int, scan: int) -> HttpResponse:
    """Hand out a scan as it came, never to be run or shown by the browser itself."""
    kept = scan_of(find_run(request.user, pk), scan)
    answer = _sealed(bytes(kept.file), "application/octet-stream")
    answer["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(kept.name, safe='')}"
    return answer


@require_GET
@page()
def scan_picture(request: PersonRequest, pk: int, scan: int) -> HttpResponse:
    """Give a scan that is a picture to be shown beside the readings, as nothing but a picture."""
    kept = scan_of(find_run(request.user, pk), scan)
    picture = kept if kept.media_type in PICTURES else None
    kept = found(picture, "picture of the paper under that number")
    return _sealed(bytes(kept.file), kept.media_type)


def _sealed(content: bytes, media_type: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=media_type)
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer


@page(Action.COMPARE_WITH_PAPER)
def paper_compare(request: PersonRequest, pk: int) -> HttpResponse:
    """Compare what was typed with the scans, as somebody who typed none of it."""
    run = find_run(request.user, pk)
    paper = found(paper_of(run), "paper of this run")
    form = ComparisonForm(sent(request))
    return FormPage(
        request, form, None, "web/bench/paper_compare.html", _shown(request, run, paper)
    ).answer(
        Doing(
            lambda: transcribing.compare_with_paper(actor=request.user, run=run, **form.found()),
            lambda _: f"{place_of(run)}#paper",
            lambda made: _said(run, agrees=made.agrees),
        )
    )


def _shown(request: PersonRequest, run: Run, paper: PaperWork) -> dict[str, object]:
    return {
        "run": run,
        "paper": paper,
        "pictures": PICTURES,
        "sheet": run_sheet(run_view(run)),
        "readings": readings_of(run),
        "people": people_of(run),
        "may_compare": may_compare(request.user, run),
    }


def _said(run: Run, *, agrees: bool) -> str:
    if agrees:
        return f"It is kept that run {run} agrees with its paper."
    return (
        f"It is kept that run {run} differs from its paper. A reviewer returns it, the bench "
        "corrects it, and it is compared again."
    )
