"""How figures and dates are written."""

import pytest

from gradation.documents.figures import (
    aligned,
    as_number,
    shown_date,
    shown_days,
    shown_moment,
    written,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("0", "0"),
        ("9999.5", "9999.5"),
        ("12500", "12\u2009500"),
        ("1234567.890", "1\u2009234\u2009567.890"),
        ("-0.3", "−0.3"),
        ("< 75", "<75"),
        ("n.d.", "n.d."),
        ("", ""),
    ],
)
def test_figures_have_thin_spaces_and_a_true_minus(value, text):
    assert written(value) == text


@pytest.mark.parametrize(
    "column",
    [["100", "4.8", "12.25"], ["1", "2"], ["0.063", "45", "31.5"], ["-1.5", "20"]],
)
def test_every_figure_with_its_tail_has_the_same_width_right_of_the_point(column):
    rights = {len((it.text + it.tail).partition(".")[2]) for it in aligned(column)}

    assert len(rights) == 1


def test_the_tail_shows_nothing_that_was_not_reported():
    assert [it.text for it in aligned(["100", "4.8", "", "n.d."])] == ["100", "4.8", "–", "n.d."]


def test_words_and_dashes_have_no_tail():
    assert [it.tail for it in aligned(["4.8", "", "n.d."])] == ["", "", ""]


@pytest.mark.parametrize(
    ("text", "number"),
    [("4.8", 4.8), ("-1", -1.0), ("", None), ("n.d.", None), ("< 75", None), ("1e5", None)],
)
def test_only_a_plain_figure_is_a_number(text, number):
    assert as_number(text) == number


def test_a_day_is_written_without_a_time_and_a_moment_with_its_zone():
    assert shown_date("2026-11-04") == "4 Nov 2026"
    assert shown_moment("2026-11-04T09:05:59+05:30") == "4 Nov 2026 09:05 (UTC+05:30)"
    assert shown_moment("unknown") == "unknown"


@pytest.mark.parametrize(
    ("first", "last", "text"),
    [
        ("2026-11-23", "2026-11-23", "23 Nov 2026"),
        ("2026-11-23", "2026-11-24", "23 to 24 Nov 2026"),
        ("2026-11-30", "2026-12-01", "30 Nov 2026 to 1 Dec 2026"),
        ("2025-12-31", "2026-12-31", "31 Dec 2025 to 31 Dec 2026"),
    ],
)
def test_work_over_several_days_shows_the_first_and_the_last(first, last, text):
    assert shown_days(first, last) == text
