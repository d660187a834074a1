"""Settings: how the installation runs - backups, mail, incidents, the periodic review."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from gradation.errors import Unavailable
from gradation.models import Maintenance
from gradation.policy import Action
from gradation.queries import doors, operations
from gradation.queries.laboratory import people_list
from gradation.services import accounts, clock, incidents, maintenance, second_factor, sessions
from gradation.services.signing_keys import laboratory_key
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, said, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.door import FactorGoneForm
from gradation.web.forms.operations import IncidentForm, SpanForm
from gradation.web.fresh import fresh
from gradation.web.lists import page_in_address
from gradation.web.views.door_steps import RESET_PAGE

REVIEW_DAYS = 90


def _incidents() -> str:
    return reverse("settings:incident-list")


def _sessions() -> str:
    return reverse("settings:session-list")


@page(Action.READ_OPERATIONS)
def operations_show(request: PersonRequest) -> HttpResponse:
    """Show when it was backed up and upgraded, and what can be tried."""
    context = {
        "backup": operations.last_maintenance(Maintenance.Kind.BACKUP),
        "page": page_in_address(request, operations.maintenance_list()),
        "base_url": settings.BASE_URL,
        "mail_is_set": "console" not in settings.EMAIL_BACKEND,
        "idle_minutes": settings.SESSION_IDLE_S // 60,
        "longest_hours": settings.SESSION_COOKIE_AGE // 3600,
        "open_incidents": operations.incident_list().filter(closed_at=None).count(),
        **_signing(),
    }
    return render(request, "web/settings/operations_show.html", context)


def _signing() -> dict[str, object]:
    """Give the key that signs certificates, or why there is none."""
    try:
        return {"signing_key": laboratory_key()}
    except Unavailable as refusal:
        return {"signing_fault": refusal.message}


@require_POST
@page(Action.READ_OPERATIONS)
def mail_try(request: PersonRequest) -> HttpResponse:
    """Send a message to whoever asks, to see whether mail works."""
    address = maintenance.try_mail(actor=request.user)
    said(request, f"A message is on its way to {address}. Look whether it arrives.")
    return redirect("settings:operations-show")


@page(Action.READ_OPERATIONS)
def incident_list(request: PersonRequest) -> HttpResponse:
    """List the faults of the program that requests met."""
    context = {"page": page_in_address(request, operations.incident_list())}
    return render(request, "web/settings/incident_list.html", context)


@page(Action.READ_OPERATIONS)
def incident_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one incident with what the program was doing."""
    context = {"incident": found(operations.find_incident(pk), "incident")}
    return render(request, "web/settings/incident_show.html", context)


@page(Action.CLOSE_INCIDENTS)
def incident_close(request: PersonRequest, pk: int) -> HttpResponse:
    """Close an incident with its cause."""
    incident = found(operations.find_incident(pk), "incident")
    form = IncidentForm(sent(request))
    asking = Asking(f"Close {incident}", "Close it", _incidents())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: incidents.close_incident(
                actor=request.user, incident=incident, **form.cleaned_data
            ),
            lambda _: _incidents(),
            lambda closed: f"Incident {closed.pk} is closed.",
        )
    )


@page(Action.READ_OPERATIONS)
def review_show(request: PersonRequest) -> HttpResponse:
    """Show the sheet of the periodic review for a span of days."""
    today = clock.today(laboratory_of(request))
    usual = {"first": today - timedelta(days=REVIEW_DAYS), "last": today}
    form = SpanForm(request.GET if "first" in request.GET else usual)
    sheet = None
    if form.is_valid():
        now = timezone.localtime(clock.now())
        span = operations.span_of(form.cleaned_data["first"], form.cleaned_data["last"], now)
        sheet = operations.review_sheet(*span)
    status = 200 if sheet else 422
    context = {"form": form, "sheet": sheet}
    return render(request, "web/settings/review_show.html", context, status=status)


@page(Action.MANAGE_PEOPLE)
def session_list(request: PersonRequest) -> HttpResponse:
    """List the sessions that are open, of everybody."""
    context = {
        "page": page_in_address(request, doors.open_sessions()),
        "this_session": request.session.session_key,
    }
    return render(request, "web/settings/session_list.html", context)


@require_POST
@page(Action.MANAGE_PEOPLE)
def session_end(request: PersonRequest, pk: int) -> HttpResponse:
    """End anybody's session."""
    session = found(doors.find_session(pk), "session")
    sessions.end_session(actor=request.user, session=session)
    said(request, f"The session of {session.person} has ended.")
    return redirect(_sessions())


@fresh
@page(Action.MANAGE_PEOPLE)
def factor_revoke(request: PersonRequest, pk: int) -> HttpResponse:
    """End somebody's second factor that was lost."""
    person = found(people_list().filter(pk=pk).first(), "account")
    form = FactorGoneForm(sent(request))
    asking = Asking(f"End the second factor of {person}", "End it", _shown(), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: second_factor.revoke_factor(
                actor=request.user, person=person, reason=form.cleaned_data["reason"]
            ),
            lambda _: _shown(),
            lambda _: f"The second factor of {person} has ended.",
        )
    )


def _shown() -> str:
    return reverse("settings:laboratory-show")


@fresh
@page(Action.MANAGE_PEOPLE)
def password_open(request: PersonRequest, pk: int) -> HttpResponse:
    """Make a link by which a person sets a new password; nobody else learns it."""
    person = found(people_list().filter(pk=pk, is_active=True).first(), "account")
    form = FactorGoneForm(sent(request))
    form.fields["reason"].label = "Why is it set anew"
    asking = Asking(
        f"New password for {person}",
        "Make the link",
        _shown(),
        intro="The present password and all sessions end. Give the link to the person only.",
        grave=True,
    )
    if form.is_bound and form.is_valid():
        path = accounts.open_password(
            actor=request.user,
            person=person,
            path=RESET_PAGE,
            reason=form.cleaned_data["reason"],
        )
        context = {"person": person, "link": settings.BASE_URL + path}
        return render(request, "web/settings/password_open.html", context)
    return FormPage(request, form, asking).show()
