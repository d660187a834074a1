"""Procedures: the list, a version drafted, proposed, released, compared; samples in work."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.documents.procedure_sheet import procedure_pdf
from gradation.models import Procedure, ProcedureVersion
from gradation.policy import Action
from gradation.queries import methods as file
from gradation.queries.procedure_words import LABELS, WordGroup, compared, procedure_words
from gradation.services import edition_decisions, methods
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, said, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.methods import (
    CompareForm,
    EditionForm,
    ProcedureForm,
    ReleaseForm,
    ReturnForm,
)
from gradation.web.procedure_editor import Editor, motion_typed
from gradation.web.procedure_page import marked_groups
from gradation.web.procedure_print import procedure_content
from gradation.web.shaking_preview import MotionShown

KEEP, APPROVE = Action.KEEP_PROCEDURES, Action.APPROVE_PROCEDURES


def _procedure(pk: int) -> Procedure:
    return found(file.procedure_list().filter(pk=pk).first(), "procedure")


def _version(pk: int) -> ProcedureVersion:
    return found(file.procedure_version(pk), "procedure version")


def _place(pk: int) -> str:
    return reverse("procedures:version-show", args=[pk])


@page()
def procedure_list(request: PersonRequest) -> HttpResponse:
    """List the procedures with their versions, and what waits for approval."""
    context = {
        "procedures": file.procedure_list(),
        "waiting": file.procedures_awaiting_approval(),
    }
    return render(request, "web/procedures/procedure_list.html", context)


@page(KEEP)
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
def version_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show all that one version of a procedure says."""
    version = _version(pk)
    context = {
        "version": version,
        "groups": marked_groups(version),
        "motion": _motion(version),
        "library": file.library_of(version),
        "from_memory": _from_memory(version),
        "others": file.comparable_versions(version),
        "orders": file.open_orders(version).count(),
        "own": request.user.pk in {version.drafted_by_id, version.proposed_by_id},
        "policy": laboratory_of(request),
    }
    return render(request, "web/procedures/version_show.html", context)


@require_GET
@page()
def version_pdf(request: PersonRequest, pk: int) -> HttpResponse:
    """Give one edition as it is laid down beside the bench: a PDF."""
    version = _version(pk)
    content = procedure_content(version, laboratory_of(request), request.user)
    answer = HttpResponse(procedure_pdf(content), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="procedure-{pk}.pdf"'
    return answer


def _motion(version: ProcedureVersion) -> MotionShown:
    names = ("motion", "amplitude_mm", "frequency_hz", "acceleration_g")
    return motion_typed({f"shaking_{name}": getattr(version, f"shaking_{name}") for name in names})


def _from_memory(version: ProcedureVersion) -> str:
    kept = [f"{note.standard} ({note.rule})" for note in file.rules_from_memory(version)]
    kept += [LABELS.get(field, field) for field in file.figures_from_memory(version)]
    return ", ".join(kept)


@page(KEEP)
def version_draft(request: PersonRequest, pk: int) -> HttpResponse:
    """Draft the next version of a procedure, beginning with what the newest says."""
    procedure = _procedure(pk)
    newest = next(iter(procedure.versions.all()), None)
    return Editor(request, request.user, procedure, model=newest).answer()


@page(KEEP)
def version_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a draft."""
    version = _version(pk)
    if version.state != "draft":
        said(request, f"{version} is {version.state}; it cannot be changed. Draft a new version.")
        return redirect("procedures:version-show", pk)
    return Editor(request, request.user, version.procedure, version).answer()


@require_POST
@page(KEEP)
def motion_preview(request: PersonRequest) -> HttpResponse:
    """Say what the setting being typed does to the grains; keeps nothing."""
    context = {"motion": motion_typed(request.POST)}
    return render(request, "web/procedures/motion.html", context)


@require_POST
@page(KEEP)
def version_propose(request: PersonRequest, pk: int) -> HttpResponse:
    """Propose a draft for release."""
    version = methods.propose_procedure_version(actor=request.user, version=_version(pk))
    said(request, f"{version} is proposed. Another person releases it.")
    return redirect("procedures:version-show", pk)


@page(APPROVE)
def version_approve(request: PersonRequest, pk: int) -> HttpResponse:
    """Release a proposed version, with what its figures from memory were compared with."""
    version, form = _version(pk), ReleaseForm(sent(request))
    kept = _from_memory(version)
    intro = f"Kept from memory: {kept}. Compare with your own edition first." if kept else ""
    asking = Asking(f"Release {version}", "Release this version", _place(pk), intro=intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.approve_procedure_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda released: _place(pk),
            lambda released: f"{released} is released; samples logged from now on use it.",
        )
    )


@page(APPROVE)
def version_return(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a proposed version back to be worked on."""
    version, form = _version(pk), ReturnForm(sent(request))
    asking = Asking(f"Return {version}", "Return it as a draft", _place(pk))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: methods.return_procedure_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda back: _place(pk),
            lambda back: f"{back} is a draft again.",
        )
    )


@page()
def version_compare(request: PersonRequest, pk: int) -> HttpResponse:
    """Set two versions of a procedure side by side, with what differs marked."""
    version = _version(pk)
    others = list(file.comparable_versions(version))
    form = CompareForm(request.GET or None, version=version)
    chosen = form.cleaned_data["other"] if form.is_bound and form.is_valid() else None
    other = _version((chosen or others[0]).pk) if others else None
    groups = list(compared(_words(other), _words(version))) if other else []
    context = {
        "version": version,
        "other": other,
        "others": others,
        "groups": groups,
        "count": sum(line.differs for _, lines in groups for line in lines),
        "only": "only" in request.GET,
    }
    return render(request, "web/procedures/version_compare.html", context)


def _words(version: ProcedureVersion) -> tuple[WordGroup, ...]:
    return procedure_words(version, list(version.apertures.all()))


@page()
def order_list(request: PersonRequest, pk: int) -> HttpResponse:
    """List the samples in work under an older version, for a decision each."""
    version = _version(pk)
    context = {
        "version": version,
        "orders": file.open_orders(version),
        "decided": version.edition_decisions.select_related(
            "sample", "former__procedure", "version__procedure", "decided_by"
        ),
    }
    return render(request, "web/procedures/order_list.html", context)


@page(KEEP)
def order_decide(request: PersonRequest, pk: int, number: str) -> HttpResponse:
    """Decide whether a sample stays on its version or moves to the released one."""
    version = _version(pk)
    form, back = EditionForm(sent(request)), reverse("procedures:order-list", args=[pk])
    sample = file.open_orders(version).filter(number=number).first()
    if sample is None:
        said(request, f"There is nothing to decide for sample {number} and {version}.")
        return redirect(back)
    intro = (
        f"It was logged under {sample.procedure_version}; runs already made keep that version. "
        "Set side by side what changed before you decide."
    )
    asking = Asking(f"Sample {sample}: which edition", "Keep the decision", back, intro=intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: edition_decisions.decide_edition(
                actor=request.user,
                sample=sample,
                version=version,
                is_moved=form.is_moved,
                reason=form.cleaned_data["reason"],
            ),
            lambda decision: back,
            lambda decision: f"Sample {decision} from now on.",
        )
    )
