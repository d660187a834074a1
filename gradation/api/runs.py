"""How a run is opened through the interface: on serial-numbered sieves."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api.contract.things import Act, Thing, Words
from gradation.api.contract.told import Sent
from gradation.api.serializers import RunOut
from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.equipment import bench_list, instruments_by_serial, sieves_by_serial
from gradation.queries.portions import find_portion
from gradation.queries.runs import find_run
from gradation.services import bench


class RunIn(Sent):
    """What opens a run: the portion's label, the bench's name, serial numbers from the top down.

    `reasons` are given by the keys that a refusal names: its pointer is `/reason-<key>`.
    """

    portion = serializers.CharField(max_length=28)
    bench = serializers.CharField(max_length=60)
    sieves = serializers.ListField(child=serializers.CharField(max_length=40), max_length=60)
    instruments = serializers.ListField(
        child=serializers.CharField(max_length=40), max_length=20, default=list
    )
    reliefs = serializers.ListField(
        child=serializers.CharField(max_length=40), max_length=20, default=list
    )
    pan = serializers.BooleanField(default=True)
    reasons = serializers.DictField(
        child=serializers.CharField(max_length=400, allow_blank=True), default=dict
    )


RUN = Thing("run", find_run, RunOut)


def _opened(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"portion": find_portion(person, told["portion"]), "setup": _setup(told)}


#: A run is opened by the same use-case as at the bench: an unfit sieve is refused with the reason.
RUN_OPENING = Act(bench.open_run, RunIn, _opened, made=RUN, code=201)


def _setup(given: Words) -> bench.Setup:
    sieves, strange_sieves = sieves_by_serial(given["sieves"])
    instruments, strange = instruments_by_serial(given["instruments"])
    reliefs, strange_reliefs = sieves_by_serial(given["reliefs"])
    place = bench_list().filter(name=given["bench"]).first()
    faults = [
        *_unknown("sieves", "sieve", strange_sieves),
        *_unknown("instruments", "instrument", strange),
        *_unknown("reliefs", "sieve", strange_reliefs),
    ]
    if place is None:
        msg = f"No bench in use is named {given['bench']}."
        faults.append(Fault("bench", msg, "unknown-bench"))
    if faults or place is None:
        raise Invalid(faults)
    return bench.Setup(
        bench=place,
        sieves=sieves,
        instruments=instruments,
        reliefs=frozenset(sieve.pk for sieve in reliefs),
        has_pan=given["pan"],
        reasons=given["reasons"],
    )


def _unknown(field: str, noun: str, serials: list[str]) -> list[Fault]:
    return [
        Fault(field, f"No {noun} is registered under {serial}. Check the label.", "unknown-serial")
        for serial in serials
    ]
