"""Endpoints of benches: where the next balance reading goes, and the readings that come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, cast

from django.http import HttpResponseBase
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Thing, Words
from gradation.api.contract.told import Answer, Sent, Told
from gradation.api.problems import MEDIA_TYPE, problem_body
from gradation.api.tokens import ScopeMissing
from gradation.errors import Conflict, Invalid, NotFound
from gradation.models import ApiToken, BalanceReading, Bench, User
from gradation.policy import Action, require
from gradation.queries.balances import bench_called, links_at, named_place, waiting_at
from gradation.services import clock
from gradation.services.balance_readings import BalanceLine, take_balance_reading

MOST_AT_ONCE = 100
Outcome = BalanceReading.Outcome
#: What is wrong with the line itself; all else is about the balance or the bench.
_OF_THE_LINE = frozenset({"unstable", "overloaded", "unreadable", "below-zero", "nothing-on-it"})


class BalanceLineIn(Sent):
    """One line of a balance as it came; the times are by the sender's clock."""

    balance = serializers.CharField(max_length=40)
    line = serializers.CharField(max_length=200, trim_whitespace=False)
    key = serializers.UUIDField()
    observed_at = serializers.DateTimeField(required=False, allow_null=True)
    sent_at = serializers.DateTimeField(required=False, allow_null=True)


class BalanceLineOut(serializers.Serializer[BalanceReading]):
    """What became of a line."""

    key = serializers.UUIDField()
    outcome = serializers.CharField()
    code = serializers.CharField()
    reason = serializers.CharField()
    mass_g = serializers.DecimalField(16, None, source="mass_as_sent", allow_null=True)
    run = serializers.IntegerField(source="weighing.run_id", default=None, allow_null=True)
    weighing = serializers.IntegerField(source="weighing_id", allow_null=True)
    drying = serializers.IntegerField(source="drying_mass.drying_id", default=None, allow_null=True)
    drying_mass = serializers.IntegerField(source="drying_mass_id", allow_null=True)


class BenchPlaceOut(serializers.Serializer[Any]):
    """Where the next balance reading of a bench goes."""

    run = serializers.IntegerField(source="run_id", allow_null=True)
    drying = serializers.IntegerField(source="drying_id", allow_null=True)
    slot = serializers.CharField()
    position = serializers.IntegerField()
    increment = serializers.IntegerField()
    is_gross = serializers.BooleanField()
    person = serializers.CharField()
    named_at = serializers.DateTimeField()


class LinkOut(serializers.Serializer[Any]):
    """How a balance of a bench is read."""

    serial = serializers.CharField(source="balance.serial")
    form = serializers.CharField()
    pattern = serializers.CharField()
    default_unit = serializers.CharField()
    stable_marks = serializers.CharField()
    unstable_marks = serializers.CharField()
    sends = serializers.CharField()
    baud = serializers.IntegerField()
    data_bits = serializers.IntegerField()
    parity = serializers.CharField()
    stop_bits = serializers.IntegerField()


@dataclass(frozen=True)
class _Door:
    """Who sends, to which bench, and when it came in."""

    person: User
    bench: Bench
    token: ApiToken | None
    at: datetime


def _bench(request: Request, name: str) -> Bench:
    bench = bench_called(name)
    if bench is None:
        msg = f"There is no bench {name}. Check its name in the settings of whatever sends."
        raise Conflict(msg, code="unknown-bench")
    if isinstance(request.auth, ApiToken) and request.auth.bench_id not in {None, bench.pk}:
        msg = f"This token is for {request.auth.bench}, not for {bench}."
        raise ScopeMissing(msg)
    return bench


class BenchOut(serializers.Serializer[Any]):
    """A bench: the field that was named, its balances, how many readings wait."""

    name = serializers.CharField()
    is_active = serializers.BooleanField()
    place = BenchPlaceOut(allow_null=True)
    balances = LinkOut(many=True)
    waiting = serializers.IntegerField()


def find_bench(person: User, name: str) -> Bench:
    """Give a bench by its name; refuses (`NotFound`) one there is not."""
    bench = bench_called(name)
    if bench is None:
        msg = f"There is no bench {name}. List the benches first."
        raise NotFound(msg)
    return bench


def _whole(person: User, bench: Bench) -> Words:
    place = named_place(bench)
    return {
        "name": bench.name,
        "is_active": bench.is_active,
        "place": BenchPlaceOut(place).data if place else None,
        "balances": LinkOut(links_at(bench), many=True).data,
        "waiting": waiting_at(bench).count(),
    }


