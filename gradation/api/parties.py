"""Endpoints of customers, their sources, and materials."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gradation.api.contract.things import Act, Listing, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.errors import Fault, Invalid, NotFound
from gradation.models import Customer, Material, Procedure, Source, Specification, User
from gradation.queries.laboratory import customer_list, material_list, source_list
from gradation.queries.methods import procedure_list, specification_list
from gradation.services import parties


class CustomerOut(serializers.Serializer):
    """A customer."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    contact_name = serializers.CharField()
    email = serializers.CharField()
    address = serializers.CharField()
    is_active = serializers.BooleanField()


class CustomerIn(Sent):
    """A customer's particulars."""

    name = serializers.CharField(max_length=160)
    contact_name = serializers.CharField(max_length=120, allow_blank=True, default="")
    email = serializers.EmailField(allow_blank=True, default="")
    address = serializers.CharField(max_length=2000, allow_blank=True, default="")
    is_active = serializers.BooleanField(default=True)


class SourceOut(serializers.Serializer):
    """A pit, plant or line of a customer."""

    id = serializers.IntegerField()
    customer = serializers.CharField(source="customer.name")
    name = serializers.CharField()
    kind = serializers.CharField()
    place = serializers.CharField()


class SourceIn(Sent):
    """A source's particulars; the customer by name."""

    customer = serializers.CharField(max_length=160)
    name = serializers.CharField(max_length=120)
    kind = serializers.CharField(max_length=40, allow_blank=True, default="")
    place = serializers.CharField(max_length=160, allow_blank=True, default="")


class MaterialOut(serializers.Serializer):
    """A material with its default procedure and specification."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    trade = serializers.CharField()
    hazards = serializers.CharField()
    default_procedure = serializers.CharField(
        source="default_procedure.code", default=None, allow_null=True
    )
    default_specification = serializers.CharField(
        source="default_specification.code", default=None, allow_null=True
    )


class MaterialIn(Sent):
    """A material's particulars; procedure and specification by their codes."""

    name = serializers.CharField(max_length=120)
    trade = serializers.CharField(max_length=60, allow_blank=True, default="")
    hazards = serializers.CharField(max_length=2000, allow_blank=True, default="")
    default_procedure = serializers.CharField(max_length=40, allow_null=True, default=None)
    default_specification = serializers.CharField(max_length=40, allow_null=True, default=None)


def _find(rows: QuerySet[Any], noun: str) -> Any:  # noqa: ANN401 - a function that finds
    def find(person: User, pk: int) -> Any:  # noqa: ANN401
        row = rows.all().filter(pk=pk).first()
        if row is None:
            msg = f"There is no such {noun}. List them first."
            raise NotFound(msg)
        return row

    return find


CUSTOMER = Thing("customer", _find(customer_list(), "customer"), CustomerOut)
SOURCE = Thing("source", _find(source_list().select_related("customer"), "source"), SourceOut)
MATERIAL = Thing(
    "material",
    _find(material_list().select_related("default_procedure", "default_specification"), "material"),
    MaterialOut,
)


def _source_words(told: Words) -> dict[str, Any]:
    customer = customer_list().filter(name=told["customer"]).first()
    if customer is None:
        msg = "There is no customer of this name. Add it first, or correct it."
        raise Invalid.one("customer", msg, code="unknown-customer")
    return {**told, "customer": customer}


def _material_words(told: Words) -> dict[str, Any]:
    found: dict[str, Procedure | Specification | None] = {}
    faults = []
    for field, rows in (
        ("default_procedure", procedure_list()),
        ("default_specification", specification_list()),
    ):
        code = told[field]
        found[field] = rows.filter(code=code).first() if code else None
        if code and found[field] is None:
            faults.append(Fault(field, "There is none with this code.", "unknown-code"))
    if faults:
        raise Invalid(faults)
    return {**told, **found}


def _new(model: type[Any], word: str, read: Any = dict) -> Any:  # noqa: ANN401
    def arguments(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
        return {word: model(**read(told))}

    return arguments


def _changes(read: Any = dict) -> Any:  # noqa: ANN401
    def arguments(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
        return dict(read(told))

    return arguments


def _all_of(rows: QuerySet[Any]) -> Callable[[User, Words], QuerySet[Any]]:
    return lambda person, asked: rows.all()


def _routes() -> list[Any]:
    nouns = (
        ("customer", Customer, CUSTOMER, CustomerIn, customer_list(), dict),
        (
            "source",
            Source,
            SOURCE,
            SourceIn,
            source_list().select_related("customer"),
            _source_words,
        ),
        (
            "material",
            Material,
            MATERIAL,
            MaterialIn,
            material_list().select_related("default_procedure", "default_specification"),
            _material_words,
        ),
    )
    found = []
    for noun, model, thing, form, rows, read in nouns:
        add = getattr(parties, f"add_{noun}")
        change = getattr(parties, f"change_{noun}")
        listing = Listing(_all_of(rows), thing.out)
        found += [
            route(
                f"{noun}s",
                f"{noun}s",
                "parties",
                get=listing,
                post=Act(add, form, _new(model, noun, read), made=thing, code=201),
            ),
            route(
                f"{noun}s/<int:pk>",
                noun,
                "parties",
                get=thing,
                put=Act(change, form, _changes(read), thing),
            ),
        ]
    return found


routes = _routes()
