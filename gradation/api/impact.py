"""Endpoints of impact assessments: opened, looked at, decided, closed."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api.contract.things import Act, Listing, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent
from gradation.api.equipment import item_named
from gradation.api.serializers import states
from gradation.errors import Invalid
from gradation.models import ImpactAssessment, ImpactDecision, User
from gradation.queries.certificates import find_certificate_by_number
from gradation.queries.equipment_file import check_of
from gradation.queries.impact import find_assessment, impact_list, touched
from gradation.queries.laboratory import people_list
from gradation.services import impact


class ImpactBrief(serializers.Serializer[Any]):
    """An assessment as lists show it."""

    id = serializers.IntegerField()
    equipment = serializers.CharField(source="equipment.serial", default=None, allow_null=True)
    person = serializers.CharField(source="person.full_name", default=None, allow_null=True)
    period_from = serializers.DateField()
    period_to = serializers.DateField()
    found_aperture_um = serializers.DecimalField(10, 2, allow_null=True)
    found_error_pct = serializers.DecimalField(8, 4, allow_null=True)
    reason = serializers.CharField()
    state = serializers.ChoiceField(states(ImpactAssessment.State))
    conclusion = serializers.CharField()
    opened_at = serializers.DateTimeField()
    opened_by = serializers.CharField(source="opened_by.full_name")
    closed_at = serializers.DateTimeField(allow_null=True)


class ImpactOut(ImpactBrief):
    """An assessment with what it touches."""

    sentence = serializers.CharField()
    runs = serializers.ListField(child=serializers.IntegerField())
    certificates = serializers.ListField(child=serializers.CharField())
    customers = serializers.ListField(child=serializers.CharField())
    would_flip = serializers.IntegerField(help_text="Runs whose verdict would be another one.")


class ImpactIn(Sent):
    """Of which item or person, from when to when, and why."""

    equipment = serializers.CharField(
        max_length=40, default=None, allow_null=True, help_text="Serial number."
    )
    person = serializers.CharField(
        max_length=150, default=None, allow_null=True, help_text="User name."
    )
    failed_check = serializers.IntegerField(
        default=None, allow_null=True, help_text="Id of a check of this item."
    )
    period_from = serializers.DateField(default=None, allow_null=True)
    period_to = serializers.DateField(default=None, allow_null=True)
    found_aperture_um = serializers.DecimalField(10, 2, default=None, allow_null=True)
    found_error_pct = serializers.DecimalField(8, 4, default=None, allow_null=True)
    reason = serializers.CharField(max_length=400)


class DecisionIn(Sent):
    """What becomes of one certificate, and why."""

    certificate = serializers.CharField(max_length=20)
    verdict = serializers.ChoiceField(states(ImpactDecision.Verdict))
    reason = serializers.CharField(max_length=400)


class ConclusionIn(Sent):
    """What was found, told, and done against a repeat."""

    conclusion = serializers.CharField(max_length=4000)


def _find(person: User, pk: int) -> ImpactAssessment:
    return find_assessment(pk)


def _words(person: User, row: ImpactAssessment) -> Words:
    found = touched(row)
    return {
        **ImpactBrief(row).data,
        "sentence": found.sentence,
        "runs": sorted({run.run_id for run in found.runs}),
        "certificates": [str(each.number) for each in found.certificates],
        "customers": list(found.customers),
        "would_flip": found.flips,
    }


ASSESSMENT = Thing("assessment", _find, ImpactOut, _words)


def _opened(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    item = item_named(told["equipment"]) if told["equipment"] else None
    blamed = people_list().filter(username=told["person"]).first() if told["person"] else None
    if told["person"] and blamed is None:
        raise Invalid.one("person", "Nobody has this user name.", code="unknown-person")
    if item is None and blamed is None:
        raise Invalid.one("equipment", "Name an item, or a person.", code="nothing-named")
    failed = check_of(item, told["failed_check"]) if item and told["failed_check"] else None
    if told["failed_check"] and failed is None:
        raise Invalid.one("failed_check", "This item has no such check.", code="unknown-check")
    return {**told, "equipment": item, "person": blamed, "failed_check": failed}


def _decided(person: User, assessment: ImpactAssessment, told: Words) -> Words:
    return {**told, "certificate": find_certificate_by_number(person, told["certificate"])}


_AT = "impact-assessments/<int:pk>"
routes = [
    route(
        "impact-assessments",
        "impact-assessments",
        "impact",
        get=Listing(lambda person, asked: impact_list(), ImpactBrief, OlderPage),
        post=Act(impact.open_assessment, ImpactIn, _opened, made=ASSESSMENT, code=201),
    ),
    route(_AT, "impact-assessment", "impact", get=ASSESSMENT),
    route(
        f"{_AT}/decide",
        "impact-decide",
        "impact",
        post=Act(impact.decide, DecisionIn, _decided, ASSESSMENT, matched=False),
    ),
    route(
        f"{_AT}/close",
        "impact-close",
        "impact",
        post=Act(impact.close_assessment, ConclusionIn, thing=ASSESSMENT),
    ),
]
