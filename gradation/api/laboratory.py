"""Endpoints of the laboratory itself: particulars, people, competence, policy of the checks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any, ClassVar

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Thing, Words, route
from gradation.api.contract.told import Sent, Told
from gradation.errors import Fault, Invalid, NotFound
from gradation.models import Competence, Laboratory, Severity, User
from gradation.policy import Action, Role, require
from gradation.queries.laboratory import laboratory, people_list
from gradation.queries.methods import procedure_list
from gradation.queries.run_check_counts import (
    CheckRow,
    check_rows,
    competence_list,
    find_competence,
)
from gradation.services import clock, competence, run_checks
from gradation.services.laboratory import change_laboratory


class LaboratoryOut(serializers.Serializer[Any]):
    """The laboratory's particulars and policies."""

    name = serializers.CharField()
    address = serializers.CharField()
    work_place = serializers.CharField()
    contact = serializers.CharField()
    accreditation = serializers.CharField()
    certificate_title = serializers.CharField()
    time_zone = serializers.CharField()
    approver_must_differ = serializers.BooleanField()
    due_soon_days = serializers.IntegerField()
    retention_days = serializers.IntegerField()


class LaboratoryIn(Sent):
    """What is to be changed, and why; what is not sent stays."""

    name = serializers.CharField(max_length=160, required=False)
    address = serializers.CharField(max_length=1000, required=False)
    work_place = serializers.CharField(max_length=160, required=False)
    contact = serializers.CharField(max_length=160, required=False, allow_blank=True)
    accreditation = serializers.CharField(max_length=240, required=False, allow_blank=True)
    certificate_title = serializers.CharField(max_length=120, required=False)
    time_zone = serializers.CharField(max_length=64, required=False)
    approver_must_differ = serializers.BooleanField(required=False)
    due_soon_days = serializers.IntegerField(min_value=0, max_value=365, required=False)
    retention_days = serializers.IntegerField(min_value=0, max_value=36500, required=False)
    reason = serializers.CharField(max_length=400)


class PersonOut(serializers.Serializer[Any]):
    """A person: name and roles. Accounts are kept on the screen, where a password is given."""

    username = serializers.CharField()
    full_name = serializers.CharField()
    is_active = serializers.BooleanField()
    roles = serializers.ListField(child=serializers.CharField())


class PeopleOut(serializers.Serializer[Any]):
    """The people."""

    results = PersonOut(many=True)


class CompetenceOut(serializers.Serializer[Any]):
    """Who may work which procedure."""

    id = serializers.IntegerField()
    person = serializers.CharField(source="person.username")
    procedure = serializers.CharField(source="procedure.code")
    valid_from = serializers.DateField()
    valid_until = serializers.DateField(allow_null=True)
    evidence = serializers.CharField()
    granted_at = serializers.DateTimeField()
    withdrawn_on = serializers.DateField(allow_null=True)
    withdrawn_reason = serializers.CharField()


class CompetencesOut(serializers.Serializer[Any]):
    """The competence file."""

    results = CompetenceOut(many=True)


class CompetenceIn(Sent):
    """A person found able to work a procedure."""

    person = serializers.CharField(max_length=150, help_text="User name.")
    procedure = serializers.CharField(max_length=40, help_text="Its code.")
    valid_from = serializers.DateField()
    valid_until = serializers.DateField(default=None, allow_null=True)
    evidence = serializers.CharField(max_length=240)


class WithdrawalIn(Sent):
    """Why, and from which day; without one, today."""

    reason = serializers.CharField(max_length=400)
    day = serializers.DateField(default=None, allow_null=True)


class PolicyOut(serializers.Serializer[Any]):
    """One check and what the laboratory chose for it."""

    code = serializers.CharField()
    number = serializers.IntegerField()
    title = serializers.CharField()
    severity = serializers.CharField()
    override = serializers.CharField(allow_null=True)
    limits = serializers.DictField(child=serializers.CharField())
    found = serializers.IntegerField(help_text="Runs in which it was found, in the last 90 days.")


class PoliciesOut(serializers.Serializer[Any]):
    """The checks by number."""

    results = PolicyOut(many=True)


class PolicyIn(Sent):
    """How grave a check is, who may lift its stop, its figures, and why."""

    severity = serializers.ChoiceField([each.value for each in Severity])
    override = serializers.ChoiceField([each.value for each in Role], default=None, allow_null=True)
    limits = serializers.DictField(child=serializers.DecimalField(14, 6), default=dict)
    reason = serializers.CharField(max_length=400)


