"""Figures of other quantities than passing, and the papers of models."""

import json
import math
import re
from itertools import combinations, pairwise

import pytest

from gradation.charts.axes import (
    aperture_axis,
    bars_of,
    has_place,
    passing_at,
    passing_ticks,
    value_axis,
)
from gradation.charts.figure import Curve, CurvePoint, GradationFigure, Quantity, Scale, SieveName
from gradation.charts.interactive import plotly_figure
from gradation.charts.palette import curve_style
from gradation.charts.printed import svg


def make_figure(quantity, *values, **changes):
    curves = tuple(
        Curve(
            f"Run {i}",
            tuple(CurvePoint(um, v) for um, v in zip((4000, 1000, 250), row, strict=True)),
        )
        for i, row in enumerate(values, start=1)
    )
    names = tuple(SieveName(um, f"{um / 1000:g} mm") for um in (4000, 1000, 250))
    return GradationFigure("Trial", curves=curves, sieves=names, quantity=quantity, **changes)


def test_rrsb_paper_follows_the_double_logarithm():
    # y = ln(-ln(1 - Q)): 63.212 % gives 0; the ends 0.1 and 99.9 % give -6.9073 and 1.9326
    foot, top = math.log(-math.log(0.999)), math.log(-math.log(0.001))
    share = 100 * (1 - math.exp(-1))

    assert passing_at(share, Scale.RRSB) == pytest.approx(-foot / (top - foot), abs=1e-9)
    assert passing_at(0, Scale.RRSB) == 0
    assert passing_at(100, Scale.RRSB) == 1


def test_a_rosin_rammler_curve_is_straight_on_its_paper():
    # Q = 1 - exp(-(x / 500)^1.2), x rising by the same factor: equal steps upward
    heights = [
        passing_at(100 * (1 - math.exp(-((x / 500) ** 1.2))), Scale.RRSB)
        for x in (125, 250, 500, 1000)
    ]

    steps = [b - a for a, b in pairwise(heights)]
    assert steps == pytest.approx([steps[0]] * 3)


def test_a_power_law_is_straight_on_its_paper_and_reaches_a_hundred():
    # three decades of passing from 0.1 to 100 %: 1 % stands at a third, 10 % at two thirds
    heights = [passing_at(each, Scale.GGS) for each in (0.1, 1, 10, 100)]

    assert heights == pytest.approx([0, 1 / 3, 2 / 3, 1])


def test_what_has_no_place_on_a_paper_is_known():
    assert [has_place(each, Scale.RRSB) for each in (0, 50, 100)] == [False, True, False]
    assert [has_place(each, Scale.GGS) for each in (0, 50, 100)] == [False, True, True]
    assert has_place(0, Scale.LOG)


@pytest.mark.parametrize("scale", [Scale.RRSB, Scale.GGS, Scale.PROBABILITY])
def test_marks_of_a_paper_rise_from_its_foot_to_its_top(scale):
    places = [tick.at for _, tick in passing_ticks(scale)]

    assert places == sorted(places)
    assert (places[0], places[-1]) == pytest.approx((0, 1))


def test_differences_hold_nought_inside_their_axis():
    axis = value_axis(make_figure(Quantity.DIFFERENCE, (0.5, 3, 8)))

    assert 0 < axis.at(0) < axis.at(8) < 1


def test_bars_stand_on_nought_and_side_by_side():
    figure = make_figure(Quantity.RETAINED, (10, 40, 30), (20, 30, 30))

    first, second = bars_of(figure, aperture_axis(figure))

    assert [bar.value for bar in first] == [10, 40, 30]
    assert all(a.right == pytest.approx(b.left) for a, b in zip(first, second, strict=True))
    assert all(0 < bar.left < bar.right < 1 for bar in (*first, *second))
    assert value_axis(figure).at(0) == 0


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_quantity_is_drawn_for_screen_and_paper(quantity):
    figure = make_figure(quantity, (10, 40, 30), (12, 38, 33), against="Run 0")

    drawn, printed = plotly_figure(figure), svg(figure, 180, 90)

    assert json.loads(json.dumps(drawn, allow_nan=False)) == drawn
    words = value_axis(figure).title()
    assert drawn["layout"]["yaxis"]["title"]["text"] == words
    assert words in printed
    assert "Run 1" in printed


def test_bars_on_screen_differ_by_hatching():
    drawn = plotly_figure(make_figure(Quantity.RETAINED, (10, 40, 30), (12, 38, 33)))

    hatches = [it["marker"]["pattern"]["shape"] for it in drawn["data"] if it.get("type") == "bar"]
    assert len(set(hatches)) == 2


def test_a_corner_of_a_step_carries_no_marker():
    steps = (
        CurvePoint(4000, 60, is_corner=True),
        CurvePoint(2000, 60),
        CurvePoint(1000, 60, is_corner=True),
    )
    figure = GradationFigure("Trial", curves=(Curve("Run", steps),), quantity=Quantity.DENSITY)

    assert plotly_figure(figure)["data"][0]["marker"]["size"] == [0, 8, 0]
    in_chart_and_key = 2
    assert len(re.findall(r"a2\.6 2\.6 0 1 0 5\.2 0a", svg(figure, 180, 90))) == in_chart_and_key


def test_a_fitted_line_wears_the_style_of_its_curve():
    points = (CurvePoint(4000, 90), CurvePoint(250, 10))
    figure = GradationFigure(
        "Trial",
        curves=(Curve("A", points), Curve("B", points), Curve("B, line", points, True, look=1)),
    )

    colours = [it["line"]["color"] for it in plotly_figure(figure)["data"] if "line" in it]
    assert colours[1] == colours[2] == curve_style(1).colour


def test_no_two_of_a_dozen_curves_look_alike_in_grey():
    looks = [(curve_style(i).dash, curve_style(i).marker) for i in range(12)]

    assert all(a != b for a, b in combinations(looks, 2))
