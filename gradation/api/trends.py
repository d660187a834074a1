"""Endpoint of trends: a figure of many runs over time, judged."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Sent, Told
from gradation.api.trends_out import trend_out
from gradation.errors import Fault, Invalid
from gradation.models import ControlChart
from gradation.queries.control_charts import find_chart, followed_by, group_trends
from gradation.queries.days import laboratory_zone
from gradation.queries.figure_names import CHARACTERISTICS, passing_key
from gradation.queries.laboratory import material_list
from gradation.queries.methods import procedure_list
from gradation.queries.trend_series import Stretch, run_series

_PASSING = "passing"
GROUPS = {
    "": ControlChart.Group.NONE,
    "bench": ControlChart.Group.BENCH,
    "nest": ControlChart.Group.NEST,
    "technician": ControlChart.Group.TECHNICIAN,
}
KINDS = {
    "individuals": ControlChart.Kind.INDIVIDUALS,
    "mean_range": ControlChart.Kind.MEAN_RANGE,
    "mean_deviation": ControlChart.Kind.MEAN_DEVIATION,
    "weighted_mean": ControlChart.Kind.WEIGHTED,
    "moving_mean": ControlChart.Kind.MOVING,
}
RULES = {
    "three_sigma": ControlChart.Rules.THREE_SIGMA,
    "1956": ControlChart.Rules.SET_1956,
    "1984": ControlChart.Rules.SET_1984,
}
SUBGROUPS = {
    "determinations": ControlChart.Subgroup.DETERMINATIONS,
    "consecutive": ControlChart.Subgroup.CONSECUTIVE,
}


class TrendFilters(Sent):
    """What a trend is asked for with: a chart kept, or a figure of a material or a procedure."""

    chart = serializers.IntegerField(required=False, min_value=1)
    material = serializers.CharField(max_length=120, required=False)
    procedure = serializers.CharField(max_length=40, required=False)
    characteristic = serializers.ChoiceField([_PASSING, *CHARACTERISTICS], required=False)
    aperture_um = serializers.DecimalField(10, 2, min_value=Decimal("0.01"), required=False)
    group = serializers.ChoiceField(list(GROUPS), default="", allow_blank=True)
    kind = serializers.ChoiceField(list(KINDS), default="individuals")
    rules = serializers.ChoiceField(list(RULES), default="1984")
    subgroup = serializers.ChoiceField(list(SUBGROUPS), default="determinations")
    subgroup_size = serializers.IntegerField(min_value=2, max_value=25, default=2)
    weight = serializers.DecimalField(
        4, 3, min_value=Decimal("0.001"), max_value=Decimal(1), default=Decimal("0.2")
    )
    span = serializers.IntegerField(min_value=2, max_value=100, default=5)
    since = serializers.DateField(required=False)
    until = serializers.DateField(required=False)
    points = serializers.ChoiceField(["thinned", "all"], default="thinned")


TREND: dict[str, Any] = {
    "type": "object",
    "description": "The trend: groups with points, limits, and what is out of the ordinary.",
    "additionalProperties": {},
}


class Trends(Endpoint):
    """A figure over time as a control chart: points, limits, what is out of the ordinary."""

    area = "runs"
    operation = "trends"
    told: ClassVar[Mapping[str, Told]] = {"GET": Told(gives=TREND, asks=TrendFilters)}

    def get(self, request: Request) -> Response:
        """Give the trend; thinned unless all points are asked for, never without a flagged one."""
        given = self.asked
        chart = find_chart(given["chart"]) if "chart" in given else _chart(given)
        zone = laboratory_zone()
        stretch = Stretch(zone, given.get("since"), given.get("until"))
        _refuse_crossed(stretch.since, stretch.until)
        groups = group_trends(chart, run_series(followed_by(chart), stretch))
        return Response(trend_out(chart, groups, zone, is_thinned=given["points"] == "thinned"))


def _refuse_crossed(since: date | None, until: date | None) -> None:
    if since and until and since > until:
        raise Invalid.one("since", "It begins after it ends. Check both days.", code="crossed")


def _chart(given: dict[str, Any]) -> ControlChart:
    """Describe a chart that is not kept."""
    faults = []
    if "characteristic" not in given:
        faults.append(Fault("characteristic", "Say which figure, or which chart.", "missing"))
    if given.get("characteristic") == _PASSING and "aperture_um" not in given:
        faults.append(Fault("aperture_um", "Say at which aperture, in micrometres.", "missing"))
    if "material" not in given and "procedure" not in given:
        faults.append(Fault("material", "Say of which material or procedure.", "missing"))
    material = material_list().filter(name=given.get("material")).first()
    procedure = procedure_list().filter(code=given.get("procedure")).first()
    if "material" in given and material is None:
        faults.append(Fault("material", "No material has this name.", "unknown-material"))
    if "procedure" in given and procedure is None:
        faults.append(Fault("procedure", "No procedure has this code.", "unknown-procedure"))
    if faults:
        raise Invalid(faults)
    figure = given["characteristic"]
    key = passing_key(given["aperture_um"]) if figure == _PASSING else figure
    return ControlChart(
        material=material,
        procedure=procedure,
        characteristic=key,
        kind=KINDS[given["kind"]].value,
        rules=RULES[given["rules"]].value,
        group_by=GROUPS[given["group"]].value,
        subgroup=SUBGROUPS[given["subgroup"]].value,
        **{name: given[name] for name in ("subgroup_size", "weight", "span")},
    )
