"""Endpoints of specifications and verdicts: read, draft, propose, approve; what if."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.told import Sent, Told
from gradation.api.equipment import StaffView
from gradation.errors import Invalid, NotFound
from gradation.models import Sample, Specification, SpecificationVersion, User
from gradation.policy import Action
from gradation.queries import specifications as file
from gradation.queries.lots import LotVerdict, lot_verdict, sample_lot
from gradation.queries.runs import find_run
from gradation.queries.sample_results import SampleVerdict, sample_verdict
from gradation.queries.samples import find_sample
from gradation.queries.specification_words import line_words_of, version_words
from gradation.queries.verdicts import line_name
from gradation.queries.what_ifs import RunVerdict, deciding_line, run_verdict, what_if_of
from gradation.services import specifications
from gradation.services.specification_reading import read_specification


def find_version(person: User, pk: int) -> SpecificationVersion:
    """Give a version, or `NotFound`."""
    version = file.find_version(pk)
    if version is None:
        msg = "There is no such version of a specification. List the specifications first."
        raise NotFound(msg)
    return version


def version_out(version: SpecificationVersion) -> dict[str, Any]:
    """Give a version as other systems read it; the same words can be sent as a draft."""
    people = {
        f"{act}_by": getattr(version, f"{act}_by").full_name
        for act in ("drafted", "proposed", "approved")
        if getattr(version, f"{act}_by") is not None
    }
    return {
        "id": version.pk,
        **version_words(version),
        **people,
        "replaces": version.replaces_id,
        "lines": [
            {name: value for name, value in line_words_of(line).items() if value}
            for line in version.lines.all()
        ],
    }


class VersionBriefOut(serializers.Serializer[Any]):
    """A version as lists show it."""

    id = serializers.IntegerField()
    version = serializers.IntegerField()
    state = serializers.CharField()
    effective_from = serializers.DateField(allow_null=True)
    effective_to = serializers.DateField(allow_null=True)
    limits = serializers.IntegerField()


class SpecificationOut(serializers.Serializer[Any]):
    """A specification with its versions, newest first."""

    code = serializers.CharField()
    title = serializers.CharField()
    owner = serializers.CharField()
    versions = VersionBriefOut(many=True)


class SpecificationsOut(serializers.Serializer[Any]):
    """Every specification."""

    results = SpecificationOut(many=True)


class WhatIfFilters(Sent):
    """What is moved; without any, the verdict as it is."""

    sieve = serializers.CharField(max_length=40, required=False)
    error_um = serializers.CharField(max_length=20, required=False)
    mass_of = serializers.CharField(max_length=40, required=False)
    mass_change_g = serializers.CharField(max_length=20, required=False)


#: All that a version says, by the names of its columns; the same words can be sent as a draft.
VERSION: dict[str, Any] = {
    "type": "object",
    "description": "A version: code, dates, decision rule, and its lines with figures as text.",
    "properties": {"id": {"type": "integer"}, "state": {"type": "string"}},
    "additionalProperties": {},
}
VERDICT: dict[str, Any] = {
    "type": "object",
    "description": "The verdict: each line's margin, the line that decides, the lot.",
    "properties": {"run": {"type": "string"}, "is_complete": {"type": "boolean"}},
    "additionalProperties": {},
}


class Specifications(StaffView):
    """The specifications with their versions; a draft is sent here."""

    area = "specifications"
    operation = "specifications"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=SpecificationsOut),
        "POST": Told(
            takes=VERSION,
            gives=VERSION,
            code=201,
            service=specifications.draft_specification_version,
        ),
    }
    act: ClassVar[Mapping[str, Action]] = {"POST": Action.KEEP_SPECIFICATIONS}

    def get(self, request: Request) -> Response:
        """List every specification with its versions, newest first."""
        rows = file.specifications_listed()
        return Response({"results": [_listed(row) for row in rows]})

    def post(self, request: Request) -> Response:
        """Draft the next version of the specification with this code, or the first of a new one."""
        sent = _object(request.data)
        replaces = sent.pop("replaces", None)
        read = read_specification(sent)
        version = SpecificationVersion(
            specification=_named(read.named), replaces=_replaced(replaces), **read.fields
        )
        drafted = specifications.draft_specification_version(
            actor=self.person, version=version, lines=read.lines
        )
        return Response(
            version_out(find_version(self.person, drafted.pk)), status=status.HTTP_201_CREATED
        )


def _listed(row: Specification) -> dict[str, Any]:
    return {
        "code": row.code,
        "title": row.title,
        "owner": row.owner,
        "versions": [
            {
                "id": version.pk,
                "version": version.version,
                "state": version.state,
                "effective_from": version.effective_from,
                "effective_to": version.effective_to,
                "limits": len(version.lines.all()),
            }
            for version in row.versions.all()
        ],
    }


def _object(data: object) -> dict[str, object]:
    """Give the JSON object that was sent."""
    if not isinstance(data, Mapping):
        raise Invalid.one("", "Send one JSON object: code, dates and lines.", code="no-object")
    return {str(name): value for name, value in data.items()}


def _named(named: Mapping[str, str]) -> Specification:
    if not named.get("code"):
        raise Invalid.one("code", "Say under which code the specification is kept.")
    known = Specification.objects.filter(code=named["code"]).first()
    return known or Specification(**named)


def _replaced(key: object) -> SpecificationVersion | None:
    if key is None:
        return None
    text = str(key)
    found = (
        file.find_version(int(text))
        if text.isascii() and text.isdigit() and len(text) < 18
        else None
    )
    if found is None:
        raise Invalid.one("replaces", "There is no version with this id.")
    return found


class RunVerdictView(StaffView):
    """The verdict of a run, with or without something moved; nothing is kept."""

    area = "runs"
    operation = "run-verdict"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=VERDICT, asks=WhatIfFilters)}

    def get(self, request: Request, pk: int) -> Response:
        """Give each line's margin, the line that decides, and what it would be if so."""
        run = find_run(self.person, pk)
        asked = {name: str(value) for name, value in self.asked.items()}
        found = run_verdict(run, what_if_of(asked))
        return Response(verdict_out(found, lot_verdict(run)))


