"""Endpoints of control charts: opened, their limits frozen and ended, points answered."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Listing, ReasonIn, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent, Told
from gradation.api.trends import GROUPS, KINDS, RULES, SUBGROUPS
from gradation.api.trends_out import chart_out
from gradation.errors import Fault, Invalid
from gradation.models import ChartNote, ControlChart, User
from gradation.queries.control_charts import chart_list, find_chart, find_note, notes_of, open_notes
from gradation.queries.laboratory import material_list
from gradation.queries.methods import procedure_list
from gradation.services import control_charts

CHART: dict[str, Any] = {
    "type": "object",
    "description": "A control chart: what it follows, how it judges, its frozen limits.",
    "properties": {
        "id": {"type": "integer"},
        "name": {"type": "string"},
        "characteristic": {"type": "string"},
        "points_to_answer": {"type": "integer"},
        "is_given_up": {"type": "boolean"},
    },
    "required": ["id", "name", "characteristic"],
    "additionalProperties": {},
}
CHARTS: dict[str, Any] = {
    "type": "object",
    "properties": {"results": {"type": "array", "items": CHART}},
    "required": ["results"],
}


class Charts(Endpoint):
    """The control charts kept."""

    area = "charts"
    operation = "control-charts"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=CHARTS)}

    def get(self, request: Request) -> Response:
        """Give each with what it follows and how many of its points wait for an answer."""
        return Response({"results": [chart_out(chart) for chart in chart_list()]})


class ChartIn(Sent):
    """A new chart of a material or a procedure."""

    name = serializers.CharField(max_length=120)
    material = serializers.CharField(max_length=120, default=None, allow_null=True)
    procedure = serializers.CharField(max_length=40, default=None, allow_null=True)
    characteristic = serializers.CharField(
        max_length=48, help_text="As figures are named: passing_600, d50, loss."
    )
    kind = serializers.ChoiceField(list(KINDS), default="individuals")
    rules = serializers.ChoiceField(list(RULES), default="1984")
    group = serializers.ChoiceField(list(GROUPS), default="", allow_blank=True)
    subgroup = serializers.ChoiceField(list(SUBGROUPS), default="determinations")
    subgroup_size = serializers.IntegerField(min_value=2, max_value=25, default=2)
    weight = serializers.DecimalField(4, 3, min_value=0, max_value=1, default=Decimal("0.2"))
    span = serializers.IntegerField(min_value=2, max_value=100, default=5)
    answers_from = serializers.DateField(help_text="Points since this day are to be answered.")


class PeriodIn(Sent):
    """The days whose runs limits are made from, both included, and why."""

    base_from = serializers.DateField()
    base_to = serializers.DateField()
    group_key = serializers.IntegerField(default=0, min_value=0, max_value=2**31)
    reason = serializers.CharField(max_length=400)


class EndLimitsIn(Sent):
    """Of which group the limits end, and why."""

    group_key = serializers.IntegerField(default=0, min_value=0, max_value=2**31)
    reason = serializers.CharField(max_length=400)


class CauseIn(Sent):
    """What caused it, and what was done."""

    cause = serializers.CharField(max_length=400)
    done = serializers.CharField(max_length=400)


class NoteOut(serializers.Serializer[Any]):
    """A point out of control, and its answer."""

    id = serializers.IntegerField()
    chart = serializers.IntegerField(source="chart_id")
    group = serializers.CharField(source="group_name")
    run = serializers.IntegerField(source="run_id")
    rules = serializers.CharField()
    reasons = serializers.CharField()
    opened_at = serializers.DateTimeField()
    cause = serializers.CharField()
    done = serializers.CharField()
    answered_at = serializers.DateTimeField(allow_null=True)
    answered_by = serializers.CharField(
        source="answered_by.full_name", default=None, allow_null=True
    )


class NoteFilters(OlderPage):
    """Which points."""

    chart = serializers.IntegerField(required=False, min_value=1)


def _find(person: User, pk: int) -> ControlChart:
    return find_chart(pk)


def _find_note(person: User, pk: int) -> ChartNote:
    return find_note(pk)


CHART_THING = Thing(
    "chart",
    _find,
    CHART,
    lambda person, chart: chart_out(chart),
)
NOTE = Thing("note", _find_note, NoteOut)


def _chart(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    material = material_list().filter(name=told["material"]).first()
    procedure = procedure_list().filter(code=told["procedure"]).first()
    faults = [
        Fault(field, f"There is no {field} of this name.", f"unknown-{field}")
        for field, found in (("material", material), ("procedure", procedure))
        if told[field] and found is None
    ]
    if faults:
        raise Invalid(faults)
    names = ("name", "characteristic", "subgroup_size", "weight", "span", "answers_from")
    return {
        "chart": ControlChart(
            material=material,
            procedure=procedure,
            kind=KINDS[told["kind"]].value,
            rules=RULES[told["rules"]].value,
            group_by=GROUPS[told["group"]].value,
            subgroup=SUBGROUPS[told["subgroup"]].value,
            **{name: told[name] for name in names},
        )
    }


def _frozen(person: User, chart: ControlChart, told: Words) -> Words:
    days = {name: told[name] for name in ("base_from", "base_to", "group_key")}
    return {"period": control_charts.BasePeriod(**days), "reason": told["reason"]}


def _notes(person: User, asked: Words) -> Any:  # noqa: ANN401
    return notes_of(find_chart(asked["chart"])) if "chart" in asked else open_notes()


_AT = "control-charts/<int:pk>"
routes = [
    path("control-charts", Charts.as_view(), name="control-charts"),
    route(
        "control-charts/open",
        "control-chart-open",
        "charts",
        post=Act(control_charts.open_chart, ChartIn, _chart, made=CHART_THING, code=201),
    ),
    route(_AT, "control-chart", "charts", get=CHART_THING),
    route(
        f"{_AT}/give-up",
        "control-chart-give-up",
        "charts",
        post=Act(control_charts.give_up_chart, ReasonIn, thing=CHART_THING),
    ),
    route(
        f"{_AT}/freeze",
        "control-chart-freeze",
        "charts",
        post=Act(control_charts.freeze_limits, PeriodIn, _frozen, CHART_THING),
    ),
    route(
        f"{_AT}/release",
        "control-chart-release",
        "charts",
        post=Act(control_charts.release_limits, EndLimitsIn, thing=CHART_THING),
    ),
    route("chart-points", "chart-points", "charts", get=Listing(_notes, NoteOut, NoteFilters)),
    route("chart-points/<int:pk>", "chart-point", "charts", get=NOTE),
    route(
        "chart-points/<int:pk>/answer",
        "chart-point-answer",
        "charts",
        post=Act(control_charts.answer_note, CauseIn, thing=NOTE),
    ),
]
