"""Endpoints of what happens to equipment: registered, changed, taken out, put back, nested."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from rest_framework import serializers

from gradation.api.contract.things import Act, Listing, ReasonIn, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.api.equipment import (
    InstrumentFilters,
    SieveFilters,
    find_instrument,
    find_sieve,
    instrument_rows,
    item_named,
    sieve_rows,
)
from gradation.api.equipment_out import InstrumentOut, ItemOut, NestOut, SieveOut
from gradation.api.serializers import states
from gradation.errors import Fault, Invalid, NotFound
from gradation.models import Equipment, Instrument, Nest, ReferenceLot, Sieve, User
from gradation.queries.equipment import bench_list, sieves_by_serial
from gradation.queries.equipment_file import lot_list
from gradation.queries.laboratory import laboratory, people_list
from gradation.queries.methods import procedure_list
from gradation.queries.nests import nest_list, nest_state, nest_states
from gradation.services import clock, instruments, upkeep

SIEVE = Thing("sieve", find_sieve, SieveOut)
INSTRUMENT = Thing("instrument", find_instrument, InstrumentOut)


def _item(person: User, serial: str) -> Sieve | Instrument:
    return item_named(serial)


def _item_words(person: User, item: Sieve | Instrument) -> Words:
    return dict((SieveOut if isinstance(item, Sieve) else InstrumentOut)(item).data)


ITEM = Thing("item", _item, ItemOut, _item_words)
RULED = Thing("equipment", _item, ItemOut, _item_words)


class CardIn(Sent):
    """What a card says of any item; bench by name, keeper by user name."""

    place = serializers.CharField(max_length=120, required=False, allow_blank=True)
    bench = serializers.CharField(max_length=60, required=False, allow_null=True)
    keeper = serializers.CharField(max_length=150, required=False, allow_null=True)
    bought_on = serializers.DateField(required=False, allow_null=True)
    in_service_since = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True)


class SieveCardIn(CardIn):
    """What a sieve's card says."""

    designation = serializers.CharField(max_length=40, required=False)
    alternative = serializers.CharField(max_length=40, required=False, allow_blank=True)
    standard = serializers.CharField(max_length=80, required=False)
    edition = serializers.CharField(max_length=40, required=False, allow_blank=True)
    medium = serializers.ChoiceField(states(Sieve.Medium), required=False)
    shape = serializers.ChoiceField(states(Sieve.Shape), required=False)
    grade = serializers.ChoiceField(states(Sieve.Grade), required=False)
    frame_height_mm = serializers.DecimalField(6, 1, required=False, allow_null=True)
    maker_certificate = serializers.CharField(max_length=80, required=False, allow_blank=True)
    is_master = serializers.BooleanField(required=False)


class SieveIn(SieveCardIn):
    """A new sieve."""

    serial = serializers.CharField(max_length=40)
    aperture_um = serializers.DecimalField(10, 2, min_value=0)
    frame_diameter_mm = serializers.DecimalField(6, 1, min_value=0)


class SieveChangeIn(SieveCardIn):
    """What is to stand on a sieve's card, and why; what is not sent stays."""

    aperture_um = serializers.DecimalField(10, 2, min_value=0, required=False)
    frame_diameter_mm = serializers.DecimalField(6, 1, min_value=0, required=False)
    reason = serializers.CharField(max_length=400)


def _measure(digits: int, places: int) -> serializers.DecimalField:
    return serializers.DecimalField(digits, places, required=False, allow_null=True)


class InstrumentCardIn(CardIn):
    """What an instrument's card says."""

    model = serializers.CharField(max_length=80, required=False, allow_blank=True)
    firmware = serializers.CharField(max_length=40, required=False, allow_blank=True)
    motion = serializers.CharField(max_length=80, required=False, allow_blank=True)
    frequency_hz = _measure(6, 2)
    taps_per_min = serializers.IntegerField(
        min_value=1, max_value=32767, required=False, allow_null=True
    )
    amplitude_min_mm = _measure(6, 2)
    amplitude_max_mm = _measure(6, 2)
    greatest_nest_g = _measure(10, 1)
    capacity_g = _measure(12, 4)
    readability_g = _measure(10, 4)
    uncertainty_g = _measure(10, 4)
    set_temperature_c = _measure(6, 1)
    temperature_tolerance_c = _measure(5, 1)
    chute_width_mm = _measure(6, 1)
    limits_source = serializers.CharField(max_length=160, required=False, allow_blank=True)


