"""Endpoints of the equipment file: sieves, instruments, nests, what is due, checks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, ClassVar

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Words
from gradation.api.contract.told import OlderPage, Sent, Told
from gradation.api.equipment_in import evidence_of
from gradation.api.equipment_out import CheckIn, CheckOut, DueOut
from gradation.api.history import HistoryOut, history_of
from gradation.api.serializers import states
from gradation.errors import NotFound
from gradation.models import Equipment, Instrument, Sieve, User
from gradation.policy import Action
from gradation.queries import equipment as known
from gradation.queries import equipment_file as file
from gradation.queries.changes import changed_since
from gradation.queries.due import due_list
from gradation.queries.history import story_of_equipment
from gradation.queries.laboratory import laboratory
from gradation.queries.paging import page_of
from gradation.services import checks, clock


class StaffView(Endpoint):
    """An endpoint that people of the laboratory may read; keeping asks for the keeper."""

    area = "equipment"
    act: ClassVar[Mapping[str, Action]] = {"POST": Action.KEEP_EQUIPMENT}

    def today(self) -> date:
        """Give the laboratory's day."""
        return clock.today(laboratory())


def item_named(serial: str) -> Sieve | Instrument:
    """Give the sieve or instrument of this serial number, or `NotFound`."""
    item = file.item_by_serial(serial)
    if item is None:
        msg = f"There is no sieve or instrument {serial}. Check the number."
        raise NotFound(msg)
    return item


class SieveFilters(OlderPage):
    """What the list of sieves is narrowed to."""

    state = serializers.ChoiceField(states(Equipment.State), required=False)
    master = serializers.BooleanField(required=False)
    changed_since = serializers.DateTimeField(required=False)


class InstrumentFilters(OlderPage):
    """What the list of instruments is narrowed to."""

    kind = serializers.ChoiceField(
        [kind for kind in states(Equipment.Kind) if kind != Equipment.Kind.SIEVE], required=False
    )
    changed_since = serializers.DateTimeField(required=False)


def _since(rows: QuerySet[Any], asked: Words) -> QuerySet[Any]:
    if "changed_since" not in asked:
        return rows
    return rows.filter(serial__in=changed_since("equipment", asked["changed_since"]))


def sieve_rows(person: User, asked: Words) -> QuerySet[Sieve]:
    """List the sieves that are asked for."""
    rows = Sieve.objects.select_related("bench", "keeper")
    if "state" in asked:
        rows = rows.filter(state=asked["state"])
    if "master" in asked:
        rows = rows.filter(is_master=asked["master"])
    return _since(rows, asked)


def instrument_rows(person: User, asked: Words) -> QuerySet[Instrument]:
    """List the instruments that are asked for."""
    rows = known.instrument_list().select_related("bench", "keeper")
    if "kind" in asked:
        rows = rows.filter(kind=asked["kind"])
    return _since(rows, asked)


def find_sieve(person: User, serial: str) -> Sieve:
    """Give the sieve of this serial number, or `NotFound`."""
    item = item_named(serial)
    if not isinstance(item, Sieve):
        msg = f"There is no sieve {serial}. It is among the instruments."
        raise NotFound(msg)
    return item


def find_instrument(person: User, serial: str) -> Instrument:
    """Give the instrument of this serial number, or `NotFound`."""
    item = item_named(serial)
    if not isinstance(item, Instrument):
        msg = f"There is no instrument {serial}. It is among the sieves."
        raise NotFound(msg)
    return item


class CheckFilters(OlderPage):
    """Which page of checks."""


class Checks(StaffView):
    """The checks of one sieve or instrument, newest first."""

    operation = "checks"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=CheckOut, asks=CheckFilters, pages=True),
        "POST": Told(takes=CheckIn, gives=CheckOut, code=201, service=checks.record_check),
    }

    def get(self, request: Request, serial: str) -> Response:
        """Give one page of checks with what they rest on."""
        rows = file.checks_of(item_named(serial)).order_by("-pk")
        page = page_of(rows, before=self.asked.get("before"), size=self.asked["size"])
        return self.paged(page, [CheckOut(row).data for row in page.rows])

    def post(self, request: Request, serial: str) -> Response:
        """Record a check; its verdict is computed and given back."""
        item = item_named(serial)
        sent = CheckIn(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        check = checks.record_check(
            actor=self.person,
            equipment=item,
            evidence=evidence_of(values["kind"], values["evidence"]),
            performed_on=values["performed_on"],
            note=values["note"],
            next_due_on=values["next_due_on"],
        )
        return Response(CheckOut(check).data, status=201)


class EquipmentHistory(StaffView):
    """What was done with a sieve or an instrument."""

    operation = "equipment-history"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=HistoryOut)}

    def get(self, request: Request, serial: str) -> Response:
        """Tell its history, oldest first."""
        return Response(history_of(story_of_equipment(item_named(serial))))


class DueFilters(Sent):
    """Whose list, or which bench's."""

    bench = serializers.CharField(max_length=60, required=False)
    keeper = serializers.CharField(max_length=150, required=False)


class DueListOut(serializers.Serializer[Any]):
    """What is due, the overdue first."""

    results = DueOut(many=True)


class DueList(StaffView):
    """Everything in service by when its check is due, the overdue first."""

    operation = "due"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=DueListOut, asks=DueFilters)}

    def get(self, request: Request) -> Response:
        """Give the list, of one bench or keeper if asked."""
        bench, keeper = (self.asked.get(name, "") for name in ("bench", "keeper"))
        rows = [
            row
            for row in due_list(self.today())
            if bench in ("", str(row.item.bench or "")) and keeper in ("", _name(row.item.keeper))
        ]
        return Response({"results": DueOut(rows, many=True).data})


def _name(person: User | None) -> str:
    return person.username if person else ""
