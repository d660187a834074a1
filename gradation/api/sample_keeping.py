"""Endpoints of what is left of a sample: how long it is kept, why it is held, how it goes."""

from __future__ import annotations

from rest_framework import serializers

from gradation.api.contract.things import Act, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.api.samples import SAMPLE
from gradation.api.serializers import states
from gradation.models import Sample, SampleHold, User
from gradation.queries.retention import find_hold
from gradation.services import retention


class KeepingIn(Sent):
    """Until when and where what is left is kept, and what whoever handles it must know."""

    retain_until = serializers.DateField()
    storage_place = serializers.CharField(max_length=80, required=False, default="")
    hazard = serializers.CharField(max_length=160, required=False, default="")
    reason = serializers.CharField(max_length=400)


class HoldIn(Sent):
    """Why what is left may not be thrown away yet."""

    cause = serializers.ChoiceField(states(SampleHold.Cause))
    reason = serializers.CharField(max_length=400)


class HoldOut(serializers.Serializer[SampleHold]):
    """A hold, and whether it was lifted."""

    id = serializers.IntegerField()
    sample = serializers.CharField(source="sample.number")
    cause = serializers.ChoiceField(states(SampleHold.Cause))
    reason = serializers.CharField()
    held_at = serializers.DateTimeField()
    lifted_at = serializers.DateTimeField(allow_null=True)
    lift_reason = serializers.CharField()


class DisposalIn(Sent):
    """How what is left was thrown away; the label was scanned at the shelf and at the container."""

    how = serializers.CharField(max_length=160)
    at_shelf = serializers.CharField(max_length=80, help_text="The label scanned at the shelf.")
    at_container = serializers.CharField(
        max_length=80, help_text="The label scanned at the container."
    )
    reason = serializers.CharField(max_length=400)


def _keeping(person: User, subject: Sample, told: Words) -> Words:
    given = {name: value for name, value in told.items() if name != "reason"}
    return {"keeping": retention.Keeping(**given), "reason": told["reason"]}


def _disposal(person: User, subject: Sample, told: Words) -> Words:
    given = {name: value for name, value in told.items() if name != "reason"}
    return {"disposal": retention.Disposal(**given), "reason": told["reason"]}


HOLD = Thing("hold", find_hold, HoldOut)
_NUMBER = "samples/<str:number>"
routes = [
    route(
        f"{_NUMBER}/retention",
        "sample-retention",
        "samples",
        put=Act(retention.keep_sample, KeepingIn, _keeping, SAMPLE),
    ),
    route(
        f"{_NUMBER}/holds",
        "sample-holds",
        "samples",
        post=Act(retention.hold_sample, HoldIn, thing=SAMPLE, made=HOLD, code=201, matched=False),
    ),
    route(
        f"{_NUMBER}/dispose",
        "sample-dispose",
        "samples",
        post=Act(retention.dispose_sample, DisposalIn, _disposal, SAMPLE),
    ),
    route(
        "holds/<int:pk>/lift",
        "hold-lift",
        "samples",
        post=Act(retention.lift_hold, thing=HOLD),
    ),
]
