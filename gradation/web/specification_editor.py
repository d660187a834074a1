"""The page on which a version of a specification is written: fields, limits, drawing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from gradation.charts.interactive import plotly_figure
from gradation.errors import Invalid, Refusal
from gradation.models import LotRule, Specification, SpecificationLine, SpecificationVersion, User
from gradation.queries.methods import characteristic_names
from gradation.queries.specifications import lot_words
from gradation.science.envelopes import LineKind
from gradation.services import specifications
from gradation.services.specification_checks import faults_of
from gradation.services.specification_reading import ReadSpecification, read_file
from gradation.web.forms.specifications import (
    SPARE_ROWS,
    FileForm,
    LimitRows,
    VersionForm,
    initial_of_version,
)
from gradation.web.specification_figure import specification_figure

__all__ = ["Editor", "preview_of"]

#: Fields of a version that judge beside its lines.
_RULES = ("lot_rule", "lot_size", "lot_share_pct", "neighbour_maximum_pct")
TEMPLATE = "web/specifications/version_edit.html"


@dataclass
class Editor:
    """One visit to the page: a new version of a specification, or a draft that is changed."""

    request: HttpRequest
    actor: User
    specification: Specification
    version: SpecificationVersion | None = None

    def answer(self) -> HttpResponse:
        """Show the page; keep what was sent, lay out more rows, or fill them from a file."""
        if self.request.method != "POST":
            return self._first()
        act = self.request.POST.get("act", "keep")
        form = VersionForm(self.request.POST, specification=self.specification)
        if act == "import":
            return self._filled(form)
        rows = LimitRows.sent(self.request.POST, more=SPARE_ROWS if act == "more" else 0)
        if act == "more":
            return self._show(self._loose(form), rows)
        return self._keep(form, rows)

    def _first(self) -> HttpResponse:
        if self.version is None:
            form = VersionForm(specification=self.specification)
            return self._show(form, LimitRows.of([]))
        told = initial_of_version(self.version)
        form = VersionForm(initial=told, specification=self.specification)
        return self._show(form, LimitRows.of(list(self.version.lines.all())))

    def _loose(self, form: VersionForm) -> VersionForm:
        """Give the same fields with what was typed, without judging it yet."""
        typed = {name: self.request.POST.get(name, "") for name in form.fields}
        return VersionForm(initial=typed, specification=self.specification)

    def _filled(self, form: VersionForm) -> HttpResponse:
        """Fill the rows from a file; nothing is kept."""
        upload = FileForm(self.request.POST, self.request.FILES)
        loose = self._loose(form)
        file = upload.files.get("file")
        if file is None:
            upload.add_error("file", "Choose a file first.")
            return self._show(loose, LimitRows.sent(self.request.POST), upload)
        try:
            read = read_file(file.read(), file.name or "")
        except Invalid as refusal:
            for fault in refusal.faults:
                upload.add_error("file", _of_cell(fault.field, fault.message))
            return self._show(loose, LimitRows.sent(self.request.POST), upload)
        return self._show(self._with(loose, read), LimitRows.of(read.lines))

    def _with(self, form: VersionForm, read: ReadSpecification) -> VersionForm:
        told = {**form.initial, **read.fields}
        if read.fields.get("confidence") is not None:
            told["confidence_pct"] = 100 * read.fields["confidence"]
        return VersionForm(initial=told, specification=self.specification)

    def _keep(self, form: VersionForm, rows: LimitRows) -> HttpResponse:
        good = form.is_valid()
        if not (rows.is_valid() and good):
            return self._show(form, rows)
        try:
            version = self._write(form.fields_of_version(), rows.lines())
        except Refusal as refusal:
            _placed(form, rows, refusal)
            return self._show(form, rows)
        messages.info(self.request, f"{version} is kept as a draft. Propose it when it is right.")
        return redirect(_shown(version))

    def _write(
        self, fields: dict[str, Any], lines: Sequence[SpecificationLine]
    ) -> SpecificationVersion:
        if self.version is None:
            new = SpecificationVersion(specification=self.specification, **fields)
            return specifications.draft_specification_version(
                actor=self.actor, version=new, lines=lines
            )
        return specifications.change_specification_draft(
            actor=self.actor, version=self.version, lines=lines, **fields
        )

    def _show(
        self, form: VersionForm, rows: LimitRows, upload: FileForm | None = None
    ) -> HttpResponse:
        faulty = [row for row in rows.filled if row.is_bound and row.errors]
        wrong = (form.is_bound and form.errors) or faulty or (upload is not None and upload.errors)
        lines = _lines_of(rows)
        context = {
            "form": form,
            "rows": rows,
            "upload": upload or FileForm(),
            "specification": self.specification,
            "version": self.version,
            "names": sorted(name.replace("_", " ") for name in characteristic_names()),
            "faulty": faulty,
            "back": _shown(self.version) if self.version else _list(),
            **preview_of(
                str(self.version or self.specification),
                lines,
                (),
                rules_typed(form.data if form.is_bound else form.initial),
            ),
        }
        return render(self.request, TEMPLATE, context, status=422 if wrong else 200)


def preview_of(
    title: str,
    lines: Sequence[SpecificationLine],
    sentences: Sequence[str],
    rules: Mapping[str, Any],
) -> dict[str, Any]:
    """Give what the drawing beside the rows is made of, and what is wrong with the limits."""
    return {
        "chart": plotly_figure(specification_figure(title, lines, names_sieves=False)),
        "sentences": list(dict.fromkeys(sentences)),
        "drawn": len(lines),
        "undrawn": list(_undrawn(SpecificationVersion(**rules), lines)),
    }


def _undrawn(version: SpecificationVersion, lines: Sequence[SpecificationLine]) -> Iterator[str]:
    """Name the rules that hold and have no place in the drawing."""
    aside = [line for line in lines if line.kind in {LineKind.BETWEEN, LineKind.CHARACTERISTIC}]
    if aside:
        yield f"{len(aside)} limit{'s' if len(aside) > 1 else ''} between sieves or on values"
    if version.neighbour_maximum_pct is not None:
        most = version.neighbour_maximum_pct.normalize()
        yield f"at most {most:f} % between neighbouring sieves"
    if version.lot_rule != LotRule.SINGLE:
        yield f"the lot rule, {lot_words(version)}"


def rules_typed(data: Mapping[str, Any]) -> dict[str, Any]:
    """Read the rules on lots and neighbours as far as they can be read while they are typed."""
    form = VersionForm(data, specification=Specification())
    form.is_valid()
    read = {name: form.cleaned_data.get(name) for name in _RULES}
    return {name: value for name, value in read.items() if value not in (None, "")}


def sentences_about(lines: Sequence[SpecificationLine], **fields: Any) -> list[str]:
    """List what the service would say against these limits, without writing anything."""
    if not lines:
        return []
    return [fault.message for fault in faults_of(SpecificationVersion(**fields), lines)]


def _lines_of(rows: LimitRows) -> list[SpecificationLine]:
    """Read the rows for drawing; rows that were laid out, not sent, are read from their values."""
    if rows.filled and not rows.filled[0].is_bound:
        data = [row.initial for row in rows.filled]
        sent = [type(rows.filled[0])(_typed(each)) for each in data]
        return [row.line() for row in sent if row.is_valid()]
    return rows.readable()


def _typed(initial: Mapping[str, Any]) -> dict[str, Any]:
    return {name: "" if value is None else str(value) for name, value in initial.items()
            if value is not False}  # fmt: skip


def _placed(form: VersionForm, rows: LimitRows, refusal: Refusal) -> None:
    """Put every fault beside its field, its cell, or above the page."""
    if not isinstance(refusal, Invalid):
        form.take(refusal)
        return
    for fault in refusal.faults:
        if not rows.place(fault.field, fault.message):
            name = {"confidence": "confidence_pct"}.get(fault.field, fault.field)
            form.add_error(name if name in form.fields else None, fault.message)


def _of_cell(field: str, message: str) -> str:
    parts = field.split("/")
    if len(parts) == 3 and parts[1].isdigit():
        return f"Limit {int(parts[1]) + 1}, {parts[2].replace('_', ' ')}: {message}"
    return message if field in {"", "file", "lines"} else f"{field.replace('_', ' ')}: {message}"


def _shown(version: SpecificationVersion) -> str:
    return reverse("specifications:version-show", args=[version.pk])


def _list() -> str:
    return reverse("specifications:specification-list")
