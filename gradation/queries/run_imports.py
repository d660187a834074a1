"""Tables of runs and orders from elsewhere, and the forms by which they are read."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.errors import NotFound
from gradation.models import RunImport, SheetForm

__all__ = ["find_import", "find_sheet_form", "import_list", "sheet_forms"]


def sheet_forms() -> QuerySet[SheetForm]:
    """List the forms with what they fill in."""
    return SheetForm.objects.select_related("customer", "material", "bench", "nest")


def import_list() -> QuerySet[RunImport]:
    """List the tables given in, newest first, without the files themselves."""
    return RunImport.objects.select_related("form", "given_by").defer("file")


def find_import(pk: int) -> RunImport:
    """Give one table, or `NotFound`."""
    job = import_list().select_related("form__material", "form__nest").filter(pk=pk).first()
    if job is None:
        msg = "There is no such table. Go back to the list of imports."
        raise NotFound(msg)
    return job


def find_sheet_form(pk: int) -> SheetForm:
    """Give one form, or `NotFound`."""
    form = sheet_forms().filter(pk=pk).first()
    if form is None:
        msg = "There is no such form. Go back to the list of imports."
        raise NotFound(msg)
    return form
