"""The steps beside signing in: the code, the first start, a lost password."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from gradation.errors import NotAllowed, Refusal, TooMany
from gradation.models import User
from gradation.queries.doors import person_of_link
from gradation.queries.laboratory import active_person
from gradation.services import accounts, clock, set_up
from gradation.services.people import system_account
from gradation.services.sign_in import CODE_WITHIN, judge_code
from gradation.web.answers import said, sent
from gradation.web.forms.base import NotebookForm
from gradation.web.forms.door import AskResetForm, CodeForm, NewPasswordForm, SetUpForm
from gradation.web.sessions import let_in, origin_of

_PENDING = "pending"
RESET_PAGE = "/sign-in/reset/{who}/{token}/"


def turned_away(answer: HttpResponse, refusal: Refusal) -> HttpResponse:
    """Give a refusal at the door its status, and how long to wait."""
    answer.status_code = 422
    if isinstance(refusal, NotAllowed):
        answer.status_code = 403
    if isinstance(refusal, TooMany):
        answer.status_code = 429
        answer["Retry-After"] = str(refusal.retry_after_s)
    return answer


def ask_for_code(request: HttpRequest, person: User, goes_to: str) -> HttpResponse:
    """Keep for a few minutes whose password fitted, and ask for the code."""
    request.session.cycle_key()
    request.session[_PENDING] = [person.pk, int(clock.now().timestamp()), goes_to]
    return redirect("web:code-give")


def _pending(request: HttpRequest) -> tuple[User, str] | None:
    pk, at, goes_to = request.session.get(_PENDING, (0, 0, ""))
    age = clock.now().timestamp() - at
    person = active_person(pk) if age <= CODE_WITHIN.total_seconds() else None
    return (person, goes_to) if person else None


@never_cache
def code_give(request: HttpRequest) -> HttpResponse:
    """Take the one-time code of somebody whose password fitted, and let them in."""
    pending = _pending(request)
    if pending is None:
        return redirect("web:sign-in")
    person, goes_to = pending
    form = CodeForm(sent(request))
    if form.is_bound and form.is_valid():
        try:
            origin = origin_of(request, "sign-in")
            judge_code(actor=person, code=form.cleaned_data["code"], origin=origin)
        except Refusal as refusal:
            form.take(refusal)
            return turned_away(_shown(request, form, "web/sign_in_code.html"), refusal)
        del request.session[_PENDING]
        return let_in(request, person, redirect(goes_to))
    return _shown(request, form, "web/sign_in_code.html")


def _shown(request: HttpRequest, form: NotebookForm, template: str) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    return render(request, template, {"form": form}, status=status)


@never_cache
@sensitive_post_parameters()
def laboratory_begin(request: HttpRequest) -> HttpResponse:
    """Enter the laboratory and its first person under the code of the first start."""
    if set_up.is_set_up():
        return redirect("web:sign-in")
    form = SetUpForm(sent(request))
    if form.is_bound and form.is_valid():
        beginning = set_up.Beginning(
            code=form.cleaned_data["code"],
            laboratory=form.laboratory(),
            person=form.person(),
            password=form.cleaned_data["password"],
            origin=origin_of(request, "set-up"),
        )
        try:
            person = set_up.begin_laboratory(actor=system_account(), beginning=beginning)
        except Refusal as refusal:
            form.take(refusal)
            return turned_away(_shown(request, form, "web/set_up.html"), refusal)
        return let_in(request, person, redirect("settings:laboratory-show"))
    return _shown(request, form, "web/set_up.html")


@never_cache
def reset_ask(request: HttpRequest) -> HttpResponse:
    """Send a link to whoever has lost the password; the answer is the same for every name."""
    form = AskResetForm(sent(request))
    if form.is_bound and form.is_valid():
        origin = origin_of(request, "reset")
        asked = accounts.ResetAsked(form.cleaned_data["username"], origin, RESET_PAGE)
        try:
            accounts.ask_reset(actor=system_account(), asked=asked)
        except Refusal as refusal:
            form.take(refusal)
            return turned_away(_shown(request, form, "web/reset_ask.html"), refusal)
        return render(request, "web/reset_asked.html")
    return _shown(request, form, "web/reset_ask.html")


@never_cache
@sensitive_post_parameters()
def reset_finish(request: HttpRequest, who: str, token: str) -> HttpResponse:
    """Set a new password by a link; then sign in with it."""
    person = person_of_link(who)
    form = NewPasswordForm(sent(request))
    if form.is_bound and form.is_valid():
        try:
            if person is None:
                msg = "This link was used already or is older than an hour. Ask for another."
                raise NotAllowed(msg, code="link-dead")
            person.origin = origin_of(request, "reset")
            accounts.finish_reset(actor=person, token=token, new=form.cleaned_data["new"])
        except Refusal as refusal:
            form.take(refusal)
            return turned_away(_shown(request, form, "web/reset_finish.html"), refusal)
        said(request, "The new password is set. Sign in with it.")
        return redirect(reverse("web:sign-in"))
    return _shown(request, form, "web/reset_finish.html")
