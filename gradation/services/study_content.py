"""What a study says on screen and on paper, from its record; also of one that is not kept yet."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from gradation.documents.figures import shown_date
from gradation.documents.study_content import Fact, StudyContent
from gradation.documents.study_report import study_parts
from gradation.models import Laboratory, Study, StudyFollowUp, User
from gradation.queries.figure_names import figure_title, figure_unit
from gradation.queries.studies.asked import Head, StudyAsked
from gradation.queries.studies.records import work_out
from gradation.science import SCIENCE_VERSION
from gradation.services import clock
from gradation.services.results import digest_of_inputs

__all__ = ["study_content", "worked_out_study"]

_MINUTES = "minutes"


def worked_out_study(actor: User, head: Head, asked: StudyAsked) -> Study:
    """Work a study out into a row without number; nothing is written."""
    outcome = work_out(actor, head, asked)
    return Study(
        kind=asked.kind,
        title=head.title,
        figure=head.figure,
        material=head.material,
        valid_for=head.valid_for,
        note=head.note,
        inputs=outcome.inputs,
        inputs_digest=digest_of_inputs(outcome.inputs),
        figures=outcome.figures | {"signals": list(outcome.signals)},
        sentence=outcome.sentence,
        science_version=SCIENCE_VERSION,
        computed_at=clock.now(),
        computed_by=actor,
    )


def study_content(study: Study, printed_by: User) -> StudyContent:
    """Put a study into words, tables and charts."""
    laboratory = Laboratory.objects.get()
    zone = ZoneInfo(laboratory.time_zone)

    def local(moment: datetime | None) -> str:
        return moment.astimezone(zone).isoformat(timespec=_MINUTES) if moment else ""

    follow_up = getattr(study, "follow_up", None) if study.pk else None
    unit = figure_unit(study.figure) if study.figure else "%"
    return StudyContent(
        laboratory=laboratory.name,
        number=study.number,
        kind=study.kind,
        state=study.state,
        title=study.title,
        note=study.note,
        figure=figure_title(study.figure) if study.figure else "passing, every sieve",
        material=str(study.material or ""),
        valid_for=study.valid_for,
        sentence=study.sentence,
        parts=study_parts(study.kind, study.inputs, study.figures, unit),
        follow_up=tuple(_follow_up(follow_up, local)) if follow_up else (),
        is_follow_up_open=bool(follow_up and follow_up.is_open),
        data=_data(study),
        science_version=study.science_version,
        inputs_digest=study.inputs_digest,
        computed_at=local(study.computed_at),
        computed_by=str(study.computed_by),
        kept_at=local(study.kept_at),
        kept_by=str(study.kept_by or ""),
        printed_at=local(clock.now()),
        printed_by=str(printed_by),
        time_zone=laboratory.time_zone,
    )


def _follow_up(row: StudyFollowUp, local: Callable[[datetime | None], str]) -> Iterator[Fact]:
    yield Fact("To be answered", row.reasons)
    if row.is_open:
        yield Fact("Answer", "open")
        return
    yield Fact("Cause", row.cause)
    yield Fact("What was done", row.done)
    yield Fact("Answered", f"{row.answered_by}, {shown_date(local(row.answered_at))}")


def _data(study: Study) -> str:
    whole = {
        "number": study.number,
        "kind": study.kind,
        "title": study.title,
        "figure": study.figure,
        "inputs": study.inputs,
        "figures": study.figures,
        "inputs_digest": study.inputs_digest,
        "science_version": study.science_version,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1, sort_keys=True)
