"""Endpoints of blends: worked out, kept if asked, looked at."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.http import HttpResponseBase
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.comparisons import full
from gradation.api.contract.told import Answer, Sent, Told
from gradation.api.equipment import StaffView
from gradation.errors import Fault, Invalid
from gradation.models import BlendRecord
from gradation.policy import Action
from gradation.queries.blends import BlendAsked, PileAsked, find_blend, work_out
from gradation.queries.curve_picks import Pick, read_pick
from gradation.science.blend import Nearness
from gradation.services.blend_content import worked_out_record
from gradation.services.blends import save_blend

_SHARE: dict[str, Any] = {"max_digits": 9, "decimal_places": 6}


class PileIn(Sent):
    """One stockpile: where its curve comes from, and the bounds of its share."""

    curve = serializers.CharField(max_length=60)
    share_min_pct = serializers.DecimalField(default=Decimal(0), **_SHARE)
    share_max_pct = serializers.DecimalField(default=Decimal(100), **_SHARE)


class BlendIn(Sent):
    """A blend as it is asked for."""

    stockpiles = PileIn(many=True)
    specification = serializers.IntegerField(allow_null=True, default=None, min_value=1)
    goal = serializers.ChoiceField(["margin", "target"], default="margin")
    nearness = serializers.ChoiceField([each.value for each in Nearness], default="least_squares")
    target = serializers.CharField(max_length=60, allow_blank=True, default="")
    leave_out_unknown_sieves = serializers.BooleanField(default=False)
    keep = serializers.BooleanField(default=False)
    title = serializers.CharField(max_length=160, allow_blank=True, default="")
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")

    def asked(self) -> BlendAsked:
        """Give what is asked of the search; a curve that is none is refused beside its line."""
        values = self.validated_data
        faults: list[Fault] = []
        piles = [
            PileAsked(pick, each["share_min_pct"], each["share_max_pct"])
            for place, each in enumerate(values["stockpiles"])
            if (pick := _pick(each["curve"], f"stockpiles/{place}/curve", faults)) is not None
        ]
        target = _pick(values["target"], "target", faults) if values["target"] else None
        if faults:
            raise Invalid(faults)
        return BlendAsked(
            piles=tuple(piles),
            specification=values["specification"],
            aims_at_target=values["goal"] == "target",
            nearness=Nearness(values["nearness"]),
            target=target,
            leaves_out=values["leave_out_unknown_sieves"],
        )


def _pick(token: str, field: str, faults: list[Fault]) -> Pick | None:
    try:
        return read_pick(token, field)
    except Invalid as refusal:
        faults += refusal.faults
        return None


BLEND: dict[str, Any] = {
    "type": "object",
    "description": "A blend: shares in per cent, the curve, each limit with its margin.",
    "additionalProperties": {},
}


class Blends(StaffView):
    """Blends are worked out here, and kept if asked."""

    area = "blends"
    operation = "blends"
    told: ClassVar[Mapping[str, Told]] = {
        "POST": Told(takes=BlendIn, gives=BLEND, keyed=False, more=(Answer(BLEND, 201),))
    }
    act = {"POST": Action.READ_RECORDS}  # keeping asks for more, in its service

    def post(self, request: Request) -> Response:
        """Work a blend out; with `keep` it is kept under a number."""
        sent = BlendIn(data=request.data)
        sent.is_valid(raise_exception=True)
        asked, values = sent.asked(), sent.validated_data
        if values["keep"]:
            self.need_key()
            kept = save_blend(
                actor=self.person, asked=asked, title=values["title"], note=values["note"]
            )
            return Response(blend_out(kept), status=status.HTTP_201_CREATED)
        record = worked_out_record(work_out(self.person, asked), self.person)
        return Response(blend_out(record))


class OneBlend(StaffView):
    """One blend as it was kept."""

    area = "blends"
    operation = "blend"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=BLEND, tagged=True)}

    def get(self, request: Request, number: str) -> HttpResponseBase:
        """Give the blend of this number."""
        return self.tagged(blend_out(find_blend(number)))


def blend_out(record: BlendRecord) -> dict[str, Any]:
    """Give a blend as plain data: measurements as text, the unit in the name."""
    outcome = record.values["outcome"]
    return {
        "number": record.number or None,
        "title": record.title,
        "note": record.note,
        "specification": str(record.specification_version)
        if record.specification_version
        else None,
        "exists": record.exists,
        "sentence": outcome["sentence"],
        "margin_pct": _full(outcome["margin_pct"]),
        "departure_pct": _full(outcome["departure_pct"]),
        "binding": [each["sentence"] for each in outcome["binding"]],
        "stockpiles": [_pile(record, place) for place in range(len(record.sources))],
        "sieves": [_line(line) for line in outcome["lines"] or ()],
        "curve": [
            {"aperture_um": f"{um:g}", "passing_pct": full(passing)}
            for um, passing in record.values["curve"]
        ],
        "left_out": record.values["left_out"],
        "inputs": record.inputs,
        "inputs_digest": record.inputs_digest,
        "science_version": record.science_version,
        "computed_at": record.computed_at.isoformat(),
        "computed_by": record.computed_by.full_name,
    }


def _pile(record: BlendRecord, place: int) -> dict[str, Any]:
    source = record.sources[place]
    shares = record.values["outcome"]["shares_pct"]
    ranges = (record.values["ranges"] or {}).get("ranges") or []
    free = ranges[place] if ranges else {}
    return {
        "name": source["name"],
        "curve": source["curve"],
        "runs": source["runs"],
        "share_pct": full(shares[place]["share_pct"]) if shares else None,
        "smallest_share_pct": _full(free.get("smallest_pct")),
        "largest_share_pct": _full(free.get("largest_pct")),
    }


def _line(line: dict[str, Any]) -> dict[str, Any]:
    return {
        "aperture_um": f"{line['aperture_um']:g}",
        "passing_pct": full(line["passing_pct"]),
        "margin_pct": _full(line["margin_pct"]),
        "nearer_limit": line["nearer_limit"],
        "is_inside": line["is_inside"],
    }


def _full(value: float | None) -> str | None:
    return None if value is None else full(value)
