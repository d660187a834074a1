"""Endpoints of what a run consists of: its readings and its shakings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, cast

from django.http import HttpResponseBase
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.bulk import BulkIn, BulkOut, each_of
from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Thing, Words
from gradation.api.contract.told import Answer, Sent, Told
from gradation.errors import Invalid
from gradation.models import Instrument, Run, Shaking, User, Weighing
from gradation.queries.equipment import instruments_by_serial
from gradation.queries.readings import latest_of
from gradation.queries.runs import find_run
from gradation.queries.shakings import compared, latest_shakings
from gradation.services import shakings, weighing


class ReadingIn(Sent):
    """One reading as text, at a place or at the sieve of a size; a reason makes it a correction."""

    key = serializers.UUIDField()
    slot = serializers.ChoiceField([slot.value for slot in Weighing.Slot])
    position = serializers.IntegerField(min_value=0, max_value=1000, required=False)
    aperture_um = serializers.DecimalField(10, 2, required=False)
    increment = serializers.IntegerField(min_value=1, max_value=99, default=1)
    text = serializers.CharField(max_length=200)
    tare_text = serializers.CharField(max_length=200, default="", allow_blank=True)
    observed_at = serializers.DateTimeField(default=None, allow_null=True)
    reason = serializers.CharField(max_length=400, default="", allow_blank=True)


class ReadingOut(serializers.Serializer[Any]):
    """One reading as it was kept."""

    key = serializers.UUIDField()
    slot = serializers.CharField()
    position = serializers.IntegerField()
    increment = serializers.IntegerField()
    revision = serializers.IntegerField()
    mass_g = serializers.CharField(source="mass_as_entered")
    entered_text = serializers.CharField()
    reason = serializers.CharField()
    observed_at = serializers.DateTimeField(allow_null=True)
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField(source="made_by.full_name")
    source = serializers.CharField(help_text="typed, balance, API, import or paper.")  # type: ignore[assignment]


class ReadingRowOut(ReadingOut):
    """One reading, and whether it counts."""

    current = serializers.BooleanField()


class ReadingsOut(serializers.Serializer[Any]):
    """Every reading, in the order made."""

    results = ReadingRowOut(many=True)


class Weighings(Endpoint):
    """The readings of a run; each is kept at once, under the key its sender made."""

    area = "runs"
    operation = "run-weighings"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=ReadingsOut),
        "POST": Told(
            takes=ReadingIn, gives=ReadingOut, code=201, keyed=False, more=(Answer(ReadingOut),)
        ),
    }

    def get(self, request: Request, pk: int) -> Response:
        """Give every reading in the order made, and which of them count (`current`)."""
        rows = sorted(find_run(_person(request), pk).weighings.all(), key=lambda row: row.pk)
        counts = {row.pk for row in latest_of(rows)}
        shown = [{**_shown(row), "current": row.pk in counts} for row in rows]
        return Response({"results": shown})

    def post(self, request: Request, pk: int) -> Response:
        """Keep a reading, or correct one with a reason; the same key again gives back the first."""
        given = ReadingIn(data=request.data)
        given.is_valid(raise_exception=True)
        run = find_run(_person(request), pk)
        is_known = any(row.key == given.validated_data["key"] for row in run.weighings.all())
        kept = _keep(_person(request), run, given.validated_data)
        code = status.HTTP_200_OK if is_known else status.HTTP_201_CREATED
        return Response(_shown(kept), status=code)


def _shown(row: Weighing) -> dict[str, Any]:
    return dict(ReadingOut(row).data)


def _person(request: Request) -> User:
    return cast("User", request.user)


def _keep(person: User, run: Run, given: dict[str, Any]) -> Weighing:
    names = ("slot", "text", "key", "increment", "tare_text", "observed_at")
    reading = weighing.Reading(
        **{name: given[name] for name in names},
        position=_position(run, given),
        source=Weighing.Source.API,
    )
    if given["reason"]:
        return weighing.correct_weighing(
            actor=person, run=run, reading=reading, reason=given["reason"]
        )
    return weighing.record_weighing(actor=person, run=run, reading=reading)


def _position(run: Run, given: dict[str, Any]) -> int:
    """Find the place of a size; without a size, the place given."""
    size_um = given.get("aperture_um")
    if size_um is None:
        return int(given.get("position", 0))
    found = next((place for place in run.places.all() if place.aperture_um == size_um), None)
    if found is None:
        msg = f"Run {run} has no sieve of {size_um.normalize():f} µm."
        raise Invalid.one("aperture_um", msg, code="no-such-place")
    return found.position


class ReadingsIn(BulkIn):
    """Many readings of one run."""

    items = serializers.ListField(
        child=serializers.DictField(),
        min_length=1,
        max_length=200,
        help_text="Each as a single reading is sent, with a key of its own.",
    )


class ManyWeighings(Endpoint):
    """Many readings of one run at once."""

    area = "runs"
    operation = "run-weighings-bulk"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(takes=ReadingsIn, gives=BulkOut, keyed=False)
    }

    def post(self, request: Request, pk: int) -> Response:
        """Keep up to two hundred readings; each is answered in its place, in the order sent."""
        run = find_run(self.person, pk)

        def keep(item: Mapping[str, Any]) -> Mapping[str, Any]:
            given = ReadingIn(data=item)
            given.is_valid(raise_exception=True)
            return _shown(_keep(self.person, run, given.validated_data))

        return Response(each_of(self.sent()["items"], keep))


class ShakingIn(Sent):
    """One shaking as it was made; the shaker by its serial number."""

    key = serializers.UUIDField()
    minutes = serializers.DecimalField(6, 1)
    amplitude_mm = serializers.DecimalField(5, 2, default=None, allow_null=True)
    acceleration_g = serializers.DecimalField(6, 2, default=None, allow_null=True)
    frequency_hz = serializers.DecimalField(5, 1, default=None, allow_null=True)
    interval_s = serializers.IntegerField(
        min_value=1, max_value=32767, default=None, allow_null=True
    )
    taps_per_min = serializers.IntegerField(
        min_value=1, max_value=32767, default=None, allow_null=True
    )
    shaker = serializers.CharField(max_length=40, default="", allow_blank=True)
    began_at = serializers.DateTimeField(default=None, allow_null=True)
    note = serializers.CharField(max_length=400, default="", allow_blank=True)


class ShakingOut(serializers.Serializer[Any]):
    """One shaking as it counts now."""

    number = serializers.IntegerField()
    revision = serializers.IntegerField()
    shaker = serializers.CharField(source="shaker.serial", default="")
    began_at = serializers.DateTimeField(allow_null=True)
    minutes = serializers.DecimalField(6, 1)
    amplitude_mm = serializers.DecimalField(5, 2, allow_null=True)
    acceleration_g = serializers.DecimalField(6, 2, allow_null=True)
    frequency_hz = serializers.DecimalField(5, 1, allow_null=True)
    interval_s = serializers.IntegerField(allow_null=True)
    taps_per_min = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    made_by = serializers.CharField(source="made_by.full_name")


class ShakingRowOut(ShakingOut):
    """One shaking, and whether it was as planned."""

    as_planned = serializers.BooleanField()
    reasons = serializers.ListField(child=serializers.CharField())


class ShakingsOut(serializers.Serializer[Any]):
    """The shakings of a run as they count now."""

    results = ShakingRowOut(many=True)


class Shakings(Endpoint):
    """The shakings of a run, and whether each was as the procedure plans it."""

    area = "runs"
    operation = "run-shakings"
    is_open = True
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=ShakingsOut, tagged=True),
        "POST": Told(
            takes=ShakingIn,
            gives=ShakingRowOut,
            code=201,
            keyed=False,
            more=(Answer(ShakingRowOut),),
        ),
    }

    def get(self, request: Request, pk: int) -> HttpResponseBase:
        """Give the shakings as they count now."""
        person = _person(request)
        return self.tagged(SHAKINGS.shown(person, find_run(person, pk)))

    def post(self, request: Request, pk: int) -> Response:
        """Keep a shaking; the same key again gives back the first."""
        given = ShakingIn(data=request.data)
        given.is_valid(raise_exception=True)
        run = find_run(_person(request), pk)
        is_known = any(row.key == given.validated_data["key"] for row in run.shakings.all())
        told = {**given.validated_data, "shaker": shaker_named(given.validated_data["shaker"])}
        kept = shakings.record_shaking(
            actor=_person(request), run=run, shaken=shakings.Shaken(**told)
        )
        code = status.HTTP_200_OK if is_known else status.HTTP_201_CREATED
        return Response({**ShakingOut(kept).data, **_compared(run, kept)}, status=code)


def shaker_named(serial: str) -> Instrument | None:
    """Give a shaker by its serial number; none where none is named."""
    if not serial:
        return None
    found, unknown = instruments_by_serial([serial])
    if unknown:
        msg = f"No instrument is registered under {serial}. Check the label."
        raise Invalid.one("shaker", msg, code="unknown-serial")
    return found[0]


def _shakings(person: User, run: Run) -> Words:
    rows = latest_shakings(run.shakings.all())
    return {"results": [{**ShakingOut(row).data, **_compared(run, row)} for row in rows]}


SHAKINGS = Thing("run", find_run, ShakingsOut, _shakings)


def _compared(run: Run, row: Shaking) -> dict[str, Any]:
    found = compared(run.procedure_version, row)
    return {"as_planned": found.comparable, "reasons": list(found.reasons)}