def _laboratory(person: User, *_: object) -> Laboratory:
    found = laboratory()
    if found is None:
        msg = "The laboratory has not been set up. Do it on the settings screen."
        raise NotFound(msg)
    return found


LABORATORY = Thing("", _laboratory, LaboratoryOut)


def _changes(person: User, subject: Laboratory, told: Words) -> Words:
    return told


def _find_competence(person: User, pk: int) -> Competence:
    found = find_competence(pk)
    if found is None:
        msg = "There is no such entry. List the competences first."
        raise NotFound(msg)
    return found


COMPETENCE = Thing("competence", _find_competence, CompetenceOut)


def _granted(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    able = people_list().filter(username=told["person"]).first()
    procedure = procedure_list().filter(code=told["procedure"]).first()
    faults = []
    if able is None:
        faults.append(Fault("person", "Nobody has this user name.", "unknown-person"))
    if procedure is None:
        faults.append(Fault("procedure", "No procedure has this code.", "unknown-procedure"))
    if faults:
        raise Invalid(faults)
    return {"competence": Competence(**{**told, "person": able, "procedure": procedure})}


class People(Endpoint):
    """The people."""

    area = "laboratory"
    operation = "people"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=PeopleOut)}

    def get(self, request: Request) -> Response:
        """List the people with their roles."""
        require(self.person, Action.MANAGE_PEOPLE)
        rows = people_list().prefetch_related("groups")
        shown = [
            {
                "username": row.username,
                "full_name": row.full_name,
                "is_active": row.is_active,
                "roles": sorted(group.name for group in row.groups.all()),
            }
            for row in rows
        ]
        return Response({"results": shown})


class Competences(Endpoint):
    """The competence file."""

    area = "laboratory"
    operation = "competences"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=CompetencesOut)}

    def get(self, request: Request) -> Response:
        """List who may work which procedure, by person and procedure."""
        rows = competence_list(clock.today(laboratory()))
        return Response({"results": [CompetenceOut(row.competence).data for row in rows]})


class Policies(Endpoint):
    """The checks of a run, as the laboratory wants them."""

    area = "laboratory"
    operation = "check-policies"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=PoliciesOut)}

    def get(self, request: Request) -> Response:
        """List them by number."""
        since = clock.now() - timedelta(days=90)
        rows = check_rows(_laboratory(self.person), since)
        return Response({"results": [_policy(row) for row in rows]})


def _policy(row: CheckRow) -> dict[str, Any]:
    asked = row.asked
    return {
        "code": asked.rule.code,
        "number": asked.rule.number,
        "title": asked.rule.title,
        "severity": asked.severity.value,
        "override": asked.override.value if asked.override else None,
        "limits": {name: str(value) for name, value in asked.limits.items()},
        "found": row.runs,
    }


def _find_policy(person: User, code: str) -> CheckRow:
    rows = check_rows(_laboratory(person), clock.now() - timedelta(days=90))
    found = next((row for row in rows if row.asked.rule.code == code), None)
    if found is None:
        msg = f"There is no check named {code}. List them first."
        raise NotFound(msg)
    return found


def _chosen(person: User, subject: CheckRow, told: Words) -> Words:
    override = Role(told["override"]) if told["override"] else None
    choice = run_checks.Choice(Severity(told["severity"]), override, told["limits"])
    return {"choice": choice, "reason": told["reason"], "code": subject.asked.rule.code}


POLICY = Thing("", _find_policy, PolicyOut, lambda person, row: _policy(row))
routes = [
    route(
        "laboratory",
        "laboratory",
        "laboratory",
        get=LABORATORY,
        patch=Act(change_laboratory, LaboratoryIn, _changes, LABORATORY),
    ),
    path("people", People.as_view(), name="people"),
    path("check-policies", Policies.as_view(), name="check-policies"),
    route(
        "check-policies/<str:code>",
        "check-policy",
        "laboratory",
        get=POLICY,
        put=Act(run_checks.set_check_policy, PolicyIn, _chosen, POLICY),
    ),
    path("competences", Competences.as_view(), name="competences"),
    route(
        "competences/grant",
        "competence-grant",
        "laboratory",
        post=Act(competence.grant_competence, CompetenceIn, _granted, made=COMPETENCE, code=201),
    ),
    route("competences/<int:pk>", "competence", "laboratory", get=COMPETENCE),
    route(
        "competences/<int:pk>/withdraw",
        "competence-withdraw",
        "laboratory",
        post=Act(competence.withdraw_competence, WithdrawalIn, thing=COMPETENCE),
    ),
]
