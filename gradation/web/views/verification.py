"""Verification: what anybody who holds a certificate may ask, without signing in."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from gradation.errors import NotFound
from gradation.queries.certificate_register import answer_on_code
from gradation.services.asking import count_question
from gradation.services.file_answers import answer_on_file
from gradation.web.answers import sent
from gradation.web.context import laboratory_of
from gradation.web.forms.verification import CodeForm, FileForm

_PAGE = "web/verify/certificate_verify.html"


def open_to_all(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let anybody ask, so many times a minute."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        count_question(request.META.get("REMOTE_ADDR", ""))
        with timezone.override(ZoneInfo(laboratory_of(request).time_zone)):
            return view(request, *args, **kwargs)

    return require_http_methods(["GET", "POST"])(inner)


@open_to_all
def certificate_ask(request: HttpRequest) -> HttpResponse:
    """Ask for a code, or hold a file against all certificates that were issued."""
    if "code" in request.POST:
        form = CodeForm(request.POST)
        if form.is_valid():
            return redirect("verify:certificate-verify", code=form.cleaned_data["code"])
        return _shown(request, {"code_form": form}, 422)
    return _on_file(request, "")


@open_to_all
def certificate_verify(request: HttpRequest, code: str) -> HttpResponse:
    """Say how the certificate with this code stands; hold a file against it."""
    try:
        standing = answer_on_code(code)
    except NotFound as refusal:
        return _shown(request, {"refusal": refusal.message}, 404)
    return _on_file(request, code, standing=standing)


def _on_file(request: HttpRequest, code: str, **context: Any) -> HttpResponse:
    form = FileForm(sent(request), request.FILES or None)
    if not form.is_bound:
        return _shown(request, {"file_form": form, **context}, 200)
    if not form.is_valid():
        return _shown(request, {"file_form": form, **context}, 422)
    answer = answer_on_file(form.cleaned_data["file"], code)
    context["standing"] = answer.standing or context.get("standing")
    return _shown(request, {"file_form": FileForm(), "answer": answer, **context}, 200)


def _shown(request: HttpRequest, context: dict[str, Any], status: int) -> HttpResponse:
    context = {"code_form": CodeForm(), "file_form": FileForm(), **context}
    return render(request, _PAGE, context, status=status)
