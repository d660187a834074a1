"""Endpoints beside certificates and reviews: opinions, omissions, sampling, outside results."""

from __future__ import annotations

from rest_framework import serializers

from gradation.api.certificates import DRAFT
from gradation.api.contract.things import Act, Open, Words, route
from gradation.api.contract.told import Sent
from gradation.api.runs import RUN
from gradation.api.samples import SAMPLE
from gradation.models import ExternalResult, Sample, SamplingRecord, User
from gradation.services import certificate_additions, review


class OpinionIn(Sent):
    """An opinion, and what it rests on."""

    text = serializers.CharField(max_length=2000)
    basis = serializers.CharField(max_length=400)


class OmissionIn(Sent):
    """An item that a draft lacks and is to do without, and why."""

    item = serializers.CharField(max_length=80)
    reason = serializers.CharField(max_length=400)


class ExternalResultIn(Sent):
    """What another laboratory found."""

    name = serializers.CharField(max_length=120)
    value = serializers.CharField(max_length=40)
    unit = serializers.CharField(max_length=20)
    method = serializers.CharField(max_length=160)
    provider = serializers.CharField(max_length=160)
    report = serializers.CharField(max_length=120)
    uncertainty = serializers.CharField(max_length=40, default="", allow_blank=True)


class SamplingIn(Sent):
    """How the laboratory took a sample."""

    item = serializers.CharField(max_length=160)
    place = serializers.CharField(max_length=160)
    plan = serializers.CharField(max_length=240)
    conditions = serializers.CharField(max_length=240)
    uncertainty = serializers.CharField(max_length=160, default="", allow_blank=True)
    sampled_on = serializers.DateField()


class TrailIn(Sent):
    """Up to which entry the history was shown; without it, all of it."""

    seen = serializers.IntegerField(default=None, allow_null=True, min_value=0)
    note = serializers.CharField(max_length=400, default="", allow_blank=True)


def _external(person: User, sample: Sample, told: Words) -> Words:
    return {"result": ExternalResult(**told)}


def _sampling(person: User, sample: Sample, told: Words) -> Words:
    return {"record": SamplingRecord(**told)}


_DRAFT = "certificate-drafts/<int:pk>"
routes = [
    route(
        f"{_DRAFT}/opinions",
        "draft-opinions",
        "certificates",
        post=Act(certificate_additions.give_opinion, OpinionIn, thing=DRAFT, matched=False),
    ),
    route(
        f"{_DRAFT}/omissions",
        "draft-omissions",
        "certificates",
        post=Act(certificate_additions.leave_out_item, OmissionIn, thing=DRAFT, matched=False),
    ),
    route(
        "samples/<str:number>/external-results",
        "sample-external-results",
        "samples",
        post=Act(
            certificate_additions.enter_external_result,
            ExternalResultIn,
            _external,
            SAMPLE,
            matched=False,
        ),
    ),
    route(
        "samples/<str:number>/sampling",
        "sample-sampling",
        "samples",
        post=Act(
            certificate_additions.record_sampling, SamplingIn, _sampling, SAMPLE, matched=False
        ),
    ),
    route(
        "runs/<int:pk>/trail",
        "run-trail",
        "runs",
        usual=Open(acts={"POST": "review"}),
        post=Act(review.look_through_trail, TrailIn, thing=RUN, matched=False),
    ),
]