class InstrumentIn(InstrumentCardIn):
    """A new instrument."""

    serial = serializers.CharField(max_length=40)
    kind = serializers.ChoiceField(
        [kind for kind in states(Equipment.Kind) if kind != Equipment.Kind.SIEVE]
    )


class InstrumentChangeIn(InstrumentCardIn):
    """What is to stand on an instrument's card, and why; what is not sent stays."""

    reason = serializers.CharField(max_length=400)


class RuleIn(Sent):
    """After how many days and uses an item is checked; null for never."""

    days = serializers.IntegerField(allow_null=True, min_value=1, max_value=36500)
    uses = serializers.IntegerField(allow_null=True, min_value=1, max_value=1_000_000)
    reason = serializers.CharField(max_length=400)


class TareIn(Sent):
    """The empty mass of a sieve."""

    tare_g = serializers.DecimalField(12, 4)
    note = serializers.CharField(max_length=240, default="", allow_blank=True)


class NestIn(Sent):
    """A new nest: sieves by serial number, coarse to fine."""

    name = serializers.CharField(max_length=80)
    procedure = serializers.CharField(max_length=40, help_text="Its code.")
    sieves = serializers.ListField(child=serializers.CharField(max_length=40), max_length=60)
    bench = serializers.CharField(max_length=60, default=None, allow_null=True)


