"""Labels of equipment: of one item, or of many on a sheet."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.models import Instrument, Sieve
from gradation.queries.equipment_file import items_in_use, labelled
from gradation.web.answers import Asking, FormPage, PersonRequest, page
from gradation.web.forms.labels import LabelForm
from gradation.web.labels import label_of, printed, stock_in
from gradation.web.views.equipment_items import item_of


@require_GET
@page()
def item_label(request: PersonRequest, serial: str) -> HttpResponse:
    """Give the label of one item, on a roll unless the address says otherwise."""
    return printed([label_of(item_of(serial))], stock_in(request, "roll"))


@require_GET
@page()
def label_sheet(request: PersonRequest) -> HttpResponse:
    """Ask which labels on what stock, and give them as a PDF."""
    asked = "stock" in request.GET
    form = LabelForm(request.GET if asked else None)
    if asked and form.is_valid():
        items = _items(form)
        if items:
            values = form.cleaned_data
            return printed(map(label_of, items), values["stock"], values["used"] or 0)
        form.add_error(None, "Nothing stands under these words. Choose another bench or kind.")
    asking = Asking("Print labels", "Make the PDF", reverse("equipment:due-list"))
    return FormPage(request, form, asking, "web/equipment/label_sheet.html").show()


def _items(form: LabelForm) -> list[Sieve | Instrument]:
    values = form.cleaned_data
    if values["serials"].strip():
        return labelled(values["serials"].split())
    return items_in_use(values["what"], values["bench"])
