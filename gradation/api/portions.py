"""Endpoints of portions: divide, put into the oven, weigh, take out; look at what there is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, cast

from django.http import HttpResponseBase
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Fields, OlderPage, Sent, Told
from gradation.errors import Fault, Invalid
from gradation.models import Division as Way
from gradation.models import Instrument, User
from gradation.queries.equipment import instruments_by_serial
from gradation.queries.paging import page_of
from gradation.queries.portions import find_portion, portion_list
from gradation.queries.preparation import (
    DryingView,
    drying_state,
    drying_view,
    dryings_of,
    find_drying,
)
from gradation.queries.runs import find_run
from gradation.queries.samples import find_sample
from gradation.services import dryings, preparation


def _person(request: Request) -> User:
    return cast("User", request.user)


class PortionOut(serializers.Serializer[Any]):
    """A test portion and how it was divided."""

    label = serializers.CharField()  # type: ignore[assignment]
    sample = serializers.CharField(source="sample.number")
    parent = serializers.CharField(source="parent.label", default=None, allow_null=True)  # type: ignore[assignment]
    divided_how = serializers.CharField()
    way = serializers.CharField(source="division_way")
    divider = serializers.CharField(source="divider.serial", default=None, allow_null=True)
    passes = serializers.IntegerField(source="divider_passes", allow_null=True)
    halves_drawn = serializers.CharField()
    halves_taken = serializers.CharField()
    halves_reason = serializers.CharField()
    notes = serializers.CharField(source="division_notes")
    mass_taken_g = serializers.DecimalField(12, 4, source="moist_mass_g", allow_null=True)
    top_size_um = serializers.DecimalField(10, 2, allow_null=True)
    is_as_received = serializers.BooleanField()
    prepared_at = serializers.DateTimeField()
    prepared_by = serializers.CharField(source="prepared_by.full_name")


class MassOut(serializers.Serializer[Any]):
    """One weighing of a drying as it holds now."""

    number = serializers.IntegerField()
    mass_g = serializers.CharField(source="mass.mass_as_entered")
    revision = serializers.IntegerField(source="mass.revision")
    reason = serializers.CharField(source="mass.reason")
    change_pct = serializers.DecimalField(12, 6, allow_null=True)
    counts = serializers.BooleanField()
    weighed_at = serializers.DateTimeField()
    made_by = serializers.CharField(source="mass.made_by.full_name")


class DryingOut(serializers.Serializer[Any]):
    """A drying with its verdict."""

    id = serializers.IntegerField(source="drying.pk")
    portion = serializers.CharField(source="drying.portion.label")
    stage = serializers.CharField(source="drying.stage")
    run = serializers.IntegerField(source="drying.run_id", allow_null=True)
    oven = serializers.CharField(source="drying.oven.serial", default=None, allow_null=True)
    temperature_c = serializers.DecimalField(5, 1, source="drying.temperature_c", allow_null=True)
    limit_pct = serializers.DecimalField(5, 3, source="drying.limit_pct")
    limit_source = serializers.CharField(source="drying.limit_source")
    container_g = serializers.DecimalField(12, 4, source="drying.container_g", allow_null=True)
    began_at = serializers.DateTimeField(source="drying.began_at")
    ended_at = serializers.DateTimeField(source="drying.ended_at", allow_null=True)
    end_reason = serializers.CharField(source="drying.end_reason")
    is_constant = serializers.BooleanField()
    sentence = serializers.CharField()
    next_due_at = serializers.DateTimeField(allow_null=True)
    moisture_pct = serializers.DecimalField(12, 6, allow_null=True)
    masses = MassOut(source="rows", many=True)


class PortionIn(Sent):
    """What portions are made by; halves are drawn by the server, `taken` says what was kept."""

    sample = serializers.CharField(max_length=20)
    parent = serializers.CharField(max_length=28, default="", allow_blank=True)  # type: ignore[assignment]
    way = serializers.ChoiceField([way.value for way in Way])
    words = serializers.CharField(max_length=110, default="", allow_blank=True)
    divider = serializers.CharField(max_length=40, default="", allow_blank=True)
    passes = serializers.IntegerField(default=None, allow_null=True)
    count = serializers.IntegerField(default=1)
    taken = serializers.ListField(
        child=serializers.CharField(max_length=80, allow_blank=True), max_length=24, default=list
    )
    reason = serializers.CharField(max_length=240, default="", allow_blank=True)
    masses_g = serializers.ListField(
        child=serializers.DecimalField(12, 4, allow_null=True), max_length=24, default=list
    )
    top_size_um = serializers.DecimalField(10, 2, default=None, allow_null=True)


class OvenIn(Sent):
    """How a portion is put into the oven; masses as text, as the balance shows them."""

    oven = serializers.CharField(max_length=40)
    temperature_c = serializers.DecimalField(5, 1, default=None, allow_null=True)
    limit_pct = serializers.DecimalField(5, 3, default=None, allow_null=True)
    limit_source = serializers.CharField(max_length=160, default="", allow_blank=True)
    container_g = serializers.CharField(max_length=40, default="", allow_blank=True)
    moist_g = serializers.CharField(max_length=40, default="", allow_blank=True)
    run = serializers.IntegerField(default=None, allow_null=True)


class MassIn(Sent):
    """One weighing, or with a reason its correction."""

    number = serializers.IntegerField(min_value=1, max_value=1000)
    mass_g = serializers.CharField(max_length=40)
    key = serializers.UUIDField()
    reason = serializers.CharField(max_length=400, default="", allow_blank=True)


class EndIn(Sent):
    """Out of the oven: a reason when the mass is not constant, a run to take the dry mass."""

    reason = serializers.CharField(max_length=240, default="", allow_blank=True)
    run = serializers.IntegerField(default=None, allow_null=True)


def _told(form: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    given = form(data=request.data)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)


def _instrument(field: str, serial: str) -> Instrument | None:
    if not serial:
        return None
    known, strange = instruments_by_serial([serial])
    if strange:
        msg = f"No instrument is registered under {serial}. Check the label."
        raise Invalid([Fault(field, msg, "unknown-serial")])
    return known[0]


class PortionFilters(OlderPage):
    """What the list of portions is narrowed to."""

    sample = serializers.CharField(max_length=20, required=False)


class DryOut(serializers.Serializer[Any]):
    """Whether a portion may go on to the sieves."""

    is_constant = serializers.BooleanField(allow_null=True)
    sentence = serializers.CharField()


class OnePortionOut(PortionOut):
    """A portion, and whether it may go on to the sieves."""

    drying = DryOut()


class DryingsOut(serializers.Serializer[Any]):
    """The dryings of a portion, oldest first."""

    results = DryingOut(many=True)


class Portions(Endpoint):
    """The test portions a person may see, newest first; made here as at the bench."""

    area = "portions"
    operation = "portions"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=PortionOut, asks=PortionFilters, pages=True),
        "POST": Told(
            takes=PortionIn,
            gives=PortionOut(many=True),
            code=201,
            service=preparation.prepare_portions,
        ),
    }

    def get(self, request: Request) -> Response:
        """Give one page, of one sample if asked, and the key of the next older one."""
        rows = portion_list(self.person, self.asked.get("sample", ""))
        page = page_of(rows, before=self.asked.get("before"), size=self.asked["size"])
        return self.paged(page, [PortionOut(row).data for row in page.rows])

    def post(self, request: Request) -> Response:
        """Divide one or several portions; give them with the halves that were drawn."""
        told, person = _told(PortionIn, request), _person(request)
        sample = find_sample(person, told.pop("sample"))
        parent, count = told.pop("parent"), told.pop("count")
        told["divider"] = _instrument("divider", told["divider"])
        told["parent"] = find_portion(person, parent) if parent else None
        made = preparation.prepare_portions(
            actor=person, sample=sample, division=preparation.Division(**told), count=count
        )
        return Response(PortionOut(made, many=True).data, status=status.HTTP_201_CREATED)


class OnePortion(Endpoint):
    """One test portion."""

    area = "portions"
    operation = "portion"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=OnePortionOut, tagged=True, asks=Fields)
    }

    def get(self, request: Request, label: str) -> HttpResponseBase:
        """Give the portion of this label, and whether it may go on to the sieves."""
        portion = find_portion(_person(request), label)
        state = drying_state(portion)
        dry = {"is_constant": state.is_constant, "sentence": state.sentence}
        return self.tagged({**PortionOut(portion).data, "drying": dry})


class Dryings(Endpoint):
    """The dryings of one portion."""

    area = "portions"
    operation = "dryings"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=DryingsOut),
        "POST": Told(takes=OvenIn, gives=DryingOut, code=201, service=dryings.begin_drying),
    }

    def get(self, request: Request, label: str) -> Response:
        """Give them, oldest first, each with its weighings and verdict."""
        views = dryings_of(find_portion(_person(request), label))
        return Response({"results": DryingOut(views, many=True).data})

    def post(self, request: Request, label: str) -> Response:
        """Put the portion into the oven."""
        told, person = _told(OvenIn, request), _person(request)
        oven = dryings.Oven(
            oven=_instrument("oven", told["oven"]),
            temperature_c=told["temperature_c"],
            limit_pct=told["limit_pct"],
            limit_source=told["limit_source"],
            container_text=told["container_g"],
            moist_text=told["moist_g"],
            run=find_run(person, told["run"]) if told["run"] else None,
        )
        drying = dryings.begin_drying(actor=person, portion=find_portion(person, label), oven=oven)
        return Response(_shown(person, drying.pk), status=status.HTTP_201_CREATED)


class OneDrying(Endpoint):
    """One drying."""

    area = "portions"
    operation = "drying"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=DryingOut, tagged=True, asks=Fields)}

    def get(self, request: Request, pk: int) -> HttpResponseBase:
        """Give it with its weighings and verdict."""
        return self.tagged(_shown(_person(request), pk))


class DryingMasses(Endpoint):
    """The weighings of one drying."""

    area = "portions"
    operation = "drying-masses"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(takes=MassIn, gives=DryingOut, code=201, keyed=False)
    }

    def post(self, request: Request, pk: int) -> Response:
        """Keep a weighing, or correct one with a reason; the verdict is given back."""
        told, person = _told(MassIn, request), _person(request)
        drying = find_drying(person, pk)
        reading = dryings.MassReading(told["number"], told["mass_g"], told["key"])
        if told["reason"].strip():
            dryings.correct_drying_mass(
                actor=person, drying=drying, reading=reading, reason=told["reason"]
            )
        else:
            dryings.record_drying_mass(actor=person, drying=drying, reading=reading)
        return Response(_shown(person, pk), status=status.HTTP_201_CREATED)


class DryingEnd(Endpoint):
    """The end of one drying."""

    area = "portions"
    operation = "drying-end"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(takes=EndIn, gives=DryingOut, service=dryings.end_drying)
    }

    def post(self, request: Request, pk: int) -> Response:
        """Take it out: constant, or given up with a reason."""
        told, person = _told(EndIn, request), _person(request)
        run = find_run(person, told["run"]) if told["run"] else None
        drying = find_drying(person, pk)
        dryings.end_drying(actor=person, drying=drying, reason=told["reason"], run=run)
        return Response(_shown(person, pk))


def _shown(person: User, pk: int) -> dict[str, Any]:
    view: DryingView = drying_view(find_drying(person, pk))
    return dict(DryingOut(view).data)
