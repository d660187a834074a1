"""The starter library of procedures: what the trades do, to draft from."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import ProcedureVersion
from gradation.policy import Action, require
from gradation.science.errors import GradationError
from gradation.science.procedure_library import LibraryProcedure, library_procedure, procedures
from gradation.services import methods
from gradation.services.procedure_reading import from_library
from gradation.web.answers import Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.methods import FromLibraryForm
from gradation.web.lists import searched
from gradation.web.procedure_page import library_groups, trades_shown


@page()
def library_list(request: PersonRequest) -> HttpResponse:
    """List the procedures that a draft can be made from, trade by trade."""
    term = searched(request)
    context = {"trades": trades_shown(term), "term": term, "all": len(procedures())}
    return render(request, "web/procedures/library_list.html", context)


@page()
def library_show(request: PersonRequest, key: str) -> HttpResponse:
    """Show one procedure with mark and source of every figure; draft a version from it."""
    kept = _kept(key)
    if request.method == "POST":
        require(request.user, Action.KEEP_PROCEDURES)
    form = FromLibraryForm(sent(request), initial={"title": kept.title})
    context = {"kept": kept, "groups": library_groups(kept)}
    return FormPage(request, form, None, "web/procedures/library_show.html", context).answer(
        Doing(
            lambda: _drafted(request, form, kept),
            lambda version: reverse("procedures:version-edit", args=[version.pk]),
            lambda version: f"{version} is drafted from the library. Look at every figure.",
        )
    )


def _kept(key: str) -> LibraryProcedure:
    try:
        return library_procedure(key)
    except GradationError:
        return found(None, "procedure in the library")


def _drafted(
    request: PersonRequest, form: FromLibraryForm, kept: LibraryProcedure
) -> ProcedureVersion:
    read = from_library(kept)
    return methods.draft_procedure_version(
        actor=request.user,
        version=ProcedureVersion(procedure=form.procedure_named(), **read.fields),
        places=read.places,
    )
