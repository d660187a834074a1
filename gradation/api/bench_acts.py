"""Endpoints of benches and their balances: kept, connected, readings that wait placed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.benches import WHOLE_BENCH, find_bench
from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Listing, ReasonIn, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent, Told
from gradation.api.equipment import find_instrument
from gradation.api.serializers import states
from gradation.errors import Invalid, NotFound
from gradation.models import BalanceLink, BalanceReading, Bench, Run, User, Weighing
from gradation.queries.balances import bench_called, link_of, waiting_at, waiting_reading
from gradation.queries.equipment import bench_list
from gradation.queries.preparation import find_drying
from gradation.queries.runs import find_run
from gradation.services import balance_links, balance_readings, upkeep


class BenchRowOut(serializers.Serializer[Any]):
    """A bench in use."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    place = serializers.CharField()
    is_active = serializers.BooleanField()


class BenchIn(Sent):
    """A new bench."""

    name = serializers.CharField(max_length=60)
    place = serializers.CharField(max_length=120, default="", allow_blank=True)


class FieldIn(Sent):
    """A field of a run, or the next weighing of a drying.

    Of a run: what is weighed, at which place, which increment. Of a drying: its number.
    """

    run = serializers.IntegerField(default=None, allow_null=True)
    drying = serializers.IntegerField(default=None, allow_null=True)
    number = serializers.IntegerField(default=1, min_value=1, max_value=1000)
    slot = serializers.ChoiceField(
        [slot.value for slot in Weighing.Slot], default=Weighing.Slot.FRACTION.value
    )
    position = serializers.IntegerField(default=0, min_value=0, max_value=1000)
    increment = serializers.IntegerField(default=1, min_value=1, max_value=99)
    is_gross = serializers.BooleanField(default=False)
    tare_text = serializers.CharField(max_length=40, default="", allow_blank=True)


class WaitingFieldIn(FieldIn):
    """The field that a waiting reading belongs to; a reason makes it a correction."""

    reason = serializers.CharField(max_length=400, default="", allow_blank=True)


class WaitingOut(serializers.Serializer[Any]):
    """A reading of a balance and what became of it."""

    id = serializers.IntegerField()
    balance = serializers.CharField(source="balance.serial")
    bench = serializers.CharField(source="bench.name")
    outcome = serializers.ChoiceField(states(BalanceReading.Outcome))
    code = serializers.CharField()
    reason = serializers.CharField()
    mass_g = serializers.DecimalField(16, None, source="mass_as_sent", allow_null=True)
    received_at = serializers.DateTimeField()


class WaitingFilters(OlderPage):
    """Of which bench."""

    bench = serializers.CharField(max_length=60)


class LinkIn(Sent):
    """How a balance is read, and at which bench."""

    bench = serializers.CharField(max_length=60)
    form = serializers.CharField(max_length=24, help_text="Name of a line form, or 'own'.")
    pattern = serializers.CharField(max_length=120, default="", allow_blank=True)
    default_unit = serializers.CharField(max_length=4, default="g")
    stable_marks = serializers.CharField(max_length=80, default="", allow_blank=True)
    unstable_marks = serializers.CharField(max_length=80, default="", allow_blank=True)
    sends = serializers.ChoiceField(
        states(BalanceLink.Sends), default=BalanceLink.Sends.PRINT.value
    )
    baud = serializers.IntegerField(default=9600, min_value=50, max_value=1_000_000)
    data_bits = serializers.IntegerField(default=8, min_value=5, max_value=8)
    parity = serializers.ChoiceField(
        states(BalanceLink.Parity), default=BalanceLink.Parity.NONE.value
    )
    stop_bits = serializers.IntegerField(default=1, min_value=1, max_value=2)


class LinkChangeIn(LinkIn):
    """How a balance is to be read, and why that changes."""

    reason = serializers.CharField(max_length=400)


class LinkRowOut(serializers.Serializer[Any]):
    """How a balance is read."""

    balance = serializers.CharField(source="balance.serial")
    bench = serializers.CharField(source="bench.name")
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
    is_active = serializers.BooleanField()


def _find_row(person: User, pk: int) -> Bench:
    return Bench.objects.get(pk=pk)


def _find_waiting(person: User, pk: int) -> BalanceReading:
    reading = waiting_reading(pk)
    if reading is None:
        msg = "There is no such reading. List those that wait first."
        raise NotFound(msg)
    return reading


def _find_link(person: User, serial: str) -> BalanceLink:
    link = link_of(find_instrument(person, serial))
    if link is None:
        msg = f"Balance {serial} was never connected. Connect it first."
        raise NotFound(msg)
    return link


BENCH = Thing("bench", find_bench, BenchRowOut)
MADE_BENCH = Thing("bench", _find_row, BenchRowOut)
WAITING = Thing("reading", _find_waiting, WaitingOut)
LINK = Thing("link", _find_link, LinkRowOut)


