"""Endpoint that accepts several runs at once, each only where nothing in it deserves a look."""

from __future__ import annotations

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Sent, Told
from gradation.queries.runs import find_run
from gradation.services.review import BatchAnswer, Picked, accept_runs

MOST_AT_ONCE = 50


class PickedIn(Sent):
    """A run, and up to where its history was seen."""

    run = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    seen = serializers.IntegerField(
        min_value=0, max_value=2**63 - 1, help_text="Sequence of the newest entry that was shown."
    )


class PickedRunsIn(Sent):
    """Runs to accept."""

    runs = serializers.ListField(child=PickedIn(), min_length=1, max_length=MOST_AT_ONCE)


class AcceptedOut(serializers.Serializer):
    """What became of a run."""

    run = serializers.IntegerField()
    accepted = serializers.BooleanField()
    detail = serializers.CharField(help_text="Why it was not accepted; empty where it was.")


class AcceptedRunsOut(serializers.Serializer):
    """What became of each run, in the order sent."""

    results = AcceptedOut(many=True)


class AcceptRuns(Endpoint):
    """Several runs, accepted at once."""

    area = "runs"
    operation = "runs-accept"
    area_acts = {"POST": "review"}
    told = {"POST": Told(takes=PickedRunsIn, gives=AcceptedRunsOut, service=accept_runs)}

    def post(self, request: Request) -> Response:
        """Accept each run that is clean; say of the others why not."""
        picked = [
            Picked(find_run(self.person, each["run"]), each["seen"]) for each in self.sent()["runs"]
        ]
        answers = accept_runs(actor=self.person, picked=picked)
        return Response({"results": [_told(each) for each in answers]})


def _told(answer: BatchAnswer) -> dict[str, object]:
    return {"run": answer.run.pk, "accepted": not answer.refusal, "detail": answer.refusal}


routes = [path("runs/accept", AcceptRuns.as_view(), name="runs-accept")]
