"""Limits that no curve can keep, found as a circle of bounds; checked by a linear programme."""

from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from gradation.science.envelope_consistency import (
    clash_of,
    line_words,
    neighbour_lines,
    outside_the_series,
)
from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.envelope_library import library

SIZES = (4000, 2000, 1000, 500)


def line(size, low=None, high=None, kind=LineKind.PASSING, finer=None, **more):
    return EnvelopeLine(
        kind,
        Decimal(size),
        None if finer is None else Decimal(finer),
        minimum=None if low is None else Decimal(low),
        maximum=None if high is None else Decimal(high),
        **more,
    )


def test_finer_minimum_above_a_coarser_maximum_is_named_with_both():
    clash = clash_of([line(4000, "90"), line(2000, None, "50"), line(500, "60", "70")])

    assert clash.positions == (1, 2)
    assert "2 mm passing at most 50 %" in clash.sentence
    assert "500 µm passing at least 60 and at most 70 %" in clash.sentence


def test_fractions_that_sum_beyond_the_whole_are_named():
    # 60 % between 4 and 2 mm and 50 % between 1 and 0.5 mm: 110 % of one material.
    clash = clash_of(
        [
            line(4000, "60", kind=LineKind.BETWEEN, finer=2000),
            line(1000, "50", kind=LineKind.BETWEEN, finer=500),
        ]
    )

    assert clash.positions == (0, 1)


def test_retained_is_held_against_passing():
    # At most 20 % retained at 1 mm is at least 80 % passing.
    assert clash_of([line(1000, None, "20", LineKind.RETAINED), line(2000, None, "70")])
    assert clash_of([line(1000, None, "20", LineKind.RETAINED), line(2000, None, "90")]) is None


@pytest.mark.parametrize(
    ("alone", "said"),
    [
        (line(1000, "101"), "1 mm passing at least 101 %"),
        (line(1000, "100", is_inclusive=False), "1 mm passing at least 100 %"),
        (line(1000, None, "0", LineKind.RETAINED, is_inclusive=False), "1 mm retained at most 0 %"),
    ],
)
def test_limit_that_no_curve_keeps_is_named_alone(alone, said):
    clash = clash_of([line(2000, "50"), alone])

    assert clash.positions == (1,)
    assert clash.sentence == (
        f"No curve can keep this limit: {said}. A passing lies between 0 and 100 %."
    )


def test_lines_are_named_as_the_trade_writes_them():
    of_a_value = EnvelopeLine(
        LineKind.CHARACTERISTIC, characteristic="fineness_modulus", maximum=Decimal("3.1")
    )

    assert line_words(of_a_value) == "fineness modulus"
    assert line_words(line(2000, "5", kind=LineKind.BETWEEN, finer=500)) == "2 mm to 500 µm"
    assert line_words(line(75, None, "3")) == "75 µm passing"


def test_limits_that_only_meet_can_be_kept_unless_one_is_itself_outside():
    meets = [line(2000, None, "50"), line(1000, "50")]
    strict = [line(2000, None, "50", is_inclusive=False), line(1000, "50")]

    assert clash_of(meets) is None
    assert clash_of(strict).positions == (0, 1)


def test_target_and_tolerance_count_as_limits():
    aimed = line(1000, target=Decimal(80), tolerance=Decimal(5))

    assert clash_of([line(2000, None, "70"), aimed]).positions == (0, 1)


def test_every_published_grading_can_be_kept():
    assert [entry.key for entry in library() if clash_of(entry.lines)] == []


def programme_is_feasible(lines):
    """Ask a general linear programme the same question."""
    count = len(SIZES)
    rows, ends = [], []

    def bound(weights, most):
        row = np.zeros(count)
        for size, weight in weights:
            row[SIZES.index(size)] += weight
        rows.append(row)
        ends.append(most)

    for coarse, fine in pairwise(SIZES):
        bound([(fine, 1), (coarse, -1)], 0)
    for each in lines:
        weights = [(int(each.aperture_um), 1)]
        if each.kind is LineKind.BETWEEN:
            weights.append((int(each.finer_um), -1))
        low, high = each.minimum, each.maximum
        if each.kind is LineKind.RETAINED:
            low, high = (
                None if high is None else 100 - high,
                None if low is None else 100 - low,
            )
        if high is not None:
            bound(weights, float(high))
        if low is not None:
            bound([(size, -weight) for size, weight in weights], -float(low))
    found = linprog(np.zeros(count), A_ub=rows, b_ub=ends, bounds=[(0, 100)] * count)
    return found.status == 0


@st.composite
def limits(draw):
    kind = draw(st.sampled_from([LineKind.PASSING, LineKind.RETAINED, LineKind.BETWEEN]))
    first, second = sorted(draw(st.lists(st.sampled_from(SIZES), min_size=2, max_size=2,
                                         unique=True)), reverse=True)  # fmt: skip
    low, high = sorted(draw(st.tuples(st.integers(0, 100), st.integers(0, 100))))
    ends = draw(st.sampled_from([(low, high), (low, None), (None, high)]))
    finer = second if kind is LineKind.BETWEEN else None
    return line(first, *ends, kind=kind, finer=finer)


@settings(max_examples=150, deadline=None)
@given(st.lists(limits(), min_size=1, max_size=6))
def test_a_clash_is_found_exactly_when_a_linear_programme_finds_no_curve(lines):
    clash = clash_of(lines)

    assert (clash is None) == programme_is_feasible(lines)
    if clash is not None:  # the lines named are enough to contradict each other
        assert not programme_is_feasible([lines[place] for place in clash.positions])


def test_neighbours_are_those_of_the_specification_and_own_lines_go_before():
    own = line(2000, None, "30", LineKind.BETWEEN, 1000)
    lines = [line(4000, "90"), line(2000, "60"), own, line(1000, "30")]

    added = neighbour_lines(lines, Decimal(45))

    assert [(each.aperture_um, each.finer_um, each.maximum) for each in added] == [(4000, 2000, 45)]
    assert neighbour_lines(lines, None) == ()


def test_sizes_of_either_series_are_standard_and_others_are_named():
    assert outside_the_series(line(4750, "90")) == ()  # ASTM E11 and ISO R 40/3
    assert outside_the_series(line(63, "1")) == ()
    assert outside_the_series(line(5000, "90", kind=LineKind.BETWEEN, finer=640)) == (640,)
