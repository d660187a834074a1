"""Import of tables: one handed in, and what its columns mean."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar, cast

from django import forms

from gradation.errors import Refusal
from gradation.models import Nest, RunImport, SheetForm
from gradation.queries.equipment import bench_list
from gradation.queries.laboratory import customer_list, material_list
from gradation.queries.nests import nest_list
from gradation.queries.run_imports import sheet_forms
from gradation.science.apertures import designation
from gradation.services.run_sheet_rows import FRACTION
from gradation.services.sheet_kinds import kind_of
from gradation.services.sheet_table import read_table
from gradation.web.forms.base import NotebookForm, RowField, WordChoiceField, WordsField
from gradation.web.forms.equipment import UploadField

MOST_COLUMNS = 80
NOT_READ = ("", "not read")


class TableForm(NotebookForm):
    """A table of runs or orders, and by which form it is read."""

    form = RowField("Read as", sheet_forms)
    file = UploadField(label="Table, CSV or XLSX")


class TakeInForm(NotebookForm):
    """What becomes of faulty rows."""

    way = WordChoiceField("Faulty rows", [(way.value, way.value) for way in RunImport.Way])


class ColumnsForm(NotebookForm):
    """How the tables of one origin are read; the columns come from a table handed in with it."""

    kind: ClassVar[str]
    fixed: ClassVar[tuple[str, ...]]

    name = WordsField("Name of the form", max_length=80, help_text="Such as where it comes from.")
    unit = WordChoiceField("Masses are in", [(unit.value, unit.value) for unit in SheetForm.Unit])
    file = UploadField(
        label="A table of this kind, CSV or XLSX",
        required=False,
        help_text="Its headings are read; nothing of it is taken in yet.",
    )
    headings = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20_000)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.columns: dict[str, str] = {}
        self._add_columns(self._known_headings())

    def _known_headings(self) -> list[str]:
        typed = self.data.get("headings") or self.initial.get("headings") or "[]"
        try:
            found = json.loads(cast(str, typed))
        except ValueError:
            return []
        is_list = isinstance(found, list) and all(isinstance(each, str) for each in found)
        return found[:MOST_COLUMNS] if is_list else []

    def _add_columns(self, headings: Sequence[str]) -> None:
        """Add a field for each heading: what the column means."""
        offered = self._meanings(headings)
        guess = kind_of(self.kind).guess
        kept: Mapping[str, str] = self.initial.get("columns") or guess(headings)
        for n, heading in enumerate(headings):
            name = f"column_{n}"
            self.fields[name] = WordChoiceField(
                heading or f"column {n + 1}", offered, required=False
            )
            self.initial.setdefault(name, kept.get(heading, ""))
            self.columns[name] = heading

    def _meanings(self, headings: Sequence[str]) -> list[tuple[str, str]]:
        """List what a column may mean."""
        return [NOT_READ, *kind_of(self.kind).meanings.items()]

    def take_headings(self) -> bool:
        """Read the headings of a file that came with the form; say whether there are new ones."""
        file: Any = self.cleaned_data.get("file")
        if not file:
            return False
        try:
            headings = [each for each in read_table(file.read(), file.name).headings if each]
        except Refusal as refusal:
            self.take(refusal)
            return True
        if headings == list(self.columns.values()):
            return False
        data = dict(self.data.items())
        data["headings"] = json.dumps(headings)
        guessed = kind_of(self.kind).guess(headings)
        for n, heading in enumerate(headings):
            data[f"column_{n}"] = guessed.get(heading, "")
        self.data = data
        self._add_columns(headings)
        return True

    def sheet_form(self, present: SheetForm | None = None) -> SheetForm:
        """Give the service the form that was described."""
        row = present or SheetForm(kind=self.kind)
        for name in ("name", "unit", *self.fixed):
            setattr(row, name, self.cleaned_data[name])
        row.columns = {
            heading: self.cleaned_data[name]
            for name, heading in self.columns.items()
            if self.cleaned_data.get(name)
        }
        return row


class SheetFormForm(ColumnsForm):
    """How tables of runs are read."""

    kind = SheetForm.Kind.RUNS.value
    fixed = ("customer", "material", "bench", "nest")
    field_order = ("name", *fixed, "unit", "file")

    customer = RowField("Customer", customer_list)
    material = RowField("Material", material_list)
    bench = RowField("Bench", bench_list)
    nest = RowField("Nest that was used", nest_list)

    def _meanings(self, headings: Sequence[str]) -> list[tuple[str, str]]:
        sizes = {
            Decimal(meaning.removeprefix(FRACTION))
            for meaning in kind_of(self.kind).guess(headings).values()
            if meaning.startswith(FRACTION)
        } | set(self._nest_sizes())
        fractions = [
            (f"{FRACTION}{size.normalize():f}", f"fraction on {designation(size)}")
            for size in sorted(sizes, reverse=True)
        ]
        return [*super()._meanings(headings), *fractions]

    def _nest_sizes(self) -> list[Decimal]:
        nest = self.data.get("nest") or self.initial.get("nest")
        key = nest.pk if isinstance(nest, Nest) else nest
        if not str(key or "").isdigit():
            return []
        found = nest_list().filter(pk=int(str(key))).first()
        return [place.sieve.aperture_um for place in found.places.all()] if found else []


class OrderFormForm(ColumnsForm):
    """How tables of orders are read."""

    kind = SheetForm.Kind.ORDERS.value
    fixed = ("customer", "material")
    field_order = ("name", *fixed, "unit", "file")

    customer = RowField(
        "Customer", customer_list, required=False, help_text="Where no column says so."
    )
    material = RowField(
        "Material", material_list, required=False, help_text="Where no column says so."
    )


#: The form for each kind of table.
FORM_OF: Mapping[str, type[ColumnsForm]] = {
    form.kind: form for form in (SheetFormForm, OrderFormForm)
}
