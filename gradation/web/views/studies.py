"""Studies of precision and comparison: list, entry, one study, its acts, its files."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.charts.series_interactive import plotly_series
from gradation.documents.study_report import study_csv, study_pdf
from gradation.models import Study
from gradation.policy import Action, may
from gradation.queries.studies.asked import LeftOut
from gradation.queries.studies.precision import left_out_of
from gradation.queries.studies.records import (
    find_follow_up,
    find_study,
    open_follow_ups,
    study_list,
)
from gradation.services import studies as service
from gradation.services.study_content import study_content
from gradation.web import lists
from gradation.web.answers import (
    Asking,
    Doing,
    FormPage,
    PersonRequest,
    found,
    page,
    said,
    sent,
)
from gradation.web.forms.charts import PointForm, WhyForm
from gradation.web.forms.studies import FORMS, CellForm, StudyForm

Act = Callable[..., Study]

_FOLLOW_UPS_SHOWN = 50
_WORDS = {
    "precision": "Precision study",
    "benches": "Compare benches or laboratories",
    "round": "Comparison round",
    "methods": "Compare two methods",
}
_INTROS = {
    "precision": "Several participants test the same materials, each several times: how far apart "
    "results lie within one and between them.",
    "benches": "Portions of one sample at two benches or laboratories: the difference of each "
    "passing, taken apart as far as the records allow.",
    "round": "Our result in a round of several laboratories. A score from 2 on, or of En from 1 "
    "on, opens a follow-up once the study is kept.",
    "methods": "The same samples by two methods: the line between them, and how far they agree.",
}


def _place(study: Study) -> str:
    return reverse("studies:study-show", args=[study.number])


def _form_of(study: Study) -> type[StudyForm]:
    return next(form for form in FORMS.values() if form.kind == study.kind)  # type: ignore[attr-defined]


@require_GET
@page()
def study_index(request: PersonRequest) -> HttpResponse:
    """List the follow-ups that wait, and the studies."""
    waiting = list(open_follow_ups()[:_FOLLOW_UPS_SHOWN])
    context = {
        "page": lists.page_in_address(request, study_list()),
        "follow_ups": waiting,
        "kinds": [(reverse("studies:study-begin", args=[k]), w) for k, w in _WORDS.items()],
        "may_keep": may(request.user, Action.KEEP_STUDIES),
    }
    return render(request, "web/studies/study_list.html", context)


@page(Action.KEEP_STUDIES)
def study_begin(request: PersonRequest, kind: str) -> HttpResponse:
    """Ask for what a kind of study needs, and work it out as a draft."""
    form = found(FORMS.get(kind), "such kind of study")(sent(request))
    asking = Asking(_WORDS[kind], "Work it out", reverse("studies:study-list"), _INTROS[kind])
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.begin_study(
                actor=request.user, head=form.head(), asked=form.asked(request.user)
            ),
            _place,
            lambda it: f"Study {it} is worked out as a draft. Look at it, then keep it.",
        )
    )


@page(Action.KEEP_STUDIES)
def study_change(request: PersonRequest, number: str) -> HttpResponse:
    """Enter a draft anew."""
    study = find_study(number)
    form = _form_of(study)(sent(request), initial=study.entered)
    asking = Asking(
        f"Change study {study}",
        "Work it out",
        _place(study),
        "It is worked out anew; results that were left out are in again.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.change_study(
                actor=request.user, study=study, head=form.head(), asked=form.asked(request.user)
            ),
            _place,
            lambda it: f"Study {it} is worked out anew.",
        )
    )


@require_GET
@page()
def study_show(request: PersonRequest, number: str) -> HttpResponse:
    """Show a study: finding, tables, charts, what can be done with it."""
    study = find_study(number)
    content = study_content(study, request.user)
    context = {
        "study": study,
        "content": content,
        "charts": [
            {
                "name": f"chart-{i}",
                "heading": chart.heading,
                "plot": plotly_series(chart.figure),
                "described": chart.figure.described(),
            }
            for i, chart in enumerate(content.parts.charts, start=1)
        ],
        "may_keep": study.is_draft and may(request.user, Action.KEEP_STUDIES),
        "may_leave_out": study.kind == Study.Kind.PRECISION,
        "has_left_out": bool(study.inputs.get("left_out")),
    }
    return render(request, "web/studies/study_show.html", context)


@require_POST
@page(Action.KEEP_STUDIES)
def study_keep(request: PersonRequest, number: str) -> HttpResponse:
    """Keep a draft."""
    study = service.keep_study(actor=request.user, study=find_study(number))
    said(request, f"Study {study} is kept; nothing changes it any more.")
    return redirect(_place(study))


@page(Action.KEEP_STUDIES)
def study_give_up(request: PersonRequest, number: str) -> HttpResponse:
    """Give a draft up."""
    study = find_study(number)
    form = WhyForm(sent(request))
    asking = Asking(f"Give up study {study}", "Give it up", _place(study), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.give_up_study(actor=request.user, study=study, **form.cleaned_data),
            lambda it: reverse("studies:study-list"),
            lambda it: f"Study {it} is given up.",
        )
    )


@page(Action.KEEP_STUDIES)
def cell_leave_out(request: PersonRequest, number: str) -> HttpResponse:
    """Leave one participant's results at one level out, with a reason."""
    study = find_study(number)
    out = {(each.participant, each.level) for each in _left_out(study)}
    cells = [cell for cell in _cells(study) if cell not in out]
    asking = Asking(
        f"Leave results out of study {study}",
        "Leave them out",
        _place(study),
        "A test only points at results. Say what was found when the cause was looked for; without "
        "a cause a straggler stays in.",
    )
    return _cell_page(request, study, cells, asking, service.leave_out)


