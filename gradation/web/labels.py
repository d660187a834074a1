"""Rows as the labels that are stuck on them."""

from __future__ import annotations

from collections.abc import Iterable

from django.http import HttpRequest, HttpResponse

from gradation.documents.labels import (
    InstrumentLabel,
    Label,
    SampleLabel,
    SieveLabel,
    labels_pdf,
)
from gradation.models import Instrument, Sample, Sieve
from gradation.web.forms.labels import STOCKS
from gradation.web.shelf import limits_of
from gradation.web.templatetags.notebook import on_day, plain


def stock_in(request: HttpRequest, usual: str) -> str:
    """Give the label stock the address asks for, or the usual one."""
    asked = request.GET.get("stock", "")
    return asked if asked in STOCKS else usual


def printed(labels: Iterable[Label], stock: str, used: int = 0) -> HttpResponse:
    """Give labels as a PDF to be printed."""
    content = labels_pdf(tuple(labels), STOCKS[stock], used=used)
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return answer


def label_of(item: Sieve | Instrument) -> Label:
    """Give the label of an item; the code says its serial number and nothing else."""
    due = on_day(item.next_check_on) if item.next_check_on else ""
    if isinstance(item, Sieve):
        size = " · ".join(it for it in (item.designation, item.alternative) if it)
        frame = f"frame {plain(item.frame_diameter_mm)} mm"
        standard = f"{item.standard}, {item.grade}" + (", MASTER" if item.is_master else "")
        return SieveLabel(item.serial, item.serial, size, standard, frame, due)
    return InstrumentLabel(item.serial, item.serial, item.kind, item.model, limits_of(item), due)


def labels_of_sample(sample: Sample) -> list[Label]:
    """Give the label of a sample and one for each of its portions."""
    common = {
        "description": sample.description,
        "material": sample.material.name,
        "customer": sample.customer.name,
        "received_on": on_day(sample.received_at),
        "hazard": sample.material.hazards[:60],
    }
    parts: list[Label] = [
        SampleLabel(it.label, it.label, part="test portion", **common)
        for it in sample.portions.all()
    ]
    return [SampleLabel(sample.number, sample.number, part="sample", **common), *parts]
