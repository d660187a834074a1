"""The chart for the browser: plain JSON, real sieve names, nothing a text can smuggle in."""

import json

import pytest

from gradation.charts.figure import Direction, Scale
from gradation.charts.interactive import plotly_figure
from gradation.charts.palette import CURVE_STYLES
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.charts.test_printed import make_figure


def named(drawn, name):
    return next(it for it in drawn["data"] if it.get("name") == name)


@pytest.mark.parametrize("scale", list(Scale))
@pytest.mark.parametrize("direction", list(Direction))
def test_every_figure_is_plain_json_of_scatter_traces(scale, direction):
    drawn = plotly_figure(make_figure(scale=scale, direction=direction, retained_axis=True))

    again = json.loads(json.dumps(drawn, allow_nan=False))

    assert again == drawn
    assert {it.get("type", "scatter") for it in drawn["data"]} == {"scatter"}


def test_the_top_edge_carries_the_sieves_as_the_trade_names_them():
    top = plotly_figure(make_figure())["layout"]["xaxis2"]

    assert set(top["ticktext"]) == {"4 mm", "1 mm", "0.25 mm"}
    assert top["side"] == "top"


def test_the_curve_reads_out_sieve_passing_and_uncertainty():
    curve = named(plotly_figure(make_figure()), "Run 1")

    assert curve["text"] == [
        "4 mm: 100 % passing",
        "1 mm: 50 ± 2 % passing",
        "0.25 mm: 10 % passing",
    ]


def test_passing_is_drawn_upward_from_nought_to_a_hundred():
    drawn = plotly_figure(make_figure())

    assert named(drawn, "Run 1")["y"] == pytest.approx([1, 0.5, 0.1])
    assert drawn["layout"]["yaxis"]["range"] == [0, 1]
    assert drawn["layout"]["yaxis"]["ticktext"][-1] == "100"


def test_the_right_axis_counts_retained_downward():
    right = plotly_figure(make_figure(retained_axis=True))["layout"]["yaxis2"]

    assert (right["ticktext"][0], right["ticktext"][-1]) == ("100", "0")


def test_the_first_curve_wears_the_first_style():
    curve = named(plotly_figure(make_figure()), "Run 1")

    assert curve["line"]["color"] == CURVE_STYLES[0].colour


def test_a_one_sided_limit_reads_as_one_sided():
    drawn = plotly_figure(make_figure())

    assert named(drawn, "Envelope")["text"] == [
        "4 mm: limits at least 90 %",
        "1 mm: limits 30 to 45 %",
    ]


def test_failing_words_stand_on_the_exceeded_side():
    assert named(plotly_figure(make_figure()), "Outside")["textposition"] == ["top center"]


def test_no_button_sends_the_figure_away():
    (buttons,) = plotly_figure(make_figure())["config"]["modeBarButtons"]

    assert buttons == ["zoom2d", "pan2d", "resetScale2d", "toImage"]


@pytest.mark.parametrize("text", [it for it in HOSTILE_TEXTS if "<" in it])
def test_no_text_reaches_the_chart_library_as_a_tag(text):
    from gradation.charts.figure import (
        Band,
        BandLimit,
        Curve,
        CurvePoint,
        FailingPoint,
        Side,
        SieveName,
    )

    drawn = plotly_figure(
        make_figure(
            curves=(Curve(text, (CurvePoint(1000, 50),)),),
            band=Band(text, (BandLimit(1000, 0, 5),)),
            failing=(FailingPoint(1000, 50, Side.ABOVE, text),),
            sieves=(SieveName(1000, text),),
        )
    )

    ours = ("<extra>", "</extra>")
    written = json.dumps(drawn)
    for tag in ours:
        written = written.replace(tag, "")
    assert "<" not in written