SAMPLE_VERDICT: dict[str, Any] = {
    "type": "object",
    "description": "What a sample reports of its determinations, its verdict, its lot.",
    "properties": {"sample": {"type": "string"}, "is_complete": {"type": "boolean"}},
    "additionalProperties": {},
}


class SampleVerdictView(StaffView):
    """The verdict of a sample: its determinations together, and its lot."""

    area = "samples"
    operation = "sample-verdict"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=SAMPLE_VERDICT)}

    def get(self, request: Request, number: str) -> Response:
        """Hold what the sample reports against its specification, and its lot by the lot rule."""
        sample = find_sample(self.person, number)
        return Response(_sample_out(sample, sample_verdict(sample), sample_lot(sample)))


def _sample_out(
    sample: Sample, found: SampleVerdict | None, lot: LotVerdict | None
) -> dict[str, Any]:
    """Give a sample's verdict as plain data; null where nothing can be said."""
    version = sample.specification_version
    told: dict[str, Any] = {
        "sample": sample.number,
        "specification": None if version is None else str(version),
        "lot_rule": None if version is None else file.lot_words(version),
        "is_complete": False,
        "reports": None,
        "runs": [],
        "assessment": None,
        "sentence": None,
        "lot": None if lot is None else _lot_out(lot),
    }
    if found is None:
        return told
    return told | {
        "is_complete": found.missing == 0,
        "reports": found.how,
        "runs": [str(run) for run in found.runs],
        "assessment": found.assessment,
        "sentence": found.sentence,
    }


def verdict_out(found: RunVerdict, lot: LotVerdict | None) -> dict[str, Any]:
    """Give a verdict as plain data."""
    version, assessment = found.specification, found.assessment
    decides = None if assessment is None else deciding_line(assessment)
    return {
        "run": str(found.run),
        "is_complete": found.evaluation.is_complete,
        "specification": None if version is None else str(version),
        "decision_rule": None if version is None else file.decision_words(version).rule,
        "assessment": assessment,
        "decides": None
        if assessment is None or decides is None
        else {"line": decides, "name": line_name(assessment["lines"][decides])},
        "uncertainty": found.figures["uncertainty"],
        "moved": None
        if found.moved is None
        else {"passing_pct": found.moved.passing_pct, "sentence": found.moved.sentence},
        "lot": None if lot is None else _lot_out(lot),
    }


def _lot_out(lot: LotVerdict) -> dict[str, Any]:
    judged = lot.assessment
    return {
        "lot": lot.lot,
        "runs": [str(run) for run in lot.runs],
        "reason": lot.reason,
        "outcome": None if judged is None else judged.outcome.value,
        "lines": []
        if judged is None
        else [
            {
                "results": line.results,
                "mean": line.mean,
                "sd": line.sd,
                "share_within_pct": line.share_within_pct,
                "outcome": line.outcome.value,
                "reason": line.reason or None,
            }
            for line in judged.lines
        ],
    }
