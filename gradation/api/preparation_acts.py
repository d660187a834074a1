"""Endpoints beside the portions' own: tested as received, a dry mass taken, a shaking corrected."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api.contract.things import Act, ReasonIn, Thing, Words, route
from gradation.api.contract.told import Sent
from gradation.api.portions import DryingOut, PortionOut
from gradation.api.run_content import SHAKINGS, ShakingIn, shaker_named
from gradation.api.runs import RUN
from gradation.models import Drying, Run, User
from gradation.queries.portions import find_portion
from gradation.queries.preparation import drying_view, find_drying
from gradation.queries.runs import find_run
from gradation.services import drying_containers, dryings, preparation, shakings


def _words(person: User, drying: Drying) -> Words:
    return dict(DryingOut(drying_view(drying)).data)


PORTION = Thing("portion", find_portion, PortionOut)
DRYING = Thing("drying", find_drying, DryingOut, _words)


class RunIdIn(Sent):
    """The run that takes the dry mass."""

    run = serializers.IntegerField()


class ContainerIn(Sent):
    """The mass of the empty container as it is in truth, and why it is corrected."""

    container_g = serializers.CharField(
        max_length=40, default="", allow_blank=True, help_text="Empty: none, or tared."
    )
    reason = serializers.CharField(max_length=400)


class ShakingChangeIn(ShakingIn):
    """A shaking as it was in truth, and why it is corrected."""

    number = serializers.IntegerField(min_value=1, max_value=1000)
    reason = serializers.CharField(max_length=400)


def _taken(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"run": find_run(person, told["run"])}


def _container(person: User, subject: Drying, told: Words) -> Words:
    return {"container_text": told["container_g"], "reason": told["reason"]}


def _corrected(person: User, subject: Run, told: Words) -> Words:
    said = {name: told[name] for name in told if name not in {"number", "reason"}}
    shaken = shakings.Shaken(**{**said, "shaker": shaker_named(said["shaker"])})
    return {"number": told["number"], "shaken": shaken, "reason": told["reason"]}


routes = [
    route(
        "portions/<str:label>/as-received",
        "portion-as-received",
        "portions",
        post=Act(preparation.declare_as_received, ReasonIn, thing=PORTION, matched=False),
    ),
    route(
        "dryings/<int:pk>/dry-mass",
        "dry-mass-take",
        "portions",
        post=Act(dryings.take_dry_mass, RunIdIn, _taken, DRYING, matched=False),
    ),
    route(
        "dryings/<int:pk>/container",
        "drying-container",
        "portions",
        post=Act(drying_containers.correct_container, ContainerIn, _container, DRYING),
    ),
    route(
        "runs/<int:pk>/shakings/correct",
        "shaking-correct",
        "runs",
        post=Act(
            *(shakings.correct_shaking, ShakingChangeIn, _corrected, SHAKINGS),
            made=RUN,
            key_of=lambda shaking: shaking.run_id,
            about="Send the tag of the run's shakings; the answer is the run.",
        ),
    ),
]
