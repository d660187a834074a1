"""Endpoints of samples: log one or many, correct, cancel, close; history."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.bulk import BulkIn, BulkOut, each_of
from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Listing, Open, ReasonIn, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent, Told
from gradation.api.history import HistoryOut, history_of
from gradation.api.serializers import SampleOut, states
from gradation.errors import Fault, Invalid
from gradation.models import Customer, Material, Sample, Source, User
from gradation.queries.changes import changed_since
from gradation.queries.determination_set import determinations_of
from gradation.queries.history import story_of_sample
from gradation.queries.laboratory import customer_list, material_list, source_list
from gradation.queries.methods import procedure_version, specification_version
from gradation.queries.samples import find_sample, samples_visible_to
from gradation.services import edition_decisions, intake

MOST_AT_ONCE = 100
EVERYBODY = Open(is_open=True)


class SampleFilters(OlderPage):
    """What the list of samples is narrowed to."""

    search = serializers.CharField(
        required=False, max_length=200, help_text="Words of number, lot, customer, material."
    )
    state = serializers.ChoiceField(states(Sample.State), required=False)
    changed_since = serializers.DateTimeField(
        required=False, help_text="Samples with a later entry in their history, runs included."
    )


def narrowed(rows: QuerySet[Any], since: datetime | None, field: str) -> QuerySet[Any]:
    """Keep of some rows those of samples that changed since a moment."""
    return (
        rows if since is None else rows.filter(**{f"{field}__in": changed_since("sample", since)})
    )


def _samples(person: User, asked: Words) -> QuerySet[Sample]:
    rows = samples_visible_to(person)
    for word in asked.get("search", "").casefold().split():
        rows = rows.filter(search_text__contains=word)
    if "state" in asked:
        rows = rows.filter(state=asked["state"])
    return narrowed(rows, asked.get("changed_since"), "number")


class SampleIn(Sent):
    """A delivered sample; customer, material and source by their names."""

    customer = serializers.CharField(max_length=160)
    material = serializers.CharField(max_length=120)
    condition = serializers.CharField(max_length=200, help_text="As it was received.")
    source_name = serializers.CharField(
        max_length=120, default="", allow_blank=True, help_text="A source of this customer."
    )
    procedure_version = serializers.IntegerField(
        default=None, allow_null=True, help_text="Without it, the material's own procedure."
    )
    specification_version = serializers.IntegerField(
        default=None, allow_null=True, help_text="Without it, the material's own specification."
    )
    lot = serializers.CharField(max_length=120, default="", allow_blank=True)
    customer_reference = serializers.CharField(max_length=120, default="", allow_blank=True)
    description = serializers.CharField(max_length=240, default="", allow_blank=True)
    sampled_by = serializers.ChoiceField(
        states(Sample.SampledBy), default=Sample.SampledBy.CUSTOMER.value
    )
    sampler_name = serializers.CharField(max_length=120, default="", allow_blank=True)
    sampling_method = serializers.CharField(max_length=160, default="", allow_blank=True)
    sampled_at = serializers.DateTimeField(default=None, allow_null=True)
    received_at = serializers.DateTimeField(
        default=None, allow_null=True, help_text="Without it, now."
    )
    mass_received_g = serializers.DecimalField(12, 4, default=None, allow_null=True)
    storage_place = serializers.CharField(max_length=80, default="", allow_blank=True)
    due_on = serializers.DateField(default=None, allow_null=True)


class SampleChangeIn(SampleIn):
    """A sample as it should stand, and why it is changed."""

    reason = serializers.CharField(max_length=400)


def delivery_of(told: Words) -> intake.Delivery:
    """Turn what was sent into a delivery; every name that is not known is said with its field."""
    customer = customer_list().filter(name=told["customer"]).first()
    material = material_list().filter(name=told["material"]).first()
    source = _source(customer, told["source_name"])
    procedure = _version(procedure_version, told["procedure_version"])
    specification = _version(specification_version, told["specification_version"])
    faults = [
        Fault(field, f"There is no {what}. Add it first, or correct it.", f"unknown-{code}")
        for field, code, what, is_missing in (
            ("customer", "customer", "customer of this name", customer is None),
            ("material", "material", "material of this name", material is None),
            ("source_name", "source", "such source of this customer", source is False),
            ("procedure_version", "version", "version with this id", procedure is False),
            ("specification_version", "version", "version with this id", specification is False),
        )
        if is_missing
    ]
    if faults or customer is None or material is None:
        raise Invalid(faults)
    kept = {name: told[name] for name in told if name not in {*_NAMED, "reason"}}
    return intake.Delivery(
        customer=customer,
        material=material,
        source=source or None,
        procedure_version=procedure or None,
        specification_version=specification or None,
        **kept,
    )


_NAMED = ("customer", "material", "source_name", "procedure_version", "specification_version")


def _source(customer: Customer | None, name: str) -> Source | Literal[False] | None:
    if not name or customer is None:
        return None
    return source_list().filter(customer=customer, name=name).first() or False


def _version(find: Any, key: int | None) -> Any:  # noqa: ANN401 - a version of either kind
    return None if key is None else (find(key) or False)


SAMPLE = Thing("sample", find_sample, SampleOut)


def _logged(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"delivery": delivery_of(told)}


def _changed(person: User, subject: Material, told: Words) -> Words:
    return {"delivery": delivery_of(told), "reason": told["reason"]}


class SamplesIn(BulkIn):
    """Many samples at once; each is logged, or refused by itself."""

    items = serializers.ListField(
        child=serializers.DictField(),
        min_length=1,
        max_length=MOST_AT_ONCE,
        help_text="Each as a single sample is sent.",
    )


class ManySamples(Endpoint):
    """Many samples at once."""

    area = "samples"
    operation = "samples-bulk"
    told = {"POST": Told(takes=SamplesIn, gives=BulkOut)}

    def post(self, request: Request) -> Response:
        """Log up to a hundred samples; each has its own answer, in the order sent."""
        person = self.person

        def log(item: Words) -> Words:
            read = SampleIn(data=item)
            read.is_valid(raise_exception=True)
            delivery = delivery_of(read.validated_data)
            return dict(SampleOut(intake.log_sample(actor=person, delivery=delivery)).data)

        return Response(each_of(self.sent()["items"], log))


class SampleHistory(Endpoint):
    """What was done with a sample."""

    area = "samples"
    operation = "sample-history"
    is_open = True
    told = {"GET": Told(gives=HistoryOut)}

    def get(self, request: Request, number: str) -> Response:
        """Tell a sample's history, oldest first."""
        return Response(history_of(story_of_sample(find_sample(self.person, number))))


