"""Settings: the laboratory and its policies, people, customers, sources and materials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import User
from gradation.policy import Action, may
from gradation.queries import laboratory as file
from gradation.queries.signatures import newest_policy, policy_to_accept
from gradation.services import laboratory, parties, people
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.base import NotebookForm, initial_of
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.settings import (
    CustomerForm,
    LaboratoryForm,
    MaterialForm,
    PersonForm,
    RolesForm,
    SourceChangeForm,
    SourceForm,
)
from gradation.web.fresh import fresh


def _shown() -> str:
    return reverse("settings:laboratory-show")


def _parties() -> str:
    return reverse("intake:customer-list")


@dataclass(frozen=True)
class Party:
    """What is kept about whom the laboratory works for: its noun, rows, form and service."""

    noun: str
    rows: Callable[[], QuerySet[Any]]
    form: type[NotebookForm]
    change: Callable[..., Model]


_CUSTOMER = Party("customer", file.customer_list, CustomerForm, parties.change_customer)
_SOURCE = Party("source", file.source_list, SourceChangeForm, parties.change_source)
_MATERIAL = Party("material", file.material_list, MaterialForm, parties.change_material)


def _change(request: PersonRequest, pk: int, party: Party) -> HttpResponse:
    row = found(party.rows().filter(pk=pk).first(), party.noun)
    form = party.form(sent(request), initial=initial_of(row, party.form))
    asking = Asking(
        f"Change {row}",
        "Keep the change",
        _parties(),
        intro="Issued certificates keep what they say; the earlier words stay in the records.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: party.change(actor=request.user, **{party.noun: row}, **form.cleaned_data),
            lambda changed: _parties(),
            lambda changed: f"{changed} is changed.",
        )
    )


def _person(pk: int) -> User:
    return found(file.people_list().filter(pk=pk).first(), "account")


@page()
def laboratory_show(request: PersonRequest) -> HttpResponse:
    """Show the laboratory, its policies and its people."""
    signs = may(request.user, Action.ACCEPT_SIGNING_POLICY)
    context = {
        "laboratory": laboratory_of(request),
        "people": file.people_list(),
        "signing_policy": newest_policy(),
        "policy_to_accept": policy_to_accept(request.user) if signs else None,
    }
    return render(request, "web/settings/laboratory_show.html", context)


@page(Action.SET_POLICY)
def laboratory_change(request: PersonRequest) -> HttpResponse:
    """Change the laboratory's particulars or policies, with a reason."""
    shown = laboratory_of(request)
    form = LaboratoryForm(sent(request), initial=initial_of(shown, LaboratoryForm))
    asking = Asking("Change the laboratory's particulars", "Keep the change", _shown())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: laboratory.change_laboratory(actor=request.user, **form.cleaned_data),
            lambda changed: _shown(),
            lambda changed: "The particulars are changed; the earlier ones stay in the records.",
        )
    )


@fresh
@page(Action.MANAGE_PEOPLE)
def person_add(request: PersonRequest) -> HttpResponse:
    """Add an account with its roles."""
    form = PersonForm(sent(request))
    return FormPage(request, form, Asking("Add a person", "Add the person", _shown())).answer(
        Doing(
            lambda: people.add_person(
                actor=request.user,
                person=form.person(),
                password=form.cleaned_data["password"],
                roles=form.cleaned_data["roles"],
            ),
            lambda person: _shown(),
            lambda person: f"{person} can sign in.",
        )
    )


@fresh
@page(Action.MANAGE_PEOPLE)
def roles_set(request: PersonRequest, pk: int) -> HttpResponse:
    """Change what a person may do, with a reason."""
    person = _person(pk)
    form = RolesForm(sent(request), initial={"roles": sorted(person.role_names)})
    asking = Asking(f"Roles of {person}", "Keep the roles", _shown())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: people.set_roles(actor=request.user, person=person, **form.cleaned_data),
            lambda changed: _shown(),
            lambda changed: f"The roles of {changed} are changed.",
        )
    )


@page(Action.MANAGE_PEOPLE)
def person_deactivate(request: PersonRequest, pk: int) -> HttpResponse:
    """Close an account, with a reason; its name stays on the records."""
    person = _person(pk)
    form = ReasonForm(sent(request))
    asking = Asking(f"Close the account of {person}", "Close the account", _shown(), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: people.deactivate_person(
                actor=request.user, person=person, reason=form.cleaned_data["reason"]
            ),
            lambda closed: _shown(),
            lambda closed: f"The account of {closed} is closed; the name stays on the records.",
        )
    )


@page()
def customer_list(request: PersonRequest) -> HttpResponse:
    """List customers, sources and materials."""
    context = {
        "customers": file.customer_list(),
        "sources": file.source_list(),
        "materials": file.material_list(),
    }
    return render(request, "web/intake/customer_list.html", context)


@page(Action.KEEP_PARTIES)
def customer_add(request: PersonRequest) -> HttpResponse:
    """Add a customer."""
    form = CustomerForm(sent(request))
    return FormPage(request, form, Asking("Add a customer", "Add it", _parties())).answer(
        Doing(
            lambda: parties.add_customer(actor=request.user, customer=form.customer()),
            lambda customer: _parties(),
            lambda customer: f"{customer} is added.",
        )
    )


@page(Action.KEEP_PARTIES)
def source_add(request: PersonRequest) -> HttpResponse:
    """Add a pit, plant or line of a customer."""
    form = SourceForm(sent(request))
    return FormPage(request, form, Asking("Add a source", "Add it", _parties())).answer(
        Doing(
            lambda: parties.add_source(actor=request.user, source=form.source()),
            lambda source: _parties(),
            lambda source: f"{source} is added.",
        )
    )


@page(Action.KEEP_PARTIES)
def material_add(request: PersonRequest) -> HttpResponse:
    """Add a material with what it is tested by."""
    form = MaterialForm(sent(request))
    return FormPage(request, form, Asking("Add a material", "Add it", _parties())).answer(
        Doing(
            lambda: parties.add_material(actor=request.user, material=form.material()),
            lambda material: _parties(),
            lambda material: f"{material} is added.",
        )
    )


@page(Action.KEEP_PARTIES)
def customer_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a customer's particulars."""
    return _change(request, pk, _CUSTOMER)


@page(Action.KEEP_PARTIES)
def source_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a source's particulars."""
    return _change(request, pk, _SOURCE)


@page(Action.KEEP_PARTIES)
def material_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a material, its hazards or what it is tested by."""
    return _change(request, pk, _MATERIAL)
