"""The chart of a series: one model, the same figures on screen and on paper."""

import json
import re
from datetime import date
from xml.etree import ElementTree

import pytest

from gradation.charts.series import (
    Along,
    Level,
    LevelKind,
    Reach,
    Series,
    SeriesFigure,
    SeriesPoint,
    Span,
    Trend,
    day_marks,
    even_marks,
)
from gradation.charts.series_interactive import plotly_series
from gradation.charts.series_printed import series_svg
from tests.charts.hostile_texts import HOSTILE_TEXTS


def points(*pairs, **more):
    return tuple(SeriesPoint(at, value, f"use {at}: {value}", **more) for at, value in pairs)


def figure(**changes):
    values = {
        "title": "Aperture",
        "along_title": "Uses",
        "value_title": "Mean aperture, µm",
        "series": (Series("measured", points((0, 125.0), (100, 126.1), uncertainty=0.6)),),
        "levels": (
            Level(130.8, "at most 130.80 µm"),
            Level(125.0, "nominal", LevelKind.NOMINAL),
        ),
    }
    return SeriesFigure(**{**values, **changes})


def reaching(earliest=500.0, latest=700.0):
    reach = Reach(580.0, earliest, latest, "reaches its limit at 580 uses")
    return Trend("trend", ((0.0, 125.0), (580.0, 130.8)), ((0.0, 124.5, 125.5),) * 2, reach)


def test_every_value_level_and_word_is_on_screen_and_on_paper():
    shown = figure(trend=reaching())

    screen, paper = json.dumps(plotly_series(shown), ensure_ascii=False), series_svg(shown, 170, 80)

    for word in ("at most 130.80 µm", "nominal", "reaches its limit at 580 uses"):
        assert word in screen
        assert word in paper
    measured = next(it for it in plotly_series(shown)["data"] if it.get("name") == "measured")
    assert measured["x"] == [0, 100]
    assert measured["y"] == [125.0, 126.1]
    assert measured["error_y"]["array"] == [0.6, 0.6]


def test_what_is_outside_has_another_shape_too():
    outside = (SeriesPoint(0, 126, "a"), SeriesPoint(1, 131, "b", is_outside=True))

    trace = plotly_series(figure(series=(Series("measured", outside),)))["data"][-1]

    assert len(set(trace["marker"]["symbol"])) == 2


def test_the_axis_holds_the_limit_and_where_the_trend_meets_it():
    layout = plotly_series(figure(trend=reaching()))["layout"]

    low, high = layout["yaxis"]["range"]
    assert low < 124.4  # 125.0 - 0.6, the foot of the lowest whisker
    assert high > 130.8
    assert layout["xaxis"]["range"][1] > 580


@pytest.mark.parametrize(("earliest", "latest", "shapes"), [(500.0, 700.0, 2), (None, None, 1)])
def test_the_interval_is_drawn_where_there_is_one(earliest, latest, shapes):
    layout = plotly_series(figure(trend=reaching(earliest, latest)))["layout"]

    assert len(layout["shapes"]) == shapes


@pytest.mark.parametrize(
    ("low", "high", "texts"),
    [  # steps of 1, 2 or 5 times a power of ten
        (119.0, 131.0, ["120", "122", "124", "126", "128", "130"]),
        (-0.3, 0.41, ["\u22120.2", "0.0", "0.2", "0.4"]),
        (0.0, 3000.0, ["0", "500", "1000", "1500", "2000", "2500", "3000"]),
    ],
)
def test_marks_stand_at_round_figures(low, high, texts):
    assert [mark.text for mark in even_marks(Span(low, high))] == texts


def test_marks_of_days_stand_on_first_days_of_months():
    span = Span(date(2024, 1, 5).toordinal(), date(2026, 3, 5).toordinal())

    marks = day_marks(span)

    assert [mark.text for mark in marks] == ["Jul 2024", "Jan 2025", "Jul 2025", "Jan 2026"]
    assert [date.fromordinal(int(mark.at)).day for mark in marks] == [1, 1, 1, 1]


@pytest.mark.parametrize("days", [0, 1, 20, 400, 20_000])
def test_a_series_of_days_is_drawn_however_long_it_is(days):
    first = date(2024, 2, 29).toordinal()
    shown = figure(
        series=(Series("tare", points((first, 412.0), (first + days, 412.1))),),
        levels=(),
        along=Along.TIME,
    )

    ElementTree.fromstring(series_svg(shown, 170, 80))
    assert len(plotly_series(shown)["layout"]["xaxis"]["ticktext"]) <= 8


def test_a_single_value_and_none_at_all_are_drawn():
    for series in ((), (Series("measured", points((0, 125.0))),)):
        shown = figure(series=series, levels=())
        ElementTree.fromstring(series_svg(shown, 170, 80))
        assert json.dumps(plotly_series(shown))


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_hostile_words_stay_words(text):
    shown = figure(
        title=text,
        series=(Series(text, points((0, 1.0), (1, 2.0))), Series(text, points((0, 3.0)))),
        levels=(Level(4.0, text),),
        trend=Trend(text, ((0.0, 1.0), (1.0, 2.0)), (), Reach(1.0, None, None, text)),
    )

    paper = series_svg(shown, 170, 80)

    ElementTree.fromstring(paper)
    assert not re.search(r"<(script|img|style|a)\b", paper)
    assert "<script" not in json.dumps(plotly_series(shown))


def test_a_point_without_a_figure_is_refused():
    with pytest.raises(ValueError, match="two figures"):
        SeriesPoint(float("nan"), 1.0, "broken")


def test_key_of_several_series_stands_above_the_frame_where_no_point_lies():
    several = tuple(Series(f"bench {n}", points((0, 100.0 + n), (100, 130.0))) for n in range(5))

    paper = series_svg(figure(series=several, levels=()), 170, 80)

    frame_top = float(re.search(r'd="M[\d.]+ ([\d.]+)H[\d.]+V', paper)[1])
    words = re.findall(r'<text[^>]* y="([\d.]+)"[^>]*>bench', paper)
    assert len(words) == 5
    assert all(float(y) < frame_top for y in words)
