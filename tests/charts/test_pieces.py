"""Envelope strip, drawn nest, thumbnail: in place, with a shape and words besides the colour."""

import re
from xml.etree import ElementTree

import pytest

from gradation.charts.figure import Side
from gradation.charts.nest import NestPiece, nest_column, nest_piece
from gradation.charts.palette import LICHEN, PALE_LICHEN
from gradation.charts.strip import Strip, StripVerdict, envelope_strip
from gradation.charts.thumbnail import thumbnail
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.charts.test_printed import make_figure


def make_strip(passing_pct=60.0, verdict=StripVerdict.WITHIN, **changes):
    values = {"minimum_pct": 40.0, "maximum_pct": 80.0, **changes}
    return Strip("1 mm", passing_pct, verdict=verdict, **values)


def shapes(drawing):
    """Return the drawing without its colours: what a black-and-white copy keeps."""
    return re.sub(r"#[0-9A-F]{6}|aria-label=\"[^\"]*\"|<title>.*?</title>", "", drawing)


def test_the_allowed_band_stands_where_the_limits_are():
    # 110 px wide with 5 px at each end: 1 px to the per cent, 40 to 80 % is x 45 to 85
    drawn = envelope_strip(make_strip(), width=110)

    assert 'x="45.00"' in drawn
    assert 'width="40.00"' in drawn


def test_the_measured_tick_stands_at_its_passing():
    assert "M65.00 0.5V" in envelope_strip(make_strip(60), width=110)


def test_the_whisker_spans_the_uncertainty():
    assert "M62.00 7.00H68.00" in envelope_strip(make_strip(60, uncertainty_pct=3.0), width=110)


def test_a_limit_that_is_not_given_has_no_edge():
    both = envelope_strip(make_strip())
    upper_only = envelope_strip(make_strip(minimum_pct=None))

    assert both.count("v11.00") == 2
    assert upper_only.count("v11.00") == 1


def test_verdicts_differ_in_shape():
    drawn = {shapes(envelope_strip(make_strip(60, verdict=it))) for it in StripVerdict if it}

    assert len(drawn) == 3


def test_the_notch_points_out_of_the_band():
    above = envelope_strip(make_strip(90, StripVerdict.OUTSIDE), width=110)
    below = envelope_strip(make_strip(20, StripVerdict.OUTSIDE), width=110)

    assert "M95.00 0.50L95.00 13.50L101.50 7.00Z" in above
    assert "M25.00 0.50L25.00 13.50L18.50 7.00Z" in below


@pytest.mark.parametrize(
    ("passing_pct", "side"),
    [(80.0, None), (80.1, Side.ABOVE), (40.0, None), (39.9, Side.BELOW), (None, None)],
)
def test_a_value_at_its_limit_exceeds_nothing(passing_pct, side):
    assert make_strip(passing_pct).side() == side


def test_an_undetermined_row_shows_its_limits_and_no_mark():
    drawn = envelope_strip(make_strip(None, StripVerdict.NONE))

    assert "not determined" in drawn
    assert 'stroke-width="1.90"' not in drawn


@pytest.mark.parametrize("passing_pct", [0, 100, -3, 140])
def test_marks_never_leave_the_strip(passing_pct):
    drawn = envelope_strip(make_strip(passing_pct, StripVerdict.OUTSIDE), width=110)

    body = drawn.partition("</title>")[2]
    xs = [float(it) for it in re.findall(r"[ML]([\d.-]+) ", body)]
    assert min(xs) >= -1.5
    assert max(xs) <= 111.5


def test_the_load_rises_with_the_mass_and_changes_shape_when_the_limit_is_passed():
    half, full, over = (nest_piece(NestPiece("1 mm", load)) for load in (50, 100, 110))

    # 28 px tall, 24 px inside, the limit line at 100/130 of it: 50 % is 24 * 50/130 = 9.23 px
    assert 'height="9.23"' in half
    assert shapes(full).count("<path") < shapes(over).count("<path")
    assert "overloaded" in over


def test_a_sieve_not_to_be_used_is_hatched_and_says_why():
    usable = nest_piece(NestPiece("1 mm", 20))
    held = nest_piece(NestPiece("1 mm", 20, unusable_reason="check overdue since 3 May"))

    assert "not to be used: check overdue since 3 May" in held
    assert shapes(held).count("L") > shapes(usable).count("L") + 10


def test_the_pan_has_a_closed_floor_and_no_load_limit():
    sieve, pan = (nest_piece(NestPiece("x", 20, is_pan=it)) for it in (False, True))

    assert 'stroke-dasharray="2 1.2"' in sieve
    assert 'stroke-dasharray="2 1.2"' not in pan
    assert 'stroke-dasharray="1 2"' not in pan


def test_the_column_stands_one_piece_to_a_row():
    pieces = [NestPiece("4 mm", 10), NestPiece("1 mm", 20), NestPiece("Pan", 5, is_pan=True)]

    root = ElementTree.fromstring(nest_column(pieces, row_height=30))

    assert root.get("height") == "90.00"
    assert root.get("aria-label").index("4 mm") < root.get("aria-label").index("Pan")


def test_without_a_limit_the_fill_is_pale_and_says_what_it_is():
    limited = nest_piece(NestPiece("1 mm", 50))
    compared = nest_piece(NestPiece("1 mm", share_pct=50))

    assert "50 % of the mass of the heaviest fraction" in compared
    assert f'fill="{PALE_LICHEN}"' in compared
    assert f'fill="{PALE_LICHEN}"' not in limited
    assert f'fill="{LICHEN}"' not in compared


def test_an_empty_nest_is_an_empty_drawing():
    assert ElementTree.fromstring(nest_column([])).get("role") == "img"


def test_a_thumbnail_has_no_words_but_a_description():
    root = ElementTree.fromstring(thumbnail(make_figure()))

    assert not [it for it in root.iter() if it.tag.endswith("}text")]
    assert "Sample 26-0148" in root.get("aria-label")


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_no_name_becomes_markup(text):
    drawings = (
        envelope_strip(Strip(text, 50)),
        nest_column([NestPiece(text, 10, unusable_reason=text)]),
        thumbnail(make_figure(title=text)),
    )

    for drawing in drawings:
        tags = {it.tag.rpartition("}")[2] for it in ElementTree.fromstring(drawing).iter()}
        assert tags <= {"svg", "title", "path", "rect"}
