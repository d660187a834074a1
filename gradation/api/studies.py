"""Endpoints of studies: worked out, kept if asked, looked at."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.told import Answer, OlderPage, Sent, Told
from gradation.api.equipment import StaffView
from gradation.api.study_forms import ASKED
from gradation.errors import Invalid
from gradation.models import Study
from gradation.policy import Action
from gradation.queries.laboratory import material_list
from gradation.queries.paging import page_of
from gradation.queries.studies.asked import Head, StudyAsked
from gradation.queries.studies.records import find_study, study_list
from gradation.services.studies import begin_study, keep_study
from gradation.services.study_content import worked_out_study

__all__ = ["Studies"]


class StudyIn(Sent):
    """What every study says of itself; the rest is read by its kind."""

    kind = serializers.ChoiceField(list(ASKED))
    title = serializers.CharField(max_length=160, allow_blank=True, default="")
    figure = serializers.CharField(max_length=48, allow_blank=True, default="")
    material = serializers.CharField(max_length=160, allow_blank=True, default="")
    valid_for = serializers.CharField(max_length=240, allow_blank=True, default="")
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")
    keep = serializers.BooleanField(default=False)
    study = serializers.DictField(help_text="What the kind asks for.")


#: A study as plain data; its inputs can be computed again, its figures are text.
STUDY: dict[str, Any] = {
    "type": "object",
    "description": "A study: kind, inputs, figures, what follows from it.",
    "additionalProperties": {},
}


class StudyBriefOut(serializers.Serializer[Any]):
    """A study as lists show it."""

    number = serializers.CharField(allow_null=True)
    kind = serializers.CharField()
    state = serializers.CharField(allow_null=True)
    title = serializers.CharField()
    figure = serializers.CharField()
    material = serializers.CharField(allow_null=True)
    valid_for = serializers.CharField()
    sentence = serializers.CharField()


class Studies(StaffView):
    """Studies are worked out here, and kept if asked; those kept and drafted are listed."""

    area = "studies"
    operation = "studies"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives=StudyBriefOut, asks=OlderPage, pages=True),
        "POST": Told(takes=StudyIn, gives=STUDY, keyed=False, more=(Answer(STUDY, 201),)),
    }
    act: ClassVar[Mapping[str, Action]] = {"POST": Action.READ_RECORDS}  # keeping asks for more

    def get(self, request: Request) -> Response:
        """Give one page, newest first, and the key of the next older one."""
        page = page_of(study_list(), before=self.asked.get("before"), size=self.asked["size"])
        return self.paged(page, [_brief(study) for study in page.rows])

    def post(self, request: Request) -> Response:
        """Work a study out; with `keep` it is kept under a number, and nothing changes it."""
        values = self.sent()
        head, asked = read_study(values)
        if not values["keep"]:
            return Response(study_out(worked_out_study(self.person, head, asked)))
        self.need_key()
        draft = begin_study(actor=self.person, head=head, asked=asked)
        kept = keep_study(actor=self.person, study=draft)
        return Response(study_out(find_study(kept.number)), status=status.HTTP_201_CREATED)


def read_study(values: Mapping[str, Any]) -> tuple[Head, StudyAsked]:
    """Read what was sent of a study: its head, and what its kind asks for."""
    material = material_list().filter(name=values["material"]).first()
    if values["material"] and material is None:
        raise Invalid.one("material", "No material has this name.", code="unknown-material")
    inner = ASKED[values["kind"]](data=values["study"])
    if not inner.is_valid():
        faults = {f"study/{name}": fault for name, fault in inner.errors.items()}
        raise serializers.ValidationError(faults)
    head = Head(values["title"], values["figure"], material, values["valid_for"], values["note"])
    return head, inner.asked()


def _brief(study: Study) -> dict[str, Any]:
    return {
        "number": study.number or None,
        "kind": study.kind,
        "state": study.state if study.pk else None,
        "title": study.title,
        "figure": study.figure,
        "material": study.material.name if study.material else None,
        "valid_for": study.valid_for,
        "sentence": study.sentence,
    }


def study_out(study: Study) -> dict[str, Any]:
    """Give a study as plain data: inputs as they can be computed again, figures as answered."""
    follow_up = getattr(study, "follow_up", None) if study.pk else None
    return _brief(study) | {
        "note": study.note,
        "inputs": study.inputs,
        "figures": _exact(study.figures),
        "inputs_digest": study.inputs_digest,
        "science_version": study.science_version,
        "computed_at": study.computed_at.isoformat(),
        "computed_by": study.computed_by.full_name,
        "kept_at": study.kept_at.isoformat() if study.kept_at else None,
        "kept_by": study.kept_by.full_name if study.kept_by else None,
        "follow_up": None
        if follow_up is None
        else {
            "reasons": follow_up.reasons,
            "is_open": follow_up.is_open,
            "cause": follow_up.cause,
            "done": follow_up.done,
        },
    }


def _exact(value: Any) -> Any:  # noqa: ANN401 - plain data of any depth
    """Give figures as text, so that no reader rounds them on the way."""
    if isinstance(value, dict):
        return {key: _exact(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_exact(each) for each in value]
    return f"{Decimal(repr(value)):f}" if isinstance(value, float) else value
