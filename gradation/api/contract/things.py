"""Endpoints that differ in words only: a list, one thing, an act upon a thing, a new thing.

Each is told by what it reads (`gradation.queries`) and by the use-case it calls
(`gradation.services`); the texts of the contract are the use-cases' own.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar, NamedTuple

from django.db import transaction
from django.db.models import Model, QuerySet
from django.http import HttpResponseBase
from django.urls import URLPattern, path
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint, StateMoved
from gradation.api.contract.told import Fields, OlderPage, Sent, Told
from gradation.errors import NotFound
from gradation.models import User
from gradation.policy import Action
from gradation.queries.history import moved_since, sequence_of
from gradation.queries.paging import page_of
from gradation.services import ledger

__all__ = ["Act", "Listing", "ObjectIn", "Open", "ReasonIn", "Thing", "route"]

Words = Mapping[str, Any]


class ObjectIn(serializers.Serializer[Any]):
    """Any JSON object, read by the use-case's own reader."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:  # noqa: ANN401
        """Give the object as it is."""
        if not isinstance(data, Mapping):
            raise serializers.ValidationError({"": ["Send one JSON object."]})
        return {str(name): value for name, value in data.items()}


class ReasonIn(Sent):
    """Why."""

    reason = serializers.CharField(max_length=400, help_text="Why; it stands in the records.")


@dataclass(frozen=True)
class Thing:
    """One kind of thing: how it is found, under which name services take it, how it is shown."""

    word: str
    find: Callable[..., Any]
    out: Any
    show: Callable[[User, Any], Words] | None = None

    def found(self, person: User, *keys: Any) -> Any:  # noqa: ANN401 - any model
        """Find it; what is absent and what is not theirs answer alike."""
        row = self.find(person, *keys)
        if row is None:
            msg = f"There is no such {self.word or 'thing'}, or it is not yours."
            raise NotFound(msg)
        return row

    def shown(self, person: User, row: Any) -> Words:  # noqa: ANN401 - any model
        """Give the thing as the interface shows it."""
        return self.show(person, row) if self.show else dict(self.out(row).data)


@dataclass(frozen=True)
class Listing:
    """A list of things, newest first, by key."""

    rows: Callable[[User, Words], QuerySet[Any]]
    out: type[serializers.BaseSerializer[Any]]
    asks: type[serializers.Serializer[Any]] = OlderPage
    shown: Callable[[Any], Words] | None = None
    #: Shows the rows of a page together, where what is shown is asked for many at once.
    together: Callable[[list[Any]], list[Words]] | None = None


