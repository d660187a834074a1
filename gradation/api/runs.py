"""Endpoints of runs: open one on serial-numbered sieves; look at one."""

from __future__ import annotations

from typing import Any, cast

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gradation.api.serializers import RunOut
from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.equipment import bench_list, instruments_by_serial, sieves_by_serial
from gradation.queries.portions import find_portion
from gradation.queries.runs import find_run
from gradation.services import bench


class RunIn(serializers.Serializer[Any]):
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


class Runs(APIView):
    """Runs are opened here, by the same use-case as at the bench."""

    area = "runs"

    def post(self, request: Request) -> Response:
        """Open a run; an unfit sieve is refused with the reason, as on the screen."""
        given = RunIn(data=request.data)
        given.is_valid(raise_exception=True)
        person = cast("User", request.user)
        run = bench.open_run(
            actor=person,
            portion=find_portion(person, given.validated_data["portion"]),
            setup=_setup(given.validated_data),
        )
        return Response(RunOut(find_run(person, run.pk)).data, status=status.HTTP_201_CREATED)


def _setup(given: dict[str, Any]) -> bench.Setup:
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