class DeterminationsOut(serializers.Serializer):
    """The determinations of a sample, compared."""

    agree = serializers.BooleanField(allow_null=True)
    sentence = serializers.CharField()
    wants_further = serializers.BooleanField()
    reports = serializers.CharField()
    runs = serializers.ListField(child=serializers.IntegerField())
    outliers = serializers.ListField(child=serializers.IntegerField(), help_text="Runs.")


class Determinations(Endpoint):
    """The determinations of a sample."""

    area = "samples"
    operation = "sample-determinations"
    is_open = True
    told = {"GET": Told(gives=DeterminationsOut)}

    def get(self, request: Request, number: str) -> Response:
        """Say whether the determinations agree, and what follows."""
        found = determinations_of(find_sample(self.person, number))
        told = {name: getattr(found, name) for name in ("agree", "sentence", "reports")}
        return Response(
            {
                **told,
                "wants_further": found.wants_further,
                "runs": [each.run.pk for each in found.determinations],
                "outliers": sorted(found.outliers),
            }
        )


class EditionIn(Sent):
    """Whether a sample in work moves to a released version, and why."""

    version = serializers.IntegerField(help_text="Id of the released version.")
    is_moved = serializers.BooleanField()
    reason = serializers.CharField(max_length=400)


def _edition(person: User, subject: Sample, told: Words) -> Words:
    found = procedure_version(told["version"])
    if found is None:
        raise Invalid.one("version", "There is no version with this id.", code="unknown-version")
    return {**told, "version": found}


_NUMBER = "samples/<str:number>"
routes = [
    route(
        "samples",
        "samples",
        "samples",
        usual=EVERYBODY,
        get=Listing(_samples, SampleOut, SampleFilters),
        post=Act(
            intake.log_sample,
            SampleIn,
            _logged,
            made=SAMPLE,
            code=201,
            key_of=lambda row: row.number,
        ),
    ),
    path("samples/bulk", ManySamples.as_view(), name="samples-bulk"),
    route(
        _NUMBER,
        "sample",
        "samples",
        usual=EVERYBODY,
        get=SAMPLE,
        put=Act(intake.change_sample, SampleChangeIn, _changed, SAMPLE),
    ),
    *(
        route(
            f"{_NUMBER}/{verb}",
            f"sample-{verb}",
            "samples",
            post=Act(service, ReasonIn, thing=SAMPLE),
        )
        for verb, service in (
            ("cancel", intake.cancel_sample),
            ("close", intake.close_sample),
        )
    ),
    route(
        f"{_NUMBER}/edition",
        "sample-edition",
        "samples",
        post=Act(edition_decisions.decide_edition, EditionIn, _edition, SAMPLE),
    ),
    path(f"{_NUMBER}/history", SampleHistory.as_view(), name="sample-history"),
    path(f"{_NUMBER}/determinations", Determinations.as_view(), name="sample-determinations"),
]
