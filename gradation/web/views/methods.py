"""Procedures and specifications: lists, versions, drafting and release."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from gradation.models import Procedure, Specification
from gradation.policy import Action
from gradation.queries import methods as file
from gradation.services import methods
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, said, sent
from gradation.web.forms.methods import (
    EndForm,
    ProcedureForm,
    ProcedureVersionForm,
    ReleaseForm,
    SpecificationForm,
    SpecificationVersionForm,
)


def _procedure(pk: int) -> Procedure:
    return found(file.procedure_list().filter(pk=pk).first(), "procedure")


def _specification(pk: int) -> Specification:
    return found(file.specification_list().filter(pk=pk).first(), "specification")


@page()
def procedure_list(request: PersonRequest) -> HttpResponse:
    """List the procedures with their versions."""
    context = {"procedures": file.procedure_list()}
    return render(request, "web/procedures/procedure_list.html", context)


@page(Action.KEEP_PROCEDURES)
def procedure_add(request: PersonRequest) -> HttpResponse:
    """Add a procedure by code and title."""
    form = ProcedureForm(sent(request))
    asking = Asking("Add a procedure", "Add it", reverse("procedures:procedure-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.add_procedure(actor=request.user, procedure=form.procedure()),
            lambda procedure: reverse("procedures:version-draft", args=[procedure.pk]),
            lambda procedure: f"Procedure {procedure} is added. Draft its first version.",
        )
    )


@page()
def procedure_version_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one version of a procedure."""
    version = found(file.procedure_version(pk), "procedure version")
    return render(request, "web/procedures/version_show.html", {"version": version})


@page(Action.KEEP_PROCEDURES)
def procedure_version_draft(request: PersonRequest, pk: int) -> HttpResponse:
    """Draft the next version of a procedure."""
    procedure = _procedure(pk)
    form = ProcedureVersionForm(sent(request))
    back = reverse("procedures:procedure-list")
    asking = Asking(f"Draft a version of {procedure}", "Keep the draft", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.draft_procedure_version(
                actor=request.user,
                version=form.version(procedure),
                apertures_um=form.cleaned_data["apertures"],
            ),
            lambda version: reverse("procedures:version-show", args=[version.pk]),
            lambda version: f"{version} is drafted. Read it once more before it is released.",
        )
    )


@page(Action.KEEP_PROCEDURES)
def procedure_version_release(request: PersonRequest, pk: int) -> HttpResponse:
    """Release a drafted version, with what its figures from memory were compared with."""
    version = found(file.procedure_version(pk), "procedure version")
    form = ReleaseForm(sent(request))
    place = reverse("procedures:version-show", args=[pk])
    notes = " ".join(note.sentence for note in file.rules_from_memory(version))
    asking = Asking(f"Release {version}", "Release this version", place, intro=notes)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.release_procedure_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda released: place,
            lambda released: f"{released} is released; runs opened from now on use it.",
        )
    )


@page()
def specification_list(request: PersonRequest) -> HttpResponse:
    """List the specifications with their versions."""
    context = {"specifications": file.specification_list()}
    return render(request, "web/specifications/specification_list.html", context)


@page(Action.KEEP_SPECIFICATIONS)
def specification_add(request: PersonRequest) -> HttpResponse:
    """Add a specification by code and title."""
    form = SpecificationForm(sent(request))
    back = reverse("specifications:specification-list")
    return FormPage(request, form, Asking("Add a specification", "Add it", back)).answer(
        Doing(
            lambda: methods.add_specification(
                actor=request.user, specification=form.specification()
            ),
            lambda row: reverse("specifications:version-draft", args=[row.pk]),
            lambda row: f"Specification {row} is added. Draft its first version.",
        )
    )


@page()
def specification_version_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one version of a specification."""
    version = found(file.specification_version(pk), "specification version")
    return render(request, "web/specifications/version_show.html", {"version": version})


@page(Action.KEEP_SPECIFICATIONS)
def specification_version_draft(request: PersonRequest, pk: int) -> HttpResponse:
    """Draft the next version of a specification."""
    specification = _specification(pk)
    form = SpecificationVersionForm(sent(request))
    back = reverse("specifications:specification-list")
    asking = Asking(f"Draft a version of {specification}", "Keep the draft", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.draft_specification_version(
                actor=request.user,
                version=form.version(specification),
                lines=form.cleaned_data["lines"],
            ),
            lambda version: reverse("specifications:version-show", args=[version.pk]),
            lambda version: f"{version} is drafted. Read it once more before it is released.",
        )
    )


@require_POST
@page(Action.KEEP_SPECIFICATIONS)
def specification_version_release(request: PersonRequest, pk: int) -> HttpResponse:
    """Release a drafted version of a specification for its dates."""
    version = found(file.specification_version(pk), "specification version")
    methods.release_specification_version(actor=request.user, version=version)
    said(request, f"{version} is released for its dates.")
    return redirect("specifications:version-show", pk)


@page(Action.KEEP_SPECIFICATIONS)
def specification_version_end(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a released version its last day."""
    version = found(file.specification_version(pk), "specification version")
    form = EndForm(sent(request))
    place = reverse("specifications:version-show", args=[pk])
    return FormPage(request, form, Asking(f"End {version}", "Keep the last day", place)).answer(
        Doing(
            lambda: methods.end_specification_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda ended: place,
            lambda ended: f"{ended} has its last day.",
        )
    )
