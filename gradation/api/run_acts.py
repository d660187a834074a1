"""Endpoints of what happens to a run: listed, handed over, reviewed, split, set aside."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.api.contract.things import Act, Listing, Open, ReasonIn, Words, route
from gradation.api.contract.told import OlderPage, Sent
from gradation.api.run_rows import RUN_COLUMNS, run_row
from gradation.api.runs import RUN, RUN_OPENING
from gradation.api.samples import EVERYBODY, narrowed
from gradation.api.serializers import RunBrief, states
from gradation.errors import Invalid
from gradation.models import Run, Sieve, User
from gradation.queries.equipment import sieve_by_serial
from gradation.queries.runs import seen_by
from gradation.services import bench, determinations, handling, review, run_places


class RunFilters(OlderPage):
    """What the list of runs is narrowed to."""

    state = serializers.ChoiceField(states(Run.State), required=False)
    sample = serializers.CharField(max_length=20, required=False)
    bench = serializers.CharField(max_length=60, required=False)
    changed_since = serializers.DateTimeField(
        required=False, help_text="Runs of samples with a later entry in their history."
    )


def _runs(person: User, asked: Words) -> Any:  # noqa: ANN401 - rows as plain data
    rows = seen_by(person, Run.objects.all())
    if "state" in asked:
        rows = rows.filter(state=asked["state"])
    if "sample" in asked:
        rows = rows.filter(portion__sample__number=asked["sample"])
    if "bench" in asked:
        rows = rows.filter(bench__name=asked["bench"])
    rows = narrowed(rows, asked.get("changed_since"), "portion__sample__number")
    return rows.values_list(*RUN_COLUMNS, named=True)


class HandOverIn(Sent):
    """What is said of the whole run when it is handed over."""

    shaking_minutes = serializers.DecimalField(5, 1, default=None, allow_null=True, min_value=0)
    deviations = serializers.CharField(max_length=2000, default="", allow_blank=True)


class HandlingIn(Sent):
    """What was done with the material beside weighing and shaking it."""

    wash_agent = serializers.CharField(max_length=120, default="", allow_blank=True)
    soak_minutes = serializers.DecimalField(6, 1, default=None, allow_null=True, min_value=0)
    guard_sieve = serializers.CharField(
        max_length=40, default="", allow_blank=True, help_text="Its serial number."
    )
    wet_sieved = serializers.BooleanField(default=False)
    aids = serializers.CharField(max_length=160, default="", allow_blank=True)


class MaybeReasonIn(Sent):
    """Why, where something has to be justified."""

    reason = serializers.CharField(max_length=400, default="", allow_blank=True)


class PositionIn(Sent):
    """A place of the nest, and why."""

    position = serializers.IntegerField(min_value=0, max_value=1000)
    reason = serializers.CharField(max_length=400)


class ReliefIn(Sent):
    """A sieve put in against overload, and why."""

    sieve = serializers.CharField(max_length=40, help_text="Its serial number.")
    reason = serializers.CharField(max_length=400)


def sieve_named(field: str, serial: str) -> Sieve:
    """Give a sieve by its serial number; one that is not known is refused beside its field."""
    sieve = sieve_by_serial(serial)
    if sieve is None:
        msg = f"No sieve is registered under {serial}. Check the label."
        raise Invalid.one(field, msg, code="unknown-serial")
    return sieve


def _hand_over(person: User, run: Run, told: Words) -> Words:
    return {"hand_over": bench.HandOver(**told)}


def _handled(person: User, run: Run, told: Words) -> Words:
    serial = told["guard_sieve"]
    guard = sieve_named("guard_sieve", serial) if serial else None
    return {"handling": handling.Handling(**{**told, "guard_sieve": guard})}


def _relief(person: User, run: Run, told: Words) -> Words:
    return {**told, "sieve": sieve_named("sieve", told["sieve"])}


_REVIEW = Open(acts={"POST": "review"})
_RUN = "runs/<int:pk>"
routes = [
    route(
        "runs",
        "runs",
        "runs",
        usual=EVERYBODY,
        get=Listing(_runs, RunBrief, RunFilters, run_row),
        post=RUN_OPENING,
    ),
    route(_RUN, "run", "runs", usual=EVERYBODY, get=RUN),
    route(
        f"{_RUN}/handling",
        "run-handling",
        "runs",
        put=Act(handling.record_handling, HandlingIn, _handled, RUN),
    ),
    route(
        f"{_RUN}/submit",
        "run-submit",
        "runs",
        post=Act(bench.submit_run, HandOverIn, _hand_over, RUN),
    ),
    route(
        f"{_RUN}/accept",
        "run-accept",
        "runs",
        usual=_REVIEW,
        post=Act(review.accept_run, MaybeReasonIn, thing=RUN),
    ),
    route(
        f"{_RUN}/return",
        "run-return",
        "runs",
        usual=_REVIEW,
        post=Act(review.return_run, ReasonIn, thing=RUN),
    ),
    route(
        f"{_RUN}/invalidate",
        "run-invalidate",
        "runs",
        usual=_REVIEW,
        post=Act(review.invalidate_run, ReasonIn, thing=RUN),
    ),
    route(
        f"{_RUN}/set-aside",
        "run-set-aside",
        "runs",
        usual=_REVIEW,
        post=Act(determinations.set_determination_aside, ReasonIn, thing=RUN),
    ),
    route(
        f"{_RUN}/count",
        "run-count",
        "runs",
        usual=_REVIEW,
        post=Act(determinations.count_determination, ReasonIn, thing=RUN),
    ),
    route(
        f"{_RUN}/split", "run-split", "runs", post=Act(run_places.split_run, PositionIn, thing=RUN)
    ),
    route(f"{_RUN}/join", "run-join", "runs", post=Act(run_places.join_run, PositionIn, thing=RUN)),
    route(
        f"{_RUN}/relief",
        "run-relief",
        "runs",
        post=Act(run_places.add_relief_sieve, ReliefIn, _relief, RUN),
    ),
]
