"""Records: everything that was done, told by time, by person, by sample or by item."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import User
from gradation.policy import Action
from gradation.queries import history as told
from gradation.queries.certificates import find_certificate
from gradation.queries.laboratory import people_list
from gradation.queries.samples import find_sample
from gradation.queries.seals import seals
from gradation.services.audit_pack import pack_certificate
from gradation.services.history_export import HistoryOf
from gradation.web import lists
from gradation.web.answers import PersonRequest, found, page
from gradation.web.context import laboratory_of
from gradation.web.histories import history_file, history_page
from gradation.web.views.equipment_items import card_of, item_of

_PAGE = "web/records/history.html"
_EVERYTHING = (
    "Everything that was done. Entries are never changed; each carries the digest of the one "
    "before it in its chain."
)


def _of_sample(request: PersonRequest, number: str) -> HistoryOf:
    sample = find_sample(request.user, number)
    description = f"{sample.material.name} · {sample.customer.name}"
    return HistoryOf(f"sample {sample}", description, told.entries_of_sample(sample), sample)


@page(Action.READ_OWN_SAMPLES)
def sample_history(request: PersonRequest, number: str) -> HttpResponse:
    """Tell a sample's history as a story, from delivery to disposal."""
    history = _of_sample(request, number)
    back = reverse("intake:sample-show", args=[number])
    file = reverse("intake:sample-history-file", args=[number, "pdf"])
    return history_page(request, history, _PAGE, back=back, back_words=history.about, file=file)


@page(Action.EXPORT_HISTORY)
def sample_history_file(request: PersonRequest, number: str, form: str) -> HttpResponse:
    """Hand out a sample's history."""
    return history_file(request, _of_sample(request, number), form)


def _of_item(serial: str) -> HistoryOf:
    item = item_of(serial)
    return HistoryOf(f"{item.serial}", str(item), told.entries_of_equipment(item), item)


@page()
def item_history(request: PersonRequest, serial: str) -> HttpResponse:
    """Tell the history of a sieve or an instrument."""
    history = _of_item(serial)
    back, file = (
        card_of(item_of(serial)),
        reverse("equipment:item-history-file", args=[serial, "pdf"]),
    )
    return history_page(request, history, _PAGE, back=back, back_words=history.about, file=file)


@page()
def item_history_file(request: PersonRequest, serial: str, form: str) -> HttpResponse:
    """Hand out the history of a sieve or an instrument."""
    return history_file(request, _of_item(serial), form)


def _of_person(pk: int) -> HistoryOf:
    person: User = found(people_list().filter(pk=pk).first(), "person")
    description = f"What {person} did, and what was done about the account {person.username}."
    return HistoryOf(str(person), description, told.entries_of_person(person), person)


@page()
def person_history(request: PersonRequest, pk: int) -> HttpResponse:
    """Tell what a person did."""
    back, file = reverse("records:entry-list"), reverse("records:person-file", args=[pk, "pdf"])
    return history_page(request, _of_person(pk), _PAGE, back=back, back_words="Records", file=file)


@page()
def person_history_file(request: PersonRequest, pk: int, form: str) -> HttpResponse:
    """Hand out what a person did."""
    return history_file(request, _of_person(pk), form)


def _of_time(request: PersonRequest) -> HistoryOf:
    laboratory = laboratory_of(request)
    days = [request.GET.get(name, "") for name in ("first", "last")]
    about = " to ".join(day for day in days if day) or "all records"
    return HistoryOf(about[:40], _EVERYTHING, told.recent_entries(), laboratory)


@page()
def entry_list(request: PersonRequest) -> HttpResponse:
    """Tell everything that was done, the newest page first."""
    file = reverse("records:entry-file", args=["pdf"])
    return history_page(request, _of_time(request), _PAGE, file=file, heading="What was done")


@page()
def entry_file(request: PersonRequest, form: str) -> HttpResponse:
    """Hand out what was done in a time."""
    return history_file(request, _of_time(request), form)


@page()
def seal_list(request: PersonRequest) -> HttpResponse:
    """List the seals over the records, newest first."""
    context = {"page": lists.page_in_address(request, seals())}
    return render(request, "web/records/seal_list.html", context)


@page(Action.EXPORT_RECORDS)
def certificate_pack(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand out everything behind a certificate as one archive that proves itself."""
    certificate = find_certificate(request.user, pk)
    pack = pack_certificate(actor=request.user, certificate=certificate)
    headers = {"Content-Disposition": f'attachment; filename="{pack.name}"'}
    return HttpResponse(pack.content, content_type="application/zip", headers=headers)
