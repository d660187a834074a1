"""The page on which a version of a procedure is written: its steps, its nest, its shaking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from gradation.errors import Invalid, Refusal
from gradation.models import Procedure, ProcedureAperture, ProcedureVersion, User
from gradation.queries.methods import mark_of_field
from gradation.science.errors import GradationError
from gradation.science.procedure_library import COMMON_PRACTICE, CONFIRMED
from gradation.science.quantities import parse_decimal
from gradation.services import methods
from gradation.web.forms.methods import ProcedureVersionForm, initial_of_version
from gradation.web.forms.procedure_sizes import SPARE_ROWS, SeveralForm, SizeRows
from gradation.web.shaking_preview import MotionShown, Setting, motion_shown

__all__ = ["Editor", "motion_typed"]

TEMPLATE = "web/procedures/version_edit.html"


@dataclass
class Editor:
    """One visit to the page: a new version of a procedure, or a draft that is changed."""

    request: HttpRequest
    actor: User
    procedure: Procedure
    version: ProcedureVersion | None = None
    model: ProcedureVersion | None = None
    """The version whose words a new draft begins with."""

    def answer(self) -> HttpResponse:
        """Show the page; keep what was sent, or lay out more rows."""
        if self.request.method != "POST":
            return self._first()
        act = self.request.POST.get("act", "keep")
        if act in {"more", "several"}:
            return self._laid_out(act)
        return self._keep()

    def _first(self) -> HttpResponse:
        begun = self.version or self.model
        if begun is None:
            return self._show(ProcedureVersionForm(), SizeRows.of([]))
        form = ProcedureVersionForm(initial=initial_of_version(begun))
        return self._show(form, SizeRows.of(list(begun.apertures.all())))

    def _laid_out(self, act: str) -> HttpResponse:
        """Lay out more rows, or those of several sizes at once; nothing is kept."""
        typed = {name: self.request.POST.get(name, "") for name in ProcedureVersionForm.base_fields}
        form = ProcedureVersionForm(initial=typed)
        if act == "more":
            return self._show(form, SizeRows.sent(self.request.POST, more=SPARE_ROWS))
        several, rows = SeveralForm(self.request.POST), SizeRows.sent(self.request.POST)
        readable = rows.is_valid()
        if not (several.is_valid() and readable):
            return self._show(form, rows, several)
        places = [*rows.readable(), *several.cleaned_data["sizes"]]
        falling = sorted(places, key=lambda place: place.aperture_um, reverse=True)
        return self._show(form, SizeRows.of(falling))

    def _keep(self) -> HttpResponse:
        form = ProcedureVersionForm(self.request.POST)
        rows = SizeRows.sent(self.request.POST)
        good = form.is_valid()
        if not (rows.is_valid() and good):
            return self._show(form, rows)
        try:
            version = self._write(form.fields_of_version(), rows.places())
        except Refusal as refusal:
            _placed(form, rows, refusal)
            return self._show(form, rows)
        messages.info(self.request, f"{version} is kept as a draft. Propose it when it is right.")
        return redirect(_shown(version))

    def _write(
        self, fields: dict[str, Any], places: Sequence[ProcedureAperture]
    ) -> ProcedureVersion:
        if self.version is not None:
            return methods.change_procedure_draft(
                actor=self.actor, version=self.version, places=places, **fields
            )
        key = self.model.library_key if self.model is not None else ""
        new = ProcedureVersion(procedure=self.procedure, library_key=key, **fields)
        return methods.draft_procedure_version(actor=self.actor, version=new, places=places)

    def _show(
        self, form: ProcedureVersionForm, rows: SizeRows, several: SeveralForm | None = None
    ) -> HttpResponse:
        bad_sizes = several is not None and bool(several.errors)
        wrong = (form.is_bound and form.errors) or rows.faulty or bad_sizes
        context = {
            "form": form,
            "rows": rows,
            "several": several or SeveralForm(),
            "procedure": self.procedure,
            "version": self.version,
            "marked": _marked(self.version),
            "motion": motion_typed(_typed(form)),
            "back": _shown(self.version) if self.version else _list(),
        }
        return render(self.request, TEMPLATE, context, status=422 if wrong else 200)


def _typed(form: ProcedureVersionForm) -> dict[str, object]:
    return {name: form[name].value() for name in form.fields if name.startswith("shaking_")}


def motion_typed(typed: Mapping[str, object]) -> MotionShown:
    """Work out the motion from what stands in the fields; what cannot be read counts as empty."""
    return motion_shown(
        Setting(
            motion=str(typed.get("shaking_motion") or ""),
            amplitude_mm=_figure(typed.get("shaking_amplitude_mm")),
            frequency_hz=_figure(typed.get("shaking_frequency_hz")),
            acceleration_g=_figure(typed.get("shaking_acceleration_g")),
        )
    )


def _figure(value: object) -> Decimal | None:
    text = str(value if value is not None else "").strip()
    try:
        return parse_decimal(text) if text else None
    except GradationError:
        return None


def _marked(version: ProcedureVersion | None) -> list[tuple[str, str]]:
    """List the labels of fields that stand as the library has them and are to be confirmed."""
    if version is None or not version.library_key:
        return []
    marks = {
        str(field.label): mark_of_field(version, name)
        for name, field in ProcedureVersionForm.base_fields.items()
    }
    return [(label, mark) for label, mark in marks.items()
            if mark not in {"", CONFIRMED, COMMON_PRACTICE}]  # fmt: skip


def _placed(form: ProcedureVersionForm, rows: SizeRows, refusal: Refusal) -> None:
    """Put every fault beside its field, its row, or above the page."""
    if not isinstance(refusal, Invalid):
        form.take(refusal)
        return
    for fault in refusal.faults:
        if not rows.place(fault.field, fault.message):
            form.add_error(fault.field if fault.field in form.fields else None, fault.message)


def _shown(version: ProcedureVersion) -> str:
    return reverse("procedures:version-show", args=[version.pk])


def _list() -> str:
    return reverse("procedures:procedure-list")
