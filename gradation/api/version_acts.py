"""Endpoints of versions of procedures and specifications: changed, proposed, returned, released."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api import procedures, specifications
from gradation.api.contract.things import Act, ObjectIn, Open, ReasonIn, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.models import ProcedureVersion, SpecificationVersion, User
from gradation.policy import Action
from gradation.queries.procedure_file import version_words
from gradation.services import methods
from gradation.services import specifications as limits
from gradation.services.specification_reading import read_specification

PROCEDURE_VERSION = Thing(
    "version",
    procedures.find_version,
    procedures.VERSION,
    lambda person, row: version_words(row),
)
SPECIFICATION_VERSION = Thing(
    "version",
    specifications.find_version,
    specifications.VERSION,
    lambda person, row: specifications.version_out(row),
)


class ApprovalIn(Sent):
    """Which copy the figures that stand from memory were compared with."""

    confirmation = serializers.CharField(max_length=240, default="", allow_blank=True)


class LastDayIn(Sent):
    """The last day on which a version holds."""

    effective_to = serializers.DateField()


def _procedure(person: User, version: ProcedureVersion, told: Words) -> Words:
    read = procedures.read_draft(told)
    return {"places": read.places, **read.fields}


def _limits(person: User, version: SpecificationVersion, told: Words) -> Words:
    read = read_specification(told)
    return {"lines": read.lines, **read.fields}


def _routes(noun: str, area: str, thing: Thing, acts: dict[str, Any]) -> list[Any]:
    at = f"{noun}-versions/<int:pk>"
    return [
        route(at, f"{noun}-version", area, get=thing, put=acts["change"]),
        *(
            route(
                f"{at}/{verb}",
                f"{noun}-{verb}",
                area,
                post=act,
                usual=Open(needs={"POST": acts["keeps"][verb]}),
            )
            for verb, act in acts.items()
            if verb not in {"change", "keeps"}
        ),
    ]


routes = [
    *_routes(
        "procedure",
        "procedures",
        PROCEDURE_VERSION,
        {
            "change": Act(
                methods.change_procedure_draft,
                ObjectIn,
                _procedure,
                PROCEDURE_VERSION,
                form=procedures.VERSION,
            ),
            "propose": Act(methods.propose_procedure_version, None, thing=PROCEDURE_VERSION),
            "return": Act(methods.return_procedure_version, ReasonIn, thing=PROCEDURE_VERSION),
            "approve": Act(methods.approve_procedure_version, ApprovalIn, thing=PROCEDURE_VERSION),
            "keeps": {
                "propose": Action.KEEP_PROCEDURES,
                "return": Action.READ_RECORDS,
                "approve": Action.APPROVE_PROCEDURES,
            },
        },
    ),
    *_routes(
        "specification",
        "specifications",
        SPECIFICATION_VERSION,
        {
            "change": Act(
                limits.change_specification_draft,
                ObjectIn,
                _limits,
                SPECIFICATION_VERSION,
                form=specifications.VERSION,
            ),
            "propose": Act(limits.propose_specification_version, None, thing=SPECIFICATION_VERSION),
            "return": Act(
                limits.return_specification_version, ReasonIn, thing=SPECIFICATION_VERSION
            ),
            "approve": Act(
                limits.approve_specification_version, ApprovalIn, thing=SPECIFICATION_VERSION
            ),
            "end": Act(limits.end_specification_version, LastDayIn, thing=SPECIFICATION_VERSION),
            "keeps": {
                "propose": Action.KEEP_SPECIFICATIONS,
                "return": Action.READ_RECORDS,
                "approve": Action.APPROVE_SPECIFICATIONS,
                "end": Action.KEEP_SPECIFICATIONS,
            },
        },
    ),
]
