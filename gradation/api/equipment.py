"""Endpoints of the equipment file: sieves, instruments, nests, what is due, checks."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar, cast

from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gradation.api.equipment_in import evidence_of
from gradation.api.equipment_out import (
    CheckIn,
    CheckOut,
    DueOut,
    InstrumentOut,
    NestOut,
    SieveOut,
)
from gradation.errors import Invalid, NotFound
from gradation.models import Instrument, Sieve, User
from gradation.policy import Action, require
from gradation.queries import equipment as known
from gradation.queries import equipment_file as file
from gradation.queries.due import due_list
from gradation.queries.laboratory import laboratory
from gradation.queries.paging import page_of
from gradation.services import checks, clock


class StaffView(APIView):
    """An endpoint that people of the laboratory may read; filters not offered are refused."""

    area = "equipment"
    allowed: ClassVar[frozenset[str]] = frozenset()
    act: ClassVar[dict[str, Action]] = {"POST": Action.KEEP_EQUIPMENT}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let nobody further whose roles do not include the act."""
        super().initial(request, *args, **kwargs)
        require(self.person, self.act.get(request.method or "", Action.READ_RECORDS))
        strange = set(request.query_params) - self.allowed
        if strange:
            names = ", ".join(sorted(strange))
            raise Invalid.one("", f"Unknown filter: {names}.", code="unknown-filter")

    @property
    def person(self) -> User:
        """Give the signed-in person."""
        return cast("User", self.request.user)

    def key(self, name: str) -> int | None:
        """Give a row's key from the address."""
        text = self.request.query_params.get(name, "")
        if text and not (text.isascii() and text.isdigit() and len(text) < 18):
            raise Invalid.one(name, "The key is a whole number.")
        return int(text) if text else None

    def today(self) -> date:
        """Give the laboratory's day."""
        return clock.today(laboratory())


def _item(serial: str) -> Sieve | Instrument:
    item = file.item_by_serial(serial)
    if item is None:
        msg = f"There is no sieve or instrument {serial}. Check the number."
        raise NotFound(msg)
    return item


class Sieves(StaffView):
    """The sieves, newest first, a page at a time."""

    allowed = frozenset({"before", "state", "master"})

    def get(self, request: Request) -> Response:
        """Give one page and the key of the next older one."""
        return self._page(Sieve.objects.select_related("bench", "keeper"))

    def _page(self, rows: QuerySet[Sieve]) -> Response:
        query = self.request.query_params
        if state := query.get("state", ""):
            rows = rows.filter(state=state[:20])
        if master := query.get("master", ""):
            rows = rows.filter(is_master=master == "true")
        page = page_of(rows, before=self.key("before"))
        shown = SieveOut(page.rows, many=True)
        return Response({"results": shown.data, "older_than": page.older_than})


class OneSieve(StaffView):
    """One sieve."""

    def get(self, request: Request, serial: str) -> Response:
        """Give the sieve of this serial number."""
        item = _item(serial)
        if not isinstance(item, Sieve):
            msg = f"There is no sieve {serial}. It is among the instruments."
            raise NotFound(msg)
        return Response(SieveOut(item).data)


class Instruments(StaffView):
    """The instruments, newest first, a page at a time."""

    allowed = frozenset({"before", "kind"})

    def get(self, request: Request) -> Response:
        """Give one page and the key of the next older one."""
        rows = known.instrument_list()
        if kind := request.query_params.get("kind", ""):
            rows = rows.filter(kind=kind[:20])
        page = page_of(rows, before=self.key("before"))
        shown = InstrumentOut(page.rows, many=True)
        return Response({"results": shown.data, "older_than": page.older_than})


class OneInstrument(StaffView):
    """One instrument."""

    def get(self, request: Request, serial: str) -> Response:
        """Give the instrument of this serial number."""
        item = _item(serial)
        if not isinstance(item, Instrument):
            msg = f"There is no instrument {serial}. It is among the sieves."
            raise NotFound(msg)
        return Response(InstrumentOut(item).data)


class Checks(StaffView):
    """The checks of one sieve or instrument, newest first."""

    allowed = frozenset({"before"})

    def get(self, request: Request, serial: str) -> Response:
        """Give one page of checks with what they rest on."""
        page = page_of(file.checks_of(_item(serial)).order_by("-pk"), before=self.key("before"))
        shown = CheckOut(page.rows, many=True)
        return Response({"results": shown.data, "older_than": page.older_than})

    def post(self, request: Request, serial: str) -> Response:
        """Record a check; its verdict is computed and given back."""
        item = _item(serial)
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


class Nests(StaffView):
    """The nests in use, with whether each is fit for use today and why not."""

    def get(self, request: Request) -> Response:
        """Give every nest."""
        states = known.nest_states(known.nest_list(), self.today())
        return Response({"results": NestOut(states, many=True).data})


class DueList(StaffView):
    """Everything in service by when its check is due, the overdue first."""

    allowed = frozenset({"bench", "keeper"})

    def get(self, request: Request) -> Response:
        """Give the list, of one bench or keeper if asked."""
        bench, keeper = (request.query_params.get(name, "") for name in ("bench", "keeper"))
        rows = [
            row
            for row in due_list(self.today())
            if bench in ("", str(row.item.bench or "")) and keeper in ("", _name(row.item.keeper))
        ]
        return Response({"results": DueOut(rows, many=True).data})


def _name(person: User | None) -> str:
    return person.username if person else ""
