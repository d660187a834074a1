"""The drawing of a control chart: same points on screen and paper, no flagged point left out."""

import json
from xml.etree import ElementTree

import numpy as np
import pytest

from gradation.charts.control import (
    Bound,
    BoundKind,
    ControlFigure,
    Event,
    Flagged,
    Panel,
    Track,
)
from gradation.charts.control_interactive import plotly_control
from gradation.charts.control_printed import control_svg
from gradation.charts.series import Mark
from gradation.charts.thinning import MOST_POINTS, corners, kept_points
from tests.charts.hostile_texts import HOSTILE_TEXTS

SVG = "{http://www.w3.org/2000/svg}"


def figure(words="Beyond three sigma.", **more):
    level = Panel(
        title="Passing 600 µm, %",
        tracks=(Track("all runs", (0, 1, 2), (40.0, 41.0, 50.0), ("a", "b", "c")),),
        flagged=(Flagged(words, (2,), (50.0,), ("c",)),),
        bounds=(Bound(BoundKind.LIMIT, "upper limit 43.2", (0.0, 2.0), (43.2, 43.2)),),
    )
    spread = Panel("Moving range, %", (Track("all runs", (1, 2), (1.0, 9.0)),))
    filled = {
        "title": "Control sand",
        "along_title": "Points",
        "count": 3,
        "panels": (level, spread),
        "marks": (Mark(0.0, "5 Jan 2026"),),
        "events": (Event(1.5, "new sieve", "600 µm S-0007"),),
        **more,
    }
    return ControlFigure(**filled)


def test_series_that_is_short_enough_is_kept_whole():
    values = np.arange(MOST_POINTS, dtype=float)

    assert kept_points(values, values > 5).tolist() == list(range(MOST_POINTS))


@pytest.mark.parametrize("count", [2001, 2500, 50_000, 50_001])
@pytest.mark.parametrize("share", [0.0, 0.01, 1.0])
def test_thinned_series_keeps_every_flagged_point_the_ends_and_the_extremes(count, share):
    chance = np.random.default_rng(count)
    values = chance.normal(size=count)
    flagged = chance.random(count) < share

    kept = kept_points(values, flagged)

    assert set(np.flatnonzero(flagged)) <= set(kept)
    assert {0, count - 1, int(values.argmin()), int(values.argmax())} <= set(kept)
    assert (np.diff(kept) > 0).all()
    assert kept.size <= MOST_POINTS + 2 + flagged.sum()


def test_each_stretch_of_a_thinned_series_keeps_its_highest_and_lowest_point():
    """10 points to at most 4: stretches of five, with 9 and 0, then 8 and 1."""
    values = np.array([5.0, 9, 5, 0, 5, 5, 8, 5, 1, 5])

    kept = kept_points(values, np.zeros(10, dtype=bool), most=4)

    assert kept.tolist() == [0, 1, 3, 6, 8, 9]


def test_line_of_steps_is_drawn_at_its_corners():
    values = np.array([1.0, 2.0, 3.0, 3.0, 3.0, 3.0])

    assert corners(values).tolist() == [0, 1, 2, 5]


def test_flagged_point_stands_in_both_drawings():
    shown = plotly_control(figure())
    flags = [trace for trace in shown["data"] if trace.get("name") == "Beyond three sigma."]
    svg = ElementTree.fromstring(control_svg(figure(), 180, 115))
    texts = {element.text for element in svg.iter(f"{SVG}text")}

    assert [(trace["x"], trace["y"]) for trace in flags] == [([2], [50.0])]
    assert {"upper limit 43.2", "5 Jan 2026", "Passing 600 µm, %", "Moving range, %"} <= texts


def test_scatter_stands_on_an_axis_of_its_own_below():
    shown = plotly_control(figure())

    assert shown["layout"]["yaxis2"]["domain"][1] < shown["layout"]["yaxis"]["domain"][0]
    assert {trace["yaxis"] for trace in shown["data"]} == {"y", "y2"}


def test_what_happened_is_told_where_it_happened():
    shown = plotly_control(figure())
    told = next(trace for trace in shown["data"] if trace["name"] == "from the records")

    assert (told["x"], told["text"]) == ([1.5], ["new sieve: 600 µm S-0007"])


def test_figure_without_points_can_be_drawn():
    nothing = figure(count=0, panels=(Panel("Passing, %"),), marks=(), events=())

    assert json.dumps(plotly_control(nothing))
    assert ElementTree.fromstring(control_svg(nothing, 180, 115)) is not None


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_strange_words_stay_words(text):
    shown = figure(words=text, title=text)

    ElementTree.fromstring(control_svg(shown, 180, 115))
    names = [trace.get("name", "") for trace in plotly_control(shown)["data"]]

    assert not any("<script" in name for name in names)


def test_described_says_the_points_out_of_the_ordinary():
    assert "1 points: Beyond three sigma" in figure().described()
