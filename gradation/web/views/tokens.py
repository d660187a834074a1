"""Settings: the tokens of client systems - listed, made with the secret shown once, revoked."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.errors import Refusal
from gradation.policy import Action
from gradation.queries.tokens import token_list as tokens_known
from gradation.services import clock, tokens
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.tokens import TokenForm
from gradation.web.fresh import fresh
from gradation.web.lists import page_in_address


def _list() -> str:
    return reverse("settings:token-list")


@page(Action.MANAGE_TOKENS)
def token_list(request: PersonRequest) -> HttpResponse:
    """List the tokens with what they are for and when they were last used."""
    context = {"page": page_in_address(request, tokens_known()), "now": clock.now()}
    return render(request, "web/settings/token_list.html", context)


@fresh
@page(Action.MANAGE_TOKENS)
def token_make(request: PersonRequest) -> HttpResponse:
    """Make a token; the answer is the only page that ever shows its secret."""
    form = TokenForm(sent(request))
    if form.is_bound and form.is_valid():
        try:
            made = tokens.create_token(actor=request.user, wanted=form.wanted())
        except Refusal as refusal:
            form.take(refusal)
        else:
            return render(request, "web/settings/token_made.html", {"made": made})
    asking = Asking(
        "Make a token",
        "Make the token",
        _list(),
        intro="A program signs in with it: a balance gateway, a plant system, a script.",
    )
    return FormPage(request, form, asking, "web/settings/token_make.html").show()


@fresh
@page(Action.MANAGE_TOKENS)
def token_revoke(request: PersonRequest, pk: int) -> HttpResponse:
    """Revoke a token for good, with a reason."""
    token = found(tokens_known().filter(pk=pk).first(), "token")
    form = ReasonForm(sent(request))
    asking = Asking(
        f"Revoke token {token}",
        "Revoke it",
        _list(),
        intro="The system's next request is refused. It cannot be taken back.",
        grave=True,
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: tokens.revoke_token(
                actor=request.user, token=token, reason=form.cleaned_data["reason"]
            ),
            lambda _: _list(),
            lambda revoked: f"Token {revoked} is revoked.",
        )
    )
