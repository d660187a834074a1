"""Endpoints of studies: worked out, kept if asked, looked at."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

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

__all__ = ["OneStudy", "Studies"]


class StudyIn(serializers.Serializer[Any]):
    """What every study says of itself; the rest is read by its kind."""

    kind = serializers.ChoiceField(list(ASKED))
    title = serializers.CharField(max_length=160, allow_blank=True, default="")
    figure = serializers.CharField(max_length=48, allow_blank=True, default="")
    material = serializers.CharField(max_length=160, allow_blank=True, default="")
    valid_for = serializers.CharField(max_length=240, allow_blank=True, default="")
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")
    keep = serializers.BooleanField(default=False)
    study = serializers.DictField(help_text="What the kind asks for.")


class Studies(StaffView):
    """Studies are worked out here, and kept if asked; those kept and drafted are listed."""

    area = "studies"
    allowed: ClassVar[frozenset[str]] = frozenset({"before"})
    act: ClassVar[dict[str, Action]] = {"POST": Action.READ_RECORDS}  # keeping asks for more

    def get(self, request: Request) -> Response:
        """Give one page, newest first, and the key of the next older one."""
        page = page_of(study_list(), before=self.key("before"), after=None)
        rows = [_brief(study) for study in page.rows]
        return Response({"results": rows, "older_than": page.older_than})

    def post(self, request: Request) -> Response:
        """Work a study out; with `keep` it is kept under a number, and nothing changes it."""
        head, asked, keep = _read(request)
        if not keep:
            return Response(study_out(worked_out_study(self.person, head, asked)))
        draft = begin_study(actor=self.person, head=head, asked=asked)
        kept = keep_study(actor=self.person, study=draft)
        return Response(study_out(find_study(kept.number)), status=status.HTTP_201_CREATED)


class OneStudy(StaffView):
    """One study."""

    area = "studies"

    def get(self, request: Request, number: str) -> Response:
        """Give the study of this number."""
        return Response(study_out(find_study(number)))


def _read(request: Request) -> tuple[Head, StudyAsked, bool]:
    sent = StudyIn(data=request.data)
    sent.is_valid(raise_exception=True)
    strange = set(request.data) - set(sent.fields)
    if strange:
        raise serializers.ValidationError(dict.fromkeys(sorted(strange), "Not asked for."))
    values = sent.validated_data
    material = material_list().filter(name=values["material"]).first()
    if values["material"] and material is None:
        raise Invalid.one("material", "No material has this name.", code="unknown-material")
    inner = ASKED[values["kind"]](data=values["study"])
    if not inner.is_valid():
        faults = {f"study/{name}": fault for name, fault in inner.errors.items()}
        raise serializers.ValidationError(faults)
    head = Head(values["title"], values["figure"], material, values["valid_for"], values["note"])
    return head, inner.asked(), values["keep"]


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
