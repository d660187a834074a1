"""Settings: the checks at the bench and how grave each is; the competence of people."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.policy import Action
from gradation.queries.run_check_counts import check_rows, find_competence
from gradation.queries.run_check_counts import competence_list as competences
from gradation.queries.run_checks import asked_rules
from gradation.services import clock, competence, run_checks
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.run_checks import CheckForm, CompetenceForm

#: How far back the list of checks counts.
LOOKS_BACK = timedelta(days=90)


def _checks() -> str:
    return reverse("settings:check-list")


def _competences() -> str:
    return reverse("settings:competence-list")


@page()
def check_list(request: PersonRequest) -> HttpResponse:
    """List the checks of a run: what each looks at, how grave it is, how often it fires."""
    rows = check_rows(laboratory_of(request), clock.now() - LOOKS_BACK)
    context = {"rows": rows, "days": LOOKS_BACK.days, "today": clock.today()}
    return render(request, "web/settings/check_list.html", context)


@page(Action.SET_POLICY)
def check_set(request: PersonRequest, code: str) -> HttpResponse:
    """Set how grave a check is, who may lift its stop, and its figures, with a reason."""
    every = {each.rule.code: each for each in asked_rules(laboratory_of(request))}
    asked = found(every.get(code), "check")
    form = CheckForm(asked, sent(request))
    heading = f"Check {asked.rule.number}: {asked.rule.title}"
    asking = Asking(heading, "Keep the choice", _checks(), intro=asked.rule.looks_at)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: run_checks.set_check_policy(
                actor=request.user,
                code=code,
                choice=form.choice(),
                reason=form.cleaned_data["reason"],
            ),
            lambda row: _checks(),
            lambda row: f"Check {asked.rule.number} is set; runs opened from now on follow it.",
        )
    )


@page()
def competence_list(request: PersonRequest) -> HttpResponse:
    """List who was found able to work which procedure."""
    context = {"rows": competences(clock.today())}
    return render(request, "web/settings/competence_list.html", context)


@page(Action.MANAGE_PEOPLE)
def competence_grant(request: PersonRequest) -> HttpResponse:
    """Record that somebody was found able to work a procedure."""
    form = CompetenceForm(sent(request), initial={"valid_from": clock.today()})
    asking = Asking("Record a competence", "Record it", _competences())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: competence.grant_competence(actor=request.user, competence=form.competence()),
            lambda row: _competences(),
            lambda row: f"The competence of {row} is on file.",
        )
    )


@page(Action.MANAGE_PEOPLE)
def competence_withdraw(request: PersonRequest, pk: int) -> HttpResponse:
    """Withdraw a competence from today on, with a reason."""
    row = found(find_competence(pk), "competence")
    form = ReasonForm(sent(request))
    asking = Asking(f"Withdraw the competence of {row}", "Withdraw it", _competences(), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: competence.withdraw_competence(
                actor=request.user, competence=row, reason=form.cleaned_data["reason"]
            ),
            lambda done: _competences(),
            lambda done: f"The competence of {done} is withdrawn; the entry stays on file.",
        )
    )