WHOLE_BENCH = Thing("bench", find_bench, BenchOut, _whole)

LINES_SENT: dict[str, Any] = {
    "description": "One line, or up to a hundred: balance (serial), line (as it came), key (UUID), "
    "observed_at and sent_at by the sender's clock.",
    "anyOf": [
        {"type": "object", "required": ["balance", "line", "key"]},
        {"type": "array", "items": {"type": "object"}, "maxItems": MOST_AT_ONCE},
    ],
}
LINES_TAKEN: dict[str, Any] = {
    "type": "object",
    "description": "What became of one line; or `results`, what became of each.",
    "additionalProperties": {},
}


class OneBench(Endpoint):
    """One bench."""

    area = "bench readings"
    operation = "bench"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=BenchOut, tagged=True)}

    def get(self, request: Request, bench: str) -> HttpResponseBase:
        """Give the field that was named, the balances and how many readings wait."""
        require(self.person, Action.READ_RECORDS)
        return self.tagged(WHOLE_BENCH.shown(self.person, _bench(request, bench)))


class BenchReadings(Endpoint):
    """Lines of balances come in here, one or a list; each is kept, whatever becomes of it."""

    area = "bench readings"
    operation = "bench-readings"
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(
            takes=LINES_SENT,
            gives=LINES_TAKEN,
            code=201,
            keyed=False,
            more=(Answer(LINES_TAKEN), Answer(LINES_TAKEN, 202)),
        )
    }

    def post(self, request: Request, bench: str) -> Response:
        """Take one line, or up to a hundred with an answer for each."""
        person = cast("User", request.user)
        require(person, Action.SEND_BALANCE_READINGS)
        token = request.auth if isinstance(request.auth, ApiToken) else None
        door = _Door(person, _bench(request, bench), token, clock.now())
        if not isinstance(request.data, list):
            return _single(door, request.data)
        if len(request.data) > MOST_AT_ONCE:
            msg = f"{len(request.data)} readings at once; {MOST_AT_ONCE} fit. Send them in parts."
            raise Invalid.one("", msg, code="too-many")
        return Response({"results": [_one_of_many(door, item) for item in request.data]})


def _taken(door: _Door, given: dict[str, Any]) -> BalanceReading:
    sent = BalanceLine(bench=door.bench, token=door.token, received_at=door.at, **given)
    return take_balance_reading(actor=door.person, sent=sent)


def _single(door: _Door, item: object) -> Response:
    given = BalanceLineIn(data=item)
    given.is_valid(raise_exception=True)
    reading = _taken(door, given.validated_data)
    told, code = BalanceLineOut(reading).data, _status(reading, door.at)
    if reading.outcome != Outcome.REFUSED:
        return Response(told, status=code)
    body = problem_body(code, reading.code, reading.reason)
    return Response({**body, "reading": told}, status=code, content_type=MEDIA_TYPE)


def _status(reading: BalanceReading, at: datetime) -> int:
    if reading.outcome == Outcome.REFUSED:
        of_the_line = reading.code in _OF_THE_LINE
        return status.HTTP_422_UNPROCESSABLE_ENTITY if of_the_line else status.HTTP_409_CONFLICT
    if reading.received_at != at:
        return status.HTTP_200_OK  # it is here already
    if reading.outcome == Outcome.WAITING:
        return status.HTTP_202_ACCEPTED
    return status.HTTP_201_CREATED


def _one_of_many(door: _Door, item: object) -> dict[str, Any]:
    given = BalanceLineIn(data=item)
    if not given.is_valid():
        said = " ".join(
            f"{name}: {' '.join(str(word) for word in words)}"
            for name, words in given.errors.items()
        )
        return _not_kept(item, status.HTTP_400_BAD_REQUEST, "invalid", said)
    try:
        reading = _taken(door, given.validated_data)
    except Conflict as refusal:
        return _not_kept(item, status.HTTP_409_CONFLICT, refusal.code, refusal.message)
    return {**BalanceLineOut(reading).data, "status": _status(reading, door.at)}


def _not_kept(item: object, code: int, kind: str, said: str) -> dict[str, Any]:
    key = str(item.get("key", "")) if isinstance(item, Mapping) else ""
    return {"key": key, "outcome": "not kept", "code": kind, "reason": said, "status": code}