def _bench(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"bench": Bench(**told)}


def _run(person: User, told: Words) -> Run:
    return find_run(person, told["run"])


def _field(person: User, told: Words) -> balance_readings.Field | balance_readings.DryingField:
    if (told["run"] is None) == (told["drying"] is None):
        msg = "Name the run or the drying that the reading goes to: one of them."
        raise Invalid.one("run", msg, code="one-of-two")
    if told["drying"] is not None:
        drying = find_drying(person, told["drying"])
        return balance_readings.DryingField(drying, told["number"])
    names = ("slot", "position", "increment", "is_gross", "tare_text")
    return balance_readings.Field(run=_run(person, told), **{name: told[name] for name in names})


def _placed(person: User, subject: BalanceReading, told: Words) -> Words:
    return {"field": _field(person, told), "reason": told["reason"]}


def _named(person: User, subject: Bench, told: Words) -> Words:
    return {"field": _field(person, told)}


def _at_bench(told: Words) -> dict[str, Any]:
    bench = bench_called(told["bench"])
    if bench is None:
        raise Invalid.one("bench", "No bench has this name.", code="unknown-bench")
    return {**told, "bench": bench}


def _reconnected(person: User, subject: BalanceLink, told: Words) -> Words:
    return _at_bench(told)


def _waiting(person: User, asked: Words) -> Any:  # noqa: ANN401
    bench = bench_called(asked["bench"])
    if bench is None:
        raise Invalid.one("bench", "No bench has this name.", code="unknown-bench")
    return waiting_at(bench).select_related("bench")


class LeftOut(serializers.Serializer[Any]):
    """How many benches were left."""

    benches = serializers.IntegerField()


class Leaving(Endpoint):
    """No more readings of balances as this person's."""

    area = "bench readings"
    operation = "bench-leave"
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(gives=LeftOut, service=balance_readings.leave_bench)
    }

    def post(self, request: Request) -> Response:
        """Leave every bench where this person named a field."""
        return Response({"benches": balance_readings.leave_bench(actor=self.person)})


class Connecting(Endpoint):
    """A balance is connected for the first time."""

    area = "equipment"
    operation = "balance-connect"
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(
            takes=LinkIn, gives=LinkRowOut, code=201, service=balance_links.connect_balance
        )
    }

    def post(self, request: Request, serial: str) -> Response:
        """Connect it to a bench."""
        balance = find_instrument(self.person, serial)
        link = BalanceLink(balance=balance, **_at_bench(self.sent()))
        made = balance_links.connect_balance(actor=self.person, link=link)
        return Response(LinkRowOut(made).data, status=201)


_BENCH = "benches/<path:bench>"
_LINK = "balances/<path:serial>"
routes = [
    route(
        "benches",
        "benches",
        "bench readings",
        get=Listing(lambda person, asked: bench_list(), BenchRowOut, OlderPage),
        post=Act(upkeep.add_bench, BenchIn, _bench, made=MADE_BENCH, code=201),
    ),
    path("benches/leave", Leaving.as_view(), name="bench-leave"),
    route(
        f"{_BENCH}/retire",
        "bench-retire",
        "bench readings",
        post=Act(
            *(upkeep.retire_bench, ReasonIn),
            thing=WHOLE_BENCH,
            made=MADE_BENCH,
            about="The answer is the bench as the list shows it.",
        ),
    ),
    route(
        f"{_BENCH}/field",
        "bench-field",
        "bench readings",
        post=Act(balance_readings.name_place, FieldIn, _named, BENCH, matched=False),
    ),
    route(
        "waiting-readings",
        "waiting-readings",
        "bench readings",
        get=Listing(_waiting, WaitingOut, WaitingFilters),
    ),
    route("waiting-readings/<int:pk>", "waiting-reading", "bench readings", get=WAITING),
    route(
        "waiting-readings/<int:pk>/place",
        "waiting-place",
        "bench readings",
        post=Act(balance_readings.place_waiting, WaitingFieldIn, _placed, WAITING),
    ),
    route(
        "waiting-readings/<int:pk>/set-aside",
        "waiting-set-aside",
        "bench readings",
        post=Act(balance_readings.set_aside, ReasonIn, thing=WAITING),
    ),
    path(f"{_LINK}/connect", Connecting.as_view(), name="balance-connect"),
    route(
        f"{_LINK}/disconnect",
        "balance-disconnect",
        "equipment",
        post=Act(balance_links.disconnect_balance, ReasonIn, thing=LINK),
    ),
    route(
        _LINK,
        "balance-link",
        "equipment",
        get=LINK,
        put=Act(balance_links.change_balance_link, LinkChangeIn, _reconnected, LINK),
    ),
]
