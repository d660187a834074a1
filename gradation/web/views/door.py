"""Signing in and out, the start page, and the field that finds anything."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.errors import Refusal
from gradation.policy import Action, is_customer, may
from gradation.queries.finding import Finding, find
from gradation.services.balance_readings import leave_bench
from gradation.services.factor_codes import has_factor
from gradation.services.people import system_account
from gradation.services.sessions import end_this_session
from gradation.services.set_up import is_set_up
from gradation.services.sign_in import Knock, judge_password
from gradation.web.answers import PersonRequest, page
from gradation.web.devices import known_device
from gradation.web.exchange import exchange
from gradation.web.forms.door import SignInForm
from gradation.web.lists import searched
from gradation.web.sessions import let_in, origin_of, time_left
from gradation.web.views.door_steps import ask_for_code, turned_away

_PLACES = {
    "sample": "intake:sample-show",
    "portion": "bench:run-open",
    "certificate": "certificates:certificate-show",
    "equipment": "equipment:item-show",
}


class SignIn(auth_views.LoginView):
    """Asks for name and password; goes on to where the person wanted to go."""

    form_class = SignInForm  # type: ignore[assignment]
    template_name = "web/sign_in.html"
    redirect_authenticated_user = True

    def get_form_kwargs(self) -> dict[str, Any]:
        """Leave out the request: the form asks no database."""
        kwargs = super().get_form_kwargs()
        kwargs.pop("request", None)
        return kwargs

    def form_valid(self, form: SignInForm) -> HttpResponse:  # type: ignore[override]
        """Judge the pair; let the person in, or ask for the code first."""
        username, password = form.cleaned_data["username"], form.cleaned_data["password"]
        origin = origin_of(self.request, "sign-in")
        knock = Knock(username, password, origin, known_device(self.request, username))
        try:
            person = judge_password(actor=system_account(), knock=knock)
        except Refusal as refusal:
            form.take(refusal)
            return turned_away(self.render_to_response(self.get_context_data(form=form)), refusal)
        if has_factor(person):
            return ask_for_code(self.request, person, self.get_success_url())
        return let_in(self.request, person, redirect(self.get_success_url()))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Leave out Django's own `site`, which would hide the frame's."""
        context = super().get_context_data(**kwargs)
        context.pop("site", None)
        context["may_set_up"] = not is_set_up()
        return context


class SignOut(auth_views.LogoutView):
    """Ends the session; only by POST. No balance reading comes under the person's name then.

    The browser is told to forget pages it keeps for going back. What it stores stays: readings
    that wait to be sent.
    """

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Leave the benches, then end the session."""
        person = request.user
        if person.is_authenticated and may(person, Action.RECORD_RUN):
            leave_bench(actor=person)
        if person.is_authenticated:
            end_this_session(actor=person, session_key=request.session.session_key or "")
        response = super().post(request, *args, **kwargs)
        response.headers["Clear-Site-Data"] = '"cache"'
        return response


@require_GET
@exchange(Action.READ_OWN_SAMPLES)
def session_show(request: PersonRequest) -> HttpResponse:
    """Tell a page whose session this is and how long it lasts.

    Asked as `session-show` it prolongs nothing; as `session-stay` it counts like any request.
    """
    left = time_left(request)
    told = {"left_s": left.left_s, "longest_s": left.longest_s}
    return JsonResponse({"kind": "session", "person": request.user.pk, **told})


@page(Action.READ_OWN_SAMPLES)
def home(request: PersonRequest) -> HttpResponse:
    """Go to the list where most people's day begins; a customer's is a page of their own."""
    return redirect("account:samples-show" if is_customer(request.user) else "intake:sample-list")


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


@require_GET
def icon_show(_request: HttpRequest) -> HttpResponse:
    """Say where the icon is: beside a PDF, which names none, browsers ask for it here."""
    return redirect(static("mark.svg"))
