"""Endpoints of the checks: what is found in a run, and the reason given for one finding."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, cast

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Sent, Told
from gradation.models import Run, Stage, User
from gradation.policy import Action, require
from gradation.queries.run_checks import Finding, findings, review_findings
from gradation.queries.runs import find_run
from gradation.services import run_checks

#: Stages that can be asked for; what is asked at the opening is answered there.
_STAGES = {stage.value: stage for stage in (Stage.WEIGHING, Stage.HAND_OVER, Stage.REVIEW)}


class FindingReasonIn(Sent):
    """The reason for a finding, by its key."""

    key = serializers.CharField(max_length=16)
    reason = serializers.CharField(max_length=2000, allow_blank=True)


def _told(finding: Finding) -> dict[str, Any]:
    answer = finding.answer
    return {
        "key": finding.key,
        "number": finding.number,
        "code": finding.code,
        "title": finding.rule.title,
        "severity": finding.severity.value,
        "is_open": finding.is_open,
        "sentence": finding.sentence,
        "advice": finding.advice,
        "place": finding.place,
        "may_override": finding.may_override.value if finding.may_override else None,
        "answer": answer
        and {
            "reason": answer.reason,
            "is_override": answer.is_override,
            "by": str(answer.answered_by),
            "at": answer.answered_at.isoformat(),
        },
    }


class FindingAnswerOut(serializers.Serializer[Any]):
    """The reason given for a finding."""

    reason = serializers.CharField()
    is_override = serializers.BooleanField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


class FindingOut(serializers.Serializer[Any]):
    """One thing that a check found."""

    key = serializers.CharField()
    number = serializers.IntegerField()
    code = serializers.CharField()
    title = serializers.CharField()
    severity = serializers.CharField()
    is_open = serializers.BooleanField()
    sentence = serializers.CharField()
    advice = serializers.CharField()
    place = serializers.CharField(allow_null=True)
    may_override = serializers.CharField(allow_null=True)
    answer = FindingAnswerOut(allow_null=True)


class FindingsOut(serializers.Serializer[Any]):
    """All that the checks find."""

    findings = FindingOut(many=True)


class StageFilter(Sent):
    """At which stage the checks are asked."""

    stage = serializers.ChoiceField(list(_STAGES), required=False)


class RunFindings(Endpoint):
    """What the checks find in a run."""

    area = "runs"
    operation = "run-findings"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=FindingsOut, asks=StageFilter),
        "POST": Told(
            takes=FindingReasonIn, gives=FindingsOut, code=201, service=run_checks.answer_finding
        ),
    }

    def get(self, request: Request, pk: int) -> Response:
        """Give the findings of a run as it stands, at `stage` (hand-over unless it is said)."""
        run = _run(request, pk)
        stage = self.asked.get("stage", "")
        return Response({"findings": [_told(each) for each in _found(run, stage)]})

    def post(self, request: Request, pk: int) -> Response:
        """Give the reason for one finding, or lift its stop; the run's findings come back."""
        given = FindingReasonIn(data=request.data)
        given.is_valid(raise_exception=True)
        run, told = _run(request, pk), given.validated_data
        person = cast("User", request.user)
        run_checks.answer_finding(actor=person, run=run, key=told["key"], reason=told["reason"])
        found = _found(find_run(person, pk), Stage.HAND_OVER)
        return Response(
            {"findings": [_told(each) for each in found]}, status=status.HTTP_201_CREATED
        )


def _run(request: Request, pk: int) -> Run:
    person = cast("User", request.user)
    require(person, Action.READ_RECORDS)
    return find_run(person, pk)


def _found(run: Run, stage: str) -> tuple[Finding, ...]:
    if stage == Stage.REVIEW or (not stage and not run.is_editable):
        return review_findings(run)
    return findings(run, _STAGES.get(stage, Stage.HAND_OVER))
