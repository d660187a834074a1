"""Signing in and out, the start page, and the field that finds anything."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from gradation.policy import Action, may
from gradation.queries.finding import Finding, find
from gradation.services.balance_readings import leave_bench
from gradation.web.answers import PersonRequest, page
from gradation.web.forms.door import SignInForm
from gradation.web.lists import searched

_PLACES = {
    "sample": "intake:sample-show",
    "portion": "bench:run-open",
    "certificate": "certificates:certificate-show",
    "equipment": "equipment:item-show",
}


class SignIn(auth_views.LoginView):
    """Asks for name and password; goes on to where the person wanted to go."""

    form_class = SignInForm
    template_name = "web/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Leave out Django's own `site`, which would hide the frame's."""
        context = super().get_context_data(**kwargs)
        context.pop("site", None)
        return context


class SignOut(auth_views.LogoutView):
    """Ends the session; only by POST. No balance reading comes under the person's name then."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Leave the benches, then end the session."""
        person = request.user
        if person.is_authenticated and may(person, Action.RECORD_RUN):
            leave_bench(actor=person)
        return super().post(request, *args, **kwargs)


@page(Action.READ_OWN_SAMPLES)
def home(request: PersonRequest) -> HttpResponse:
    """Go to the list where most people's day begins."""
    return redirect("intake:sample-list")


@page(Action.READ_OWN_SAMPLES)
def find_thing(request: PersonRequest) -> HttpResponse:
    """Go straight to what was scanned, or list the samples that carry the words."""
    text = searched(request)
    target = find(request.user, text) if text else None
    if target is None:
        return redirect(f"{reverse('intake:sample-list')}?{request.GET.urlencode()}")
    return redirect(address_of(target))


def address_of(target: Finding) -> str:
    """Give the page of the thing that a label names."""
    if target.kind == "bench":
        return f"{reverse('bench:bench-pick')}?bench={target.key}"
    return reverse(_PLACES[target.kind], args=[target.key])
