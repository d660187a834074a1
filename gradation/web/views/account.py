"""A person's own account: samples of a customer, password, address, second factor, sessions."""

from __future__ import annotations

from urllib.parse import quote

import segno
from django.contrib.auth import HASH_SESSION_KEY
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from gradation.errors import NotFound, Refusal
from gradation.models import SecondFactor, User
from gradation.policy import Action
from gradation.queries import doors
from gradation.queries.certificates import certificates_visible_to
from gradation.queries.samples import samples_visible_to
from gradation.services import accounts, second_factor, sessions
from gradation.services.factor_codes import secret_of
from gradation.services.identity import confirm_identity, needs_factor
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, said, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.door import (
    ChangePasswordForm,
    ConfirmForm,
    EmailForm,
    FactorGoneForm,
    FirstCodeForm,
)
from gradation.web.fresh import fresh
from gradation.web.lists import page_in_address
from gradation.web.sessions import FACTOR_DUE, mark_confirmed

_OWN = Action.KEEP_OWN_ACCOUNT


def _account() -> str:
    return reverse("account:account-show")


@page(Action.READ_OWN_SAMPLES)
def samples_show(request: PersonRequest) -> HttpResponse:
    """Show a customer their samples and certificates on one page."""
    shown = certificates_visible_to(request.user).exclude(number="").order_by("-issued_at")
    context = {
        "page": page_in_address(request, samples_visible_to(request.user)),
        "certificates": shown[:50],
    }
    return render(request, "web/account/samples_show.html", context)


@page(_OWN)
def account_show(request: PersonRequest) -> HttpResponse:
    """Show what belongs to the account."""
    context = {
        "sessions": doors.open_sessions(request.user),
        "this_session": request.session.session_key,
        "factor": doors.factor_of(request.user),
        "codes_left": doors.recovery_codes_left(request.user),
        "factor_due": needs_factor(request.user),
    }
    return render(request, "web/account/account_show.html", context)


@page(_OWN)
def identity_confirm(request: PersonRequest) -> HttpResponse:
    """Ask for the password once more; then go on to where it was wanted."""
    form = ConfirmForm(sent(request))
    asking = Asking("Your password once more", "Go on", _account(), intro=_WHY_CONFIRM)
    if form.is_bound and form.is_valid():
        try:
            _confirm(request, form)
        except Refusal as refusal:
            form.take(refusal)
        else:
            mark_confirmed(request, request.user)
            return redirect(_goes_on(request))
    return FormPage(request, form, asking).show()


_WHY_CONFIRM = (
    "What comes next changes an account or a token. It is asked for again ten minutes from now."
)


def _confirm(request: PersonRequest, form: ConfirmForm) -> None:
    """Check password and code as for a signature."""
    confirm_identity(
        actor=request.user,
        password=form.cleaned_data["password"],
        code=form.cleaned_data["code"],
    )


def _goes_on(request: PersonRequest) -> str:
    wanted = request.GET.get("next", "")
    here = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if here else _account()


@page(_OWN)
def password_set(request: PersonRequest) -> HttpResponse:
    """Set one's own password; all other sessions end."""
    form = ChangePasswordForm(sent(request))
    asking = Asking(
        "Set your password",
        "Set it",
        _account(),
        intro="Your other sessions end. Nobody else can see or set it to sign in your name.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: _set_password(request, form),
            lambda person: _account(),
            lambda person: "Your password is set. Sign in anew elsewhere.",
        )
    )


def _set_password(request: PersonRequest, form: ChangePasswordForm) -> User:
    person = accounts.change_password(
        actor=request.user,
        old=form.cleaned_data["old"],
        new=form.cleaned_data["new"],
        session_key=request.session.session_key or "",
    )
    request.session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    mark_confirmed(request, person)
    return person


@fresh
@page(_OWN)
def email_set(request: PersonRequest) -> HttpResponse:
    """Change one's own address; the former one is told."""
    form = EmailForm(sent(request), initial={"email": request.user.email})
    asking = Asking("Change your e-mail address", "Change it", _account())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: accounts.change_email(actor=request.user, **form.cleaned_data),
            lambda person: _account(),
            lambda person: f"Your address is {person.email}.",
        )
    )


@fresh
@page(_OWN)
def factor_set_up(request: PersonRequest) -> HttpResponse:
    """Set up a second factor: the code to scan, then its first code; then recovery codes, once."""
    factor = doors.factor_of(request.user)
    begun = factor if factor and factor.confirmed_at is None else None
    form = FirstCodeForm(request.POST if "code" in request.POST else None)
    if form.is_bound and form.is_valid():
        try:
            codes = second_factor.confirm_factor(actor=request.user, code=form.cleaned_data["code"])
        except Refusal as refusal:
            form.take(refusal)
        else:
            request.session.pop(FACTOR_DUE, None)
            return render(request, "web/account/recovery_codes.html", {"codes": codes})
    elif request.method == "POST" and not form.is_bound:
        begun = second_factor.begin_factor(actor=request.user)
    context = {"form": form, "factor": factor, **_to_scan(request, begun)}
    status = 422 if form.errors else 200
    return render(request, "web/account/factor_set_up.html", context, status=status)


def _to_scan(request: PersonRequest, begun: SecondFactor | None) -> dict[str, str]:
    """Give what a generator app scans (the key URI of its makers' common form)."""
    secret = secret_of(begun) if begun else None
    if secret is None:
        return {}
    issuer = quote(laboratory_of(request).name)
    label = f"{issuer}:{quote(request.user.username)}"
    address = f"otpauth://totp/{label}?secret={secret}&issuer={issuer}&digits=6&period=30"
    picture = segno.make(address, error="m").svg_data_uri(scale=5, border=4)
    grouped = " ".join(secret[start : start + 4] for start in range(0, len(secret), 4))
    return {"picture": picture, "secret": grouped}


@fresh
@require_POST
@page(_OWN)
def recovery_renew(request: PersonRequest) -> HttpResponse:
    """Give new recovery codes; the former ones end."""
    codes = second_factor.renew_recovery_codes(actor=request.user)
    return render(request, "web/account/recovery_codes.html", {"codes": codes})


@fresh
@page(_OWN)
def factor_drop(request: PersonRequest) -> HttpResponse:
    """Give up one's own second factor, with a reason."""
    form = FactorGoneForm(sent(request))
    asking = Asking("Give up the second factor", "Give it up", _account(), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: second_factor.revoke_factor(
                actor=request.user, person=request.user, reason=form.cleaned_data["reason"]
            ),
            lambda _: _account(),
            lambda _: "The second factor and its recovery codes have ended.",
        )
    )


@fresh
@require_POST
@page(_OWN)
def session_end(request: PersonRequest, pk: int) -> HttpResponse:
    """End one of one's own sessions."""
    session = doors.find_session(pk)
    if session is None or session.person_id != request.user.pk:
        msg = "There is no such session of yours."
        raise NotFound(msg)
    sessions.end_session(actor=request.user, session=session)
    said(request, "The session has ended.")
    return redirect("account:account-show")
