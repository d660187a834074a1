"""Endpoints of tables from elsewhere: how they are read, given in, looked through, taken in."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gradation.api.contract.files import Base64File
from gradation.api.contract.things import Act, Listing, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent
from gradation.api.serializers import states
from gradation.errors import Fault, Invalid
from gradation.models import RunImport, SheetForm, User
from gradation.queries.equipment import bench_list
from gradation.queries.laboratory import customer_list, material_list
from gradation.queries.nests import nest_list
from gradation.queries.run_imports import find_import, find_sheet_form, import_list, sheet_forms
from gradation.services import run_import
from gradation.services.sheet_kinds import kind_of

FAULTS_SHOWN = 500


class SheetFormIn(Sent):
    """How the tables of one origin are read."""

    name = serializers.CharField(max_length=80, help_text="Such as where the tables come from.")
    customer = serializers.CharField(
        max_length=160, default=None, allow_null=True, help_text="Where no column says so."
    )
    material = serializers.CharField(
        max_length=120, default=None, allow_null=True, help_text="Where no column says so."
    )
    bench = serializers.CharField(
        max_length=60, default=None, allow_null=True, help_text="Runs only."
    )
    nest = serializers.CharField(
        max_length=80, default=None, allow_null=True, help_text="Runs only: the nest that was used."
    )
    unit = serializers.ChoiceField(
        states(SheetForm.Unit), default="g", help_text="Unit of the masses."
    )
    columns = serializers.DictField(
        child=serializers.CharField(max_length=60),
        help_text=(
            "Under each heading what the column means. Orders: "
            f"{', '.join(kind_of('orders').meanings)}. "
            f"Runs: {', '.join(kind_of('runs').meanings)}, and fraction: with an aperture "
            "in micrometres, such as fraction:63."
        ),
    )


class NewSheetFormIn(SheetFormIn):
    """How the tables of one origin are read, and what a row of them is."""

    kind = serializers.ChoiceField(states(SheetForm.Kind))


class SheetFormOut(serializers.Serializer):
    """How the tables of one origin are read."""

    id = serializers.IntegerField(source="pk")
    kind = serializers.ChoiceField(states(SheetForm.Kind))
    name = serializers.CharField()
    customer = serializers.CharField(source="customer.name", default=None, allow_null=True)
    material = serializers.CharField(source="material.name", default=None, allow_null=True)
    bench = serializers.CharField(source="bench.name", default=None, allow_null=True)
    nest = serializers.CharField(source="nest.name", default=None, allow_null=True)
    unit = serializers.ChoiceField(states(SheetForm.Unit))
    columns = serializers.DictField(child=serializers.CharField())
    version = serializers.IntegerField(help_text="Counts the changes.")


class TableIn(Sent):
    """A table."""

    form = serializers.IntegerField(
        min_value=1, max_value=2**63 - 1, help_text="Id of the form by which it is read."
    )
    file_name = serializers.CharField(max_length=160)
    file_base64 = Base64File()


class ImportFilters(OlderPage):
    """What the list of tables is narrowed to."""

    kind = serializers.ChoiceField(states(SheetForm.Kind), required=False)
    state = serializers.ChoiceField(states(RunImport.State), required=False)


class CellFaultOut(serializers.Serializer):
    """One thing wrong with one cell."""

    row = serializers.IntegerField(help_text="As a spreadsheet counts, the headings being 1.")
    column = serializers.CharField(help_text="Heading; empty when the whole row is meant.")
    message = serializers.CharField()


class ImportOut(serializers.Serializer):
    """A table given in, and how far it is."""

    id = serializers.IntegerField(source="pk")
    form = serializers.IntegerField(source="form_id")
    kind = serializers.ChoiceField(states(SheetForm.Kind), source="form.kind")
    file_name = serializers.CharField()
    file_sha256 = serializers.CharField(source="file_digest")
    state = serializers.ChoiceField(states(RunImport.State))
    way = serializers.ChoiceField(states(RunImport.Way))
    rows_total = serializers.IntegerField()
    rows_done = serializers.IntegerField(help_text="How far the work is.")
    rows_stored = serializers.IntegerField()
    rows_faulty = serializers.IntegerField()
    said = serializers.CharField(help_text="Why it stopped.")
    given_at = serializers.DateTimeField()
    given_by = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)


class TakenOut(serializers.Serializer):
    """What became of a row."""

    row = serializers.IntegerField(help_text="As a spreadsheet counts, the headings being 1.")
    sample = serializers.CharField()
    run = serializers.IntegerField(allow_null=True)


class OneImportOut(ImportOut):
    """A table given in, how far it is, what is wrong with it, what it became."""

    faults = CellFaultOut(many=True)
    taken_in = TakenOut(many=True, help_text="In the order of the rows.")


class WayIn(Sent):
    """What becomes of faulty rows."""

    way = serializers.ChoiceField(states(RunImport.Way))


def _import_words(person: User, job: RunImport) -> Words:
    faults = [
        {"row": row, "column": column, "message": message} for row, column, message in job.faults
    ]
    shown = dict(ImportOut(job).data)
    return shown | {"faults": faults[:FAULTS_SHOWN], "taken_in": taken_in_rows(job)}


def taken_in_rows(job: RunImport) -> list[Words]:
    """Say of each row what it became."""
    if job.form.kind == SheetForm.Kind.ORDERS:
        rows = job.samples.order_by("import_row").values_list("import_row", "number")
        return [{"row": row, "sample": number, "run": None} for row, number in rows]
    runs = job.runs.order_by("import_row").values_list(
        "import_row", "portion__sample__number", "pk"
    )
    return [{"row": row, "sample": number, "run": run} for row, number, run in runs]


FORM = Thing("form", lambda person, pk: find_sheet_form(pk), SheetFormOut)
IMPORT = Thing("job", lambda person, pk: find_import(pk), OneImportOut, _import_words)

_LOOKED_UP: dict[str, Any] = {
    "customer": customer_list,
    "material": material_list,
    "bench": bench_list,
    "nest": nest_list,
}


def _filled(form: SheetForm, told: Words) -> Words:
    faults = []
    for word, rows in _LOOKED_UP.items():
        name = told[word]
        row = None if name is None else rows().filter(name=name).first()
        if name is not None and row is None:
            msg = f"There is no {word} of this name. Add it first, or correct it."
            faults.append(Fault(word, msg, f"unknown-{word}"))
        setattr(form, word, row)
    if faults:
        raise Invalid(faults)
    form.name, form.unit, form.columns = told["name"], told["unit"], dict(told["columns"])
    return {"form": form}


def _new_form(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return _filled(SheetForm(kind=told["kind"]), told)


def _changed_form(person: User, form: SheetForm, told: Words) -> Words:
    return _filled(form, told)


def _given(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    form = sheet_forms().filter(pk=told["form"]).first()
    if form is None:
        msg = "There is no form with this id. See /api/v1/sheet-forms."
        raise Invalid.one("form", msg, code="unknown-form")
    return {"form": form, "file": told["file_base64"], "name": told["file_name"]}


def _imports(person: User, asked: Words) -> QuerySet[RunImport]:
    wanted = {
        field: asked[word]
        for word, field in (("kind", "form__kind"), ("state", "state"))
        if word in asked
    }
    return import_list().filter(**wanted)


def _forms(person: User, asked: Words) -> QuerySet[SheetForm]:
    return sheet_forms()


_ONE = "imports/<int:pk>"
routes = [
    route(
        "sheet-forms",
        "sheet-forms",
        "imports",
        get=Listing(_forms, SheetFormOut, OlderPage),
        post=Act(run_import.change_sheet_form, NewSheetFormIn, _new_form, made=FORM, code=201),
    ),
    route(
        "sheet-forms/<int:pk>",
        "sheet-form",
        "imports",
        get=FORM,
        put=Act(run_import.change_sheet_form, SheetFormIn, _changed_form, FORM),
    ),
    route(
        "imports",
        "imports",
        "imports",
        get=Listing(_imports, ImportOut, ImportFilters),
        post=Act(run_import.add_table, TableIn, _given, made=IMPORT, code=201),
    ),
    route(_ONE, "import", "imports", get=IMPORT),
    route(
        f"{_ONE}/look",
        "import-look",
        "imports",
        post=Act(run_import.look_in_background, None, thing=IMPORT, matched=False, code=202),
    ),
    route(
        f"{_ONE}/take-in",
        "import-take-in",
        "imports",
        post=Act(run_import.take_in_background, WayIn, thing=IMPORT, code=202),
    ),
    route(
        f"{_ONE}/stop",
        "import-stop",
        "imports",
        post=Act(run_import.stop_import, None, thing=IMPORT, matched=False),
    ),
]
