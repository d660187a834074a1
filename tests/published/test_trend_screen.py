"""Published series followed from the database to the screen, limits as the source prints them.

NIST/SEMATECH e-Handbook of Statistical Methods: section 6.3.2.2 (individuals and moving range,
ten batch flow rates) and 6.3.2.4 (exponentially weighted means, twenty values), as they stand in
`examples/control_charts.json`; the values are laid out as the passing at a sieve.
"""

import json
import re
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from gradation.models import ControlChart, FrozenLimits
from gradation.policy import Role
from gradation.services import clock, control_charts
from tests import factories
from tests.many_runs import make_series, pattern_of
from tests.published.examples import example

pytestmark = pytest.mark.django_db

KEY = "passing_600"


@pytest.fixture
def shown(client):
    """Give a function that lays values out as runs, opens their chart and reads its drawing."""
    factories.make_laboratory()
    manager = factories.make_person(Role.QUALITY_MANAGER)
    client.force_login(manager)
    pattern = pattern_of(factories.make_material(factories.make_procedure()))
    pattern.figures.all().delete()

    def show(values, limits=None, **more):
        make_series(pattern, {KEY: values})
        material = pattern.portion.sample.material
        chart = ControlChart(
            name="Published", material=material, characteristic=KEY,
            answers_from=date(2020, 1, 1), **more,
        )  # fmt: skip
        chart = control_charts.open_chart(actor=manager, chart=chart)
        if limits is not None:
            limits.chart, limits.frozen_by = chart, manager
            limits.save()
        return _drawn(client.get(reverse("charts:chart-show", args=[chart.pk]))), chart

    return show


def _drawn(answer):
    text = re.search(
        r'"control-figure" type="application/json">(.*?)</script>', answer.content.decode()
    )
    return json.loads(text.group(1))["data"]


def _line(traces, words, axis="y"):
    """Give the heights of the line whose words begin so."""
    return next(
        trace["y"] for trace in traces if trace["name"].startswith(words) and trace["yaxis"] == axis
    )


def _points(traces):
    return next(trace["y"] for trace in traces if "markers" in trace["mode"])


def test_individuals_and_moving_range_from_the_database_to_the_screen(shown):
    case = example("control_charts", "individuals_and_moving_range")
    printed, tolerance = case.outputs, case.tolerance

    traces, chart = shown(case.inputs["values"])

    assert _points(traces) == case.inputs["values"]
    assert _line(traces, "centre") == pytest.approx([printed["mean"]] * 2, abs=tolerance["abs"])
    # the source rounds d2 to 1.128: 3 x 1.8778 x (1/1.128 - 1/1.128379) = 0.0017
    assert _line(traces, "upper limit")[0] == pytest.approx(printed["UCL"], abs=0.0022)
    assert _line(traces, "lower limit")[0] == pytest.approx(printed["LCL"], abs=0.0022)
    ranges = _line(traces, "upper limit", axis="y2")[0]
    assert ranges == pytest.approx(printed["UCL_moving_range"], abs=tolerance["ucl_mr"])
    assert printed["signals"] == list(chart.notes.all())


def test_weighted_means_from_the_database_to_the_screen(shown):
    case = example("control_charts", "weighted_means")
    given, printed, tolerance = case.inputs, case.outputs, case.tolerance
    centre, sigma = given["target"], given["s"]
    limits = FrozenLimits(
        base_from=date(2025, 1, 1), base_to=date(2025, 12, 31), base_points=20, centre=centre,
        sigma=sigma, lower=centre - 3 * sigma, upper=centre + 3 * sigma, spread_centre=0.0,
        spread_lower=0.0, spread_upper=0.0, science_version="0", reason="As printed.",
        frozen_at=clock.now(),
    )  # fmt: skip

    traces, _ = shown(
        given["values"],
        limits,
        kind=ControlChart.Kind.WEIGHTED,
        weight=Decimal(str(given["weight"])),
    )

    drawn = next(t for t in traces if "markers" in t["mode"] and t["name"] != "from the records")
    assert drawn["y"] == pytest.approx(printed["weighted_means"], abs=tolerance["mean"])
    # the source draws the settled limits throughout; the last of twenty is settled
    assert _line(traces, "upper limit")[-1] == pytest.approx(printed["UCL"], abs=tolerance["limit"])
    assert _line(traces, "lower limit")[-1] == pytest.approx(printed["LCL"], abs=tolerance["limit"])
    assert not [trace for trace in traces if "weighted mean lies beyond" in trace["name"]]
