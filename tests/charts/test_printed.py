"""The printed chart: well-formed, escaped, in place, legible without colour."""

import re
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest

from gradation.charts.figure import (
    Band,
    BandLimit,
    Curve,
    CurvePoint,
    Direction,
    FailingPoint,
    GradationFigure,
    Scale,
    Side,
    SieveName,
)
from gradation.charts.palette import CURVE_STYLES, PALE_LICHEN, TARGET_STYLE, UMBER
from gradation.charts.printed import svg
from tests.charts.hostile_texts import HOSTILE_TEXTS

_PLAIN_TAGS = {"svg", "title", "g", "path", "text", "circle", "rect"}


def make_figure(**changes):
    points = (CurvePoint(4000, 100), CurvePoint(1000, 50, 2), CurvePoint(250, 10))
    values = {
        "title": "Sample 26-0148",
        "curves": (Curve("Run 1", points),),
        "band": Band("Envelope", (BandLimit(4000, 90, None), BandLimit(1000, 30, 45))),
        "target": Curve("Target", (CurvePoint(4000, 98), CurvePoint(250, 12))),
        "failing": (FailingPoint(1000, 50, Side.ABOVE, "1 mm: 50 above 45"),),
        "sieves": tuple(SieveName(um, f"{um / 1000:g} mm") for um in (4000, 1000, 250)),
    }
    return GradationFigure(**{**values, **changes})


def parsed(figure):
    root = ElementTree.fromstring(svg(figure, 180, 80))
    return root, [it.tag.rpartition("}")[2] for it in root.iter()]


def texts(root):
    return [it.text for it in root.iter() if it.tag.endswith("}text")]


@pytest.mark.parametrize("scale", list(Scale))
@pytest.mark.parametrize("direction", list(Direction))
def test_every_scale_and_direction_is_well_formed_without_style_or_script(scale, direction):
    _, tags = parsed(make_figure(scale=scale, direction=direction, retained_axis=True))

    assert set(tags) <= _PLAIN_TAGS


def test_the_size_on_paper_is_the_one_asked_for():
    root, _ = parsed(make_figure())

    # 180 mm * 96 / 25.4 = 680.31 px; 80 mm = 302.36 px (CSS: 96 px to the inch)
    assert (root.get("width"), root.get("height")) == ("680.31", "302.36")


def test_the_chart_says_what_it_shows_to_those_who_cannot_see_it():
    root, _ = parsed(make_figure())

    assert root.get("role") == "img"
    assert "percent passing" in root.get("aria-label")
    assert "1 mm: 50 above 45" in root.get("aria-label")


def test_fifty_per_cent_stands_halfway_up_the_frame():
    drawn = svg(make_figure(curves=(Curve("Run", (CurvePoint(1000, 50),)),)), 180, 80)

    top, foot = map(float, re.search(r"M34\.00 ([\d.]+)H[\d.]+V([\d.]+)", drawn).groups())
    marker_y = float(re.search(r"M[\d.]+ ([\d.]+)a2\.6", drawn).group(1))
    assert marker_y == pytest.approx((top + foot) / 2, abs=0.02)


def test_sieve_names_stand_on_the_top_edge_and_passing_runs_to_a_hundred():
    root, _ = parsed(make_figure())

    assert {"4 mm", "1 mm", "0.25 mm", "0", "100", "Passing, %"} <= set(texts(root))


def test_a_failing_point_is_told_by_words_and_shape_not_by_colour():
    root, _ = parsed(make_figure())
    without, _ = parsed(make_figure(failing=()))

    assert "1 mm: 50 above 45" in texts(root)
    count = [
        len([it for it in tree.iter() if it.tag.endswith("}circle")]) for tree in (root, without)
    ]
    assert count == [1, 0]


def test_limits_are_barred_only_where_they_are_given():
    drawn = svg(make_figure(), 180, 80)

    bars = next(it for it in re.findall(r'd="([^"]*)"', drawn) if it.endswith("h6"))
    assert bars.count("h6") == 3  # 90 and nothing at 4 mm; 30 and 45 at 1 mm


def test_without_an_envelope_nothing_is_shaded():
    assert PALE_LICHEN not in svg(make_figure(band=None), 180, 80)


def test_an_undetermined_point_leaves_no_mark():
    points = (CurvePoint(4000, 100), CurvePoint(1000, float("nan")), CurvePoint(250, 10))

    drawn = svg(make_figure(curves=(Curve("Run", points),), failing=()), 180, 80)

    assert "nan" not in drawn


def test_a_fitted_curve_has_no_markers():
    points = (CurvePoint(4000, 90), CurvePoint(250, 10))
    measured = Curve("Run", points)

    drawn = svg(make_figure(curves=(measured, Curve("RRSB", points, fitted=True))), 180, 80)

    line_chart, line_key = 1, 1
    assert drawn.count(f'stroke="{UMBER}"') == line_chart + line_key


def test_curves_and_target_differ_without_colour():
    drawn = [(it.dash, it.marker) for it in (*CURVE_STYLES, TARGET_STYLE)]

    assert all(a[0] != b[0] and a[1] != b[1] for a, b in combinations(drawn, 2))


def test_whiskers_stay_between_nought_and_a_hundred():
    assert CurvePoint(1000, 99.5, 2).spread() == (97.5, 100)
    assert CurvePoint(1000, 0.5, 2).spread() == (0, 2.5)


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_no_text_becomes_markup(text):
    hostile = make_figure(
        title=text,
        curves=(Curve(text, (CurvePoint(4000, 100), CurvePoint(250, 10))),),
        band=Band(text, (BandLimit(4000, 90, None), BandLimit(250, 0, 5))),
        failing=(FailingPoint(250, 10, Side.ABOVE, text),),
        sieves=(SieveName(4000, text), SieveName(250, text)),
    )

    root, tags = parsed(hostile)

    assert set(tags) <= _PLAIN_TAGS
    assert not [key for it in root.iter() for key in it.attrib if key.startswith("on")]
    assert re.sub("[\x00\x0b\x1f]", "\ufffd", text)[:59] in [it[:59] for it in texts(root)]


def test_a_name_without_end_leaves_room_for_the_chart():
    sieves = tuple(SieveName(um, "x" * 3000) for um in (4000, 1000))

    drawn = svg(make_figure(sieves=sieves, curves=(Curve("y" * 3000, ()),)), 180, 80)

    top, foot = map(float, re.search(r"M34\.00 ([\d.]+)H[\d.]+V([\d.]+)", drawn).groups())
    assert foot - top > 100


def test_an_empty_figure_is_drawn_as_empty_paper():
    _, tags = parsed(GradationFigure("Sample without a run"))

    assert "circle" not in tags


def test_sixty_sieves_leave_no_two_names_on_top_of_each_other():
    names = tuple(SieveName(63 * 1.1**i, f"{i} name") for i in range(60))

    drawn = svg(make_figure(sieves=names, band=None, target=None, failing=()), 182, 82)

    places = sorted(
        float(x) for x in re.findall(r"translate\(([\d.]+) [\d.]+\) rotate\(-90\)", drawn)
    )
    named = [x for x in places if x > 34]
    assert len(named) > 40
    assert all(b - a >= 7.9 for a, b in pairwise(named))