class LotOut(serializers.Serializer[Any]):
    """A lot of reference material."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    lot = serializers.CharField()
    certificate = serializers.CharField()
    certified = serializers.JSONField()
    opened_on = serializers.DateField(allow_null=True)
    expires_on = serializers.DateField(allow_null=True)
    most_uses = serializers.IntegerField(allow_null=True)
    use_count = serializers.IntegerField()
    is_active = serializers.BooleanField()


class LotIn(Sent):
    """A new lot with its certified distribution, coarse to fine."""

    name = serializers.CharField(max_length=120)
    lot = serializers.CharField(max_length=80)
    certificate = serializers.CharField(max_length=120)
    certified = serializers.ListField(
        child=serializers.DictField(child=serializers.CharField(max_length=20)),
        max_length=60,
        help_text="Rows of aperture_um, passing_pct and u_pct, each as text.",
    )
    opened_on = serializers.DateField(default=None, allow_null=True)
    expires_on = serializers.DateField(default=None, allow_null=True)
    most_uses = serializers.IntegerField(
        default=None, allow_null=True, min_value=1, max_value=32767
    )


def _card(told: Words) -> dict[str, Any]:
    """Find bench and keeper by their names."""
    found, faults = dict(told), []
    if told.get("bench") is not None:
        found["bench"] = bench_list().filter(name=told["bench"]).first()
        if found["bench"] is None:
            faults.append(Fault("bench", "No bench in use has this name.", "unknown-bench"))
    if told.get("keeper") is not None:
        found["keeper"] = people_list().filter(username=told["keeper"]).first()
        if found["keeper"] is None:
            faults.append(Fault("keeper", "Nobody has this user name.", "unknown-person"))
    if faults:
        raise Invalid(faults)
    return found


def _changes(person: User, item: Any, told: Words) -> Words:  # noqa: ANN401
    return {"item": item, **_card(told)}


def _sieve(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"sieve": Sieve(**_card(told))}


def _instrument(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"instrument": Instrument(**_card(told))}


def _nest(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    procedure = procedure_list().filter(code=told["procedure"]).first()
    sieves, strange = sieves_by_serial(told["sieves"])
    faults = [
        Fault("sieves", f"No sieve is registered under {serial}.", "unknown-serial")
        for serial in strange
    ]
    if procedure is None:
        faults.append(Fault("procedure", "No procedure has this code.", "unknown-procedure"))
    if faults:
        raise Invalid(faults)
    bench = _card({"bench": told["bench"]})["bench"]
    return {"name": told["name"], "procedure": procedure, "sieves": sieves, "bench": bench}


def _lot(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"lot": ReferenceLot(**told)}


def _find_nest(person: User, pk: int) -> Nest:
    nest = nest_list().filter(pk=pk).first()
    if nest is None:
        msg = "There is no such nest in use. List the nests first."
        raise NotFound(msg)
    return nest


def _nest_words(person: User, nest: Nest) -> Words:
    return dict(NestOut(nest_state(nest, clock.today(laboratory()))).data)


def _nest_rows(nests: list[Nest]) -> list[Words]:
    states = nest_states(nests, clock.today(laboratory()))
    return [dict(NestOut(state).data) for state in states]


def _find_lot(person: User, pk: int) -> ReferenceLot:
    lot = lot_list().filter(pk=pk).first()
    if lot is None:
        msg = "There is no such lot. List the reference lots first."
        raise NotFound(msg)
    return lot


NEST = Thing("nest", _find_nest, NestOut, _nest_words)
LOT = Thing("lot", _find_lot, LotOut)
_AT = "equipment/<path:serial>"
_AREA = "equipment"


def _serial(row: Equipment) -> str:
    return row.serial


routes = [
    route(
        "sieves",
        "sieves",
        _AREA,
        get=Listing(sieve_rows, SieveOut, SieveFilters),
        post=Act(upkeep.register_sieve, SieveIn, _sieve, made=SIEVE, key_of=_serial, code=201),
    ),
    route(
        "sieves/<path:serial>",
        "sieve",
        _AREA,
        get=SIEVE,
        patch=Act(upkeep.change_equipment, SieveChangeIn, _changes, replace(SIEVE, word="item")),
    ),
    route(
        "instruments",
        "instruments",
        _AREA,
        get=Listing(instrument_rows, InstrumentOut, InstrumentFilters),
        post=Act(
            instruments.register_instrument,
            InstrumentIn,
            _instrument,
            made=INSTRUMENT,
            key_of=_serial,
            code=201,
        ),
    ),
    route(
        "instruments/<path:serial>",
        "instrument",
        _AREA,
        get=INSTRUMENT,
        patch=Act(
            upkeep.change_equipment, InstrumentChangeIn, _changes, replace(INSTRUMENT, word="item")
        ),
    ),
    route(
        f"{_AT}/check-rule",
        "check-rule",
        _AREA,
        put=Act(upkeep.set_check_rule, RuleIn, thing=RULED),
    ),
    route(
        f"{_AT}/tares",
        "tares",
        _AREA,
        post=Act(upkeep.weigh_tare, TareIn, thing=SIEVE, matched=False, code=201),
    ),
    *(
        route(f"{_AT}/{verb}", f"equipment-{verb}", _AREA, post=Act(service, ReasonIn, thing=ITEM))
        for verb, service in (
            ("out-of-service", upkeep.take_out_of_service),
            ("in-service", upkeep.put_back_in_service),
            ("withdraw", upkeep.withdraw_equipment),
        )
    ),
    route(_AT, "equipment", _AREA, get=ITEM),
    route(
        "nests",
        "nests",
        _AREA,
        get=Listing(lambda person, asked: nest_list(), NestOut, together=_nest_rows),
        post=Act(upkeep.build_nest, NestIn, _nest, made=NEST, code=201),
    ),
    route("nests/<int:pk>", "nest", _AREA, get=NEST),
    route(
        "nests/<int:pk>/retire",
        "nest-retire",
        _AREA,
        post=Act(upkeep.retire_nest, ReasonIn, thing=NEST, code=204),
    ),
    route(
        "reference-lots",
        "reference-lots",
        _AREA,
        get=Listing(lambda person, asked: lot_list(), LotOut),
        post=Act(instruments.register_reference_lot, LotIn, _lot, made=LOT, code=201),
    ),
    route("reference-lots/<int:pk>", "reference-lot", _AREA, get=LOT),
    route(
        "reference-lots/<int:pk>/retire",
        "reference-lot-retire",
        _AREA,
        post=Act(instruments.retire_reference_lot, ReasonIn, thing=LOT),
    ),
]