def _as_sent(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return told


@dataclass(frozen=True)
class Act:
    """An act: the use-case, what is sent, and how that becomes the use-case's arguments.

    Without a `thing` it makes something new, which `made` shows.
    """

    service: Callable[..., Any]
    takes: type[serializers.Serializer[Any]] | None = ReasonIn
    read: Callable[[User, Any, Words], Words] = _as_sent
    thing: Thing | None = None
    made: Thing | None = None
    key_of: Callable[[Any], Any] = lambda row: row.pk
    code: int = 200
    #: Acts that only add something need not say in which state the thing was seen.
    matched: bool = True
    about: str = ""
    #: The form that the contract shows, where `takes` reads more than it can say.
    form: Any = None


class _List(Endpoint):
    listing: ClassVar[Listing]

    def get(self, request: Request) -> Response:
        """List what there is, the newest first, a page at a time."""
        asked = self.asked
        rows = self.listing.rows(self.person, asked)
        page = page_of(rows, before=asked.get("before"), size=asked["size"])
        shown, together = self.listing.shown, self.listing.together
        if together is not None:
            return self.paged(page, together(list(page.rows)))
        if shown is None:
            return self.paged(page, [self.listing.out(row).data for row in page.rows])
        return self.paged(page, [shown(row) for row in page.rows])


class _One(Endpoint):
    thing: ClassVar[Thing]

    def get(self, request: Request, **named: Any) -> HttpResponseBase:
        """Give it, with the tag of its state."""
        row = self.thing.found(self.person, *named.values())
        return self.tagged(self.thing.shown(self.person, row))


class _Acts(Endpoint):
    does: ClassVar[Mapping[str, Act]]

    def _act(self, request: Request, **named: Any) -> HttpResponseBase:
        act = self.does[request.method or ""]
        with transaction.atomic():
            if act.thing is None:
                told = self._sent(act)
                return self._made(act, None, act.service(**self._arguments(act, None, told)))
            return self._upon(act, act.thing, tuple(named.values()))

    def _sent(self, act: Act) -> Words:
        return self.sent(act.takes) if act.takes else {}

    def _upon(self, act: Act, thing: Thing, keys: tuple[Any, ...]) -> HttpResponseBase:
        subject = thing.found(self.person, *keys)
        chain = ledger.chain_of(subject) if isinstance(subject, Model) else ""
        seen = sequence_of(chain) if act.matched else 0
        if act.matched:
            # Read after the sequence: what is written in between is found to have moved at the end.
            subject = thing.found(self.person, *keys)
            self.match(thing.shown(self.person, subject))
        made = act.service(**self._arguments(act, subject, self._sent(act)))
        if act.matched and moved_since(chain, seen, self.person.origin.request_id):
            raise StateMoved
        return self._made(act, subject, made, keys)

    def _arguments(self, act: Act, subject: Any, told: Words) -> dict[str, Any]:  # noqa: ANN401
        given = {"actor": self.person, **act.read(self.person, subject, told)}
        if act.thing is not None:
            if act.thing.word:
                given.setdefault(act.thing.word, subject)
            wants = inspect.signature(act.service).parameters
            if act.thing.word != "version" and "version" in wants and hasattr(subject, "version"):
                given.setdefault("version", subject.version)
        return given

    def _made(
        self,
        act: Act,
        subject: Any,  # noqa: ANN401 - any model
        made: Any,  # noqa: ANN401 - whatever the use-case gives
        keys: tuple[Any, ...] = (),
    ) -> HttpResponseBase:
        if act.code == status.HTTP_204_NO_CONTENT:
            return Response(status=act.code)
        if act.made is None and act.thing is not None and subject is not None:
            shown = act.thing.shown(self.person, act.thing.found(self.person, *keys))
            return self.tagged(shown, act.code)
        if act.made is None:
            msg = f"{act.service.__name__} says nothing of what it makes"
            raise TypeError(msg)
        row = act.made.found(self.person, act.key_of(made))
        return self.tagged(act.made.shown(self.person, row), act.code)


class _Post(_Acts):
    def post(self, request: Request, **named: Any) -> HttpResponseBase:
        """Do it."""
        return self._act(request, **named)


class _Put(_Acts):
    def put(self, request: Request, **named: Any) -> HttpResponseBase:
        """Do it."""
        return self._act(request, **named)


class _Patch(_Acts):
    def patch(self, request: Request, **named: Any) -> HttpResponseBase:
        """Do it."""
        return self._act(request, **named)


class _Delete(_Acts):
    def delete(self, request: Request, **named: Any) -> HttpResponseBase:
        """Do it."""
        return self._act(request, **named)


_METHODS = {"POST": _Post, "PUT": _Put, "PATCH": _Patch, "DELETE": _Delete}


class Open(NamedTuple):
    """Who comes in, and what a token needs, where that is not as usual in the area."""

    is_open: bool = False
    acts: Mapping[str, str] = {}
    needs: Mapping[str, Action] = {}


def route(
    address: str,
    name: str,
    area: str,
    *,
    get: Listing | Thing | None = None,
    usual: Open | None = None,
    **does: Act,
) -> URLPattern:
    """Give the route of a list or a thing (`get`) and of acts by their methods in lower case."""
    acts = {method.upper(): act for method, act in does.items()}
    bases: list[type] = [_METHODS[method] for method in acts]
    told = {method: _told_of(act) for method, act in acts.items()}
    noun = name.replace("-", " ")
    content: dict[str, Any] = {"does": acts}
    if isinstance(get, Listing):
        bases.append(_List)
        content["listing"] = get
        about = f"List {noun}, the newest first, a page at a time."
        told["GET"] = Told(gives=get.out, asks=get.asks, pages=True, about=about)
    elif get is not None:
        bases.append(_One)
        content["thing"] = get
        about = f"Give the {noun}, with the tag of its state."
        told["GET"] = Told(gives=get.out, tagged=True, asks=Fields, about=about)
    who = usual or Open()
    content |= {
        "area": area,
        "operation": name,
        "told": told,
        "is_open": who.is_open,
        "area_acts": who.acts,
        "act": who.needs,
        "__doc__": f"{name}.",
        "__module__": __name__,
    }
    view: Any = type(f"View_{name.replace('-', '_')}", tuple(bases), content)
    return path(address, view.as_view(), name=name)


def _told_of(act: Act) -> Told:
    gives = act.made.out if act.made else act.thing.out if act.thing else None
    told = Told(
        takes=act.form or act.takes,
        gives=gives,
        code=act.code,
        matched=act.matched and act.thing is not None,
        about=act.about,
        service=act.service,
    )
    return told if act.code == status.HTTP_204_NO_CONTENT else replace(told, tagged=True)
