"""Records: everything that was done, newest first."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from gradation.queries.history import recent_entries
from gradation.web import lists
from gradation.web.answers import PersonRequest, page


@page()
def entry_list(request: PersonRequest) -> HttpResponse:
    """List the ledger, newest first."""
    context = {"page": lists.page_in_address(request, recent_entries())}
    return render(request, "web/records/entry_list.html", context)
