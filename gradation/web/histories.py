"""A history on its page: what it is narrowed to, its page of events, and the files of the same."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from gradation.errors import NotFound
from gradation.models import Bench
from gradation.queries.equipment import bench_list
from gradation.queries.history import HistoryFilter, narrowed, people_in, tell
from gradation.queries.history_words import KINDS
from gradation.queries.paging import page_of
from gradation.services.history_export import HistoryForm, HistoryOf, export_history
from gradation.web import lists
from gradation.web.answers import PersonRequest
from gradation.web.forms.base import DayField, NotebookForm, RowField, WordChoiceField
from gradation.web.story import days_of

EVENTS_SHOWN = 200


class PersonField(forms.TypedChoiceField):
    """One of the people who did something in this history."""

    look = ""


class HistoryFilterForm(NotebookForm):
    """What a history is narrowed to, in the address."""

    kind = WordChoiceField("About", [], required=False)
    person = PersonField(label="Person", coerce=int, empty_value=None, required=False)
    bench = RowField("Bench", bench_list, required=False, empty_label="all")
    first = DayField("From", required=False)
    last = DayField("To", required=False)

    def __init__(self, people: list[tuple[int, str]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [("", "all"), *((kind, kind) for kind in KINDS)]  # type: ignore[attr-defined]
        self.fields["person"].choices = [("", "all"), *people]  # type: ignore[attr-defined]

    def wanted(self) -> HistoryFilter:
        """Give the filter; what the address holds wrongly narrows nothing."""
        if not self.is_valid():
            return HistoryFilter()
        chosen = self.cleaned_data
        bench: Bench | None = chosen["bench"]
        first: date | None = chosen["first"]
        return HistoryFilter(
            kind=chosen["kind"],
            person=chosen["person"],
            bench=bench.pk if bench else None,
            first=first,
            last=chosen["last"],
        )


def history_page(
    request: PersonRequest, history: HistoryOf, template: str, *, file: str, **context: Any
) -> HttpResponse:
    """Show a history as a story, oldest first on each page; `file` is the address of its PDF."""
    form = HistoryFilterForm(people_in(history.entries), request.GET or None)
    wanted = form.wanted() if request.GET else HistoryFilter()
    entries = narrowed(history.entries, wanted)
    page = page_of(
        entries,
        before=lists.key_in(request, "before"),
        after=lists.key_in(request, "after"),
        size=EVENTS_SHOWN,
    )
    shown = lists.shown(request, page)
    shown_context = {
        "history": history,
        "form": form,
        "narrowed": wanted.is_narrow,
        "page": shown,
        "days": days_of(tell(reversed(shown.rows))),
        "query": _query(request),
        "files": [(form.value.upper(), file.replace("/pdf/", f"/{form}/")) for form in HistoryForm],
        **context,
    }
    return render(request, template, shown_context)


def history_file(request: PersonRequest, history: HistoryOf, form: str) -> HttpResponse:
    """Hand out a history as PDF, CSV or JSON: the events that the same address shows."""
    if form not in set(HistoryForm):
        msg = "A history is handed out as pdf, csv or json."
        raise NotFound(msg)
    filter_form = HistoryFilterForm(people_in(history.entries), request.GET or None)
    wanted = filter_form.wanted() if request.GET else HistoryFilter()
    part = HistoryOf(
        about=history.about,
        description=history.description,
        entries=narrowed(history.entries, wanted),
        subject=history.subject,
    )
    file = export_history(actor=request.user, wanted=part, form=HistoryForm(form))
    headers = {"Content-Disposition": f'attachment; filename="{file.name}"'}
    return HttpResponse(file.content, content_type=file.media_type, headers=headers)


def _query(request: HttpRequest) -> str:
    """Give what the address narrows to, for the ways to the files."""
    query = request.GET.copy()
    for name in ("before", "after"):
        query.pop(name, None)
    return f"?{query.urlencode()}" if query else ""