@page(Action.KEEP_STUDIES)
def cell_take_back(request: PersonRequest, number: str) -> HttpResponse:
    """Take results that were left out in again."""
    study = find_study(number)
    cells = [(each.participant, each.level) for each in _left_out(study)]
    asking = Asking(f"Take results of study {study} in again", "Take them in", _place(study))
    return _cell_page(request, study, cells, asking, service.take_back)


def _left_out(study: Study) -> tuple[LeftOut, ...]:
    return left_out_of(study.inputs) if "left_out" in study.inputs else ()


def _cells(study: Study) -> list[tuple[str, str]]:
    return [
        (cell["participant"], level["name"])
        for level in study.inputs.get("levels", ())
        for cell in level["cells"]
    ]


def _cell_page(
    request: PersonRequest, study: Study, cells: list[tuple[str, str]], asking: Asking, act: Act
) -> HttpResponse:
    choices = [(str(i), f"{who} at {level}") for i, (who, level) in enumerate(cells)]
    form = CellForm(sent(request), cells=choices)

    def doing() -> Study:
        who, level = cells[int(form.cleaned_data["cell"])]
        return act(
            actor=request.user,
            study=study,
            participant=who,
            level=level,
            reason=form.cleaned_data["reason"],
        )

    return FormPage(request, form, asking).answer(
        Doing(doing, _place, lambda it: f"Study {it} is worked out anew.")
    )


@page(Action.ANSWER_POINT)
def follow_up_answer(request: PersonRequest, number: str) -> HttpResponse:
    """Answer a bad score."""
    row = find_follow_up(number)
    form = PointForm(sent(request))
    asking = Asking(f"Answer study {row.study}", "Keep the answer", _place(row.study))
    context = {"follow_up": row}
    return FormPage(request, form, asking, "web/studies/follow_up_answer.html", context).answer(
        Doing(
            lambda: service.answer_follow_up(
                actor=request.user, follow_up=row, **form.cleaned_data
            ),
            lambda it: _place(it.study),
            lambda it: f"Study {it.study} is answered.",
        )
    )


@require_GET
@page()
def study_pdf_file(request: PersonRequest, number: str) -> HttpResponse:
    """Give a study as PDF, with inputs and figures as a data file inside."""
    content = study_content(find_study(number), request.user)
    return _file(study_pdf(content), "application/pdf", f"study-{content.number}.pdf")


@require_GET
@page()
def study_csv_file(request: PersonRequest, number: str) -> HttpResponse:
    """Give the tables of a study as CSV."""
    content = study_content(find_study(number), request.user)
    return _file(study_csv(content), "text/csv; charset=utf-8", f"study-{content.number}.csv")


def _file(content: bytes | str, media_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=media_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
