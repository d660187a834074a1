"""Records: tables taken out as files, and what their columns mean."""

from __future__ import annotations

from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse

from gradation.errors import Refusal
from gradation.policy import Action
from gradation.queries.exports import Wanted, columns_of
from gradation.services.exports import Exported, export_records
from gradation.web.answers import Asking, FormPage, PersonRequest, page, sent
from gradation.web.forms.exports import TABLE_WORDS, ExportForm


def file_answer(exported: Exported) -> HttpResponseBase:
    """Answer with a file as a download, piece by piece."""
    answer = FileResponse(
        exported.file,
        as_attachment=True,
        filename=exported.name,
        content_type=exported.media_type,
    )
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


@page(Action.EXPORT_RECORDS)
def export_take(request: PersonRequest) -> HttpResponseBase:
    """Ask what is taken out; answer with the file."""
    form = ExportForm(sent(request))
    if form.is_bound and form.is_valid():
        told = form.cleaned_data
        try:
            return file_answer(
                export_records(
                    actor=request.user,
                    table=told["table"],
                    form=told["form"],
                    wanted=form.wanted(),
                )
            )
        except Refusal as refusal:
            form.take(refusal)
    intro = "Tables for other programs. Taking them out stands in the records with your name."
    asking = Asking("Take records out", "Take out", reverse("records:entry-list"), intro=intro)
    return FormPage(request, form, asking, "web/records/export_take.html").show()


@page(Action.EXPORT_RECORDS)
def column_list(request: PersonRequest) -> HttpResponse:
    """List what each column of each table means."""
    tables = [
        (words, table.value, columns_of(table, request.user, Wanted()))
        for table, words in TABLE_WORDS.items()
    ]
    return render(request, "web/records/column_list.html", {"tables": tables})
