"""Endpoints of studies in work: drafted, changed, results left out, kept; follow-ups answered."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api.chart_acts import CauseIn
from gradation.api.contract.things import Act, ReasonIn, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.api.studies import STUDY, StudyIn, read_study, study_out
from gradation.models import Study, StudyFollowUp, User
from gradation.queries.studies.records import find_follow_up, find_study
from gradation.services import studies


class CellIn(Sent):
    """One participant at one level, and why."""

    participant = serializers.CharField(max_length=80)
    level = serializers.CharField(max_length=80)
    reason = serializers.CharField(max_length=400)


class FollowUpOut(serializers.Serializer[Any]):
    """What has to be answered of a study, and the answer."""

    study = serializers.CharField(source="study.number")
    reasons = serializers.JSONField()
    is_open = serializers.BooleanField()
    cause = serializers.CharField()
    done = serializers.CharField()


def _find(person: User, number: str) -> Study:
    return find_study(number)


def _find_follow_up(person: User, number: str) -> StudyFollowUp:
    return find_follow_up(number)


STUDY_THING = Thing(
    "study",
    _find,
    STUDY,
    lambda person, row: study_out(row),
)
FOLLOW_UP = Thing("follow_up", _find_follow_up, FollowUpOut)


def _asked(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    head, asked = read_study(told)
    return {"head": head, "asked": asked}


_AT = "studies/<str:number>"
routes = [
    route(
        "studies/drafts",
        "study-drafts",
        "studies",
        post=Act(
            studies.begin_study,
            StudyIn,
            _asked,
            made=STUDY_THING,
            key_of=lambda row: row.number,
            code=201,
        ),
    ),
    route(
        _AT,
        "study",
        "studies",
        get=STUDY_THING,
        put=Act(studies.change_study, StudyIn, _asked, STUDY_THING),
    ),
    route(
        f"{_AT}/leave-out",
        "study-leave-out",
        "studies",
        post=Act(studies.leave_out, CellIn, thing=STUDY_THING),
    ),
    route(
        f"{_AT}/take-back",
        "study-take-back",
        "studies",
        post=Act(studies.take_back, CellIn, thing=STUDY_THING),
    ),
    route(
        f"{_AT}/keep",
        "study-keep",
        "studies",
        post=Act(studies.keep_study, None, thing=STUDY_THING),
    ),
    route(
        f"{_AT}/give-up",
        "study-give-up",
        "studies",
        post=Act(studies.give_up_study, ReasonIn, thing=STUDY_THING),
    ),
    route(f"{_AT}/follow-up", "study-follow-up", "studies", get=FOLLOW_UP),
    route(
        f"{_AT}/follow-up/answer",
        "study-follow-up-answer",
        "studies",
        post=Act(studies.answer_follow_up, CauseIn, thing=FOLLOW_UP),
    ),
]
