"""Curves on common sieves: hand arithmetic, and what must hold for any curve."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.blend_lines import blend_lines, shares_on_step
from gradation.science.blend_programme import BlendLimits
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.interpolation import Interpolation
from gradation.science.side_by_side import (
    CurveGroup,
    Known,
    class_densities,
    differences,
    individual_retained,
    mean_curve,
    side_by_side,
)
from tests.published.examples import example

single = CurveGroup.single


def test_a_curve_keeps_its_own_figures_and_is_read_between_its_sieves():
    # straight on log size: 200 is midway between 100 and 400, so (0.8 + 0.4) / 2
    table = side_by_side([single([400, 100], [0.8, 0.4]), single([200], [0.5])])

    assert table.apertures_um == (400, 200, 100)
    assert table.passing[0].tolist() == pytest.approx([0.8, 0.6, 0.4])
    assert table.known[0] == (Known.MEASURED, Known.INTERPOLATED, Known.MEASURED)


def test_outside_the_measured_range_nothing_is_determined_unless_all_or_nothing_passed():
    open_ended = single([400, 200], [0.9, 0.3])
    closed = single([400, 200], [1.0, 0.0])

    table = side_by_side([open_ended, closed], further_um=[800, 100])

    assert np.isnan(table.passing[0][[0, 3]]).all()
    assert table.known[0][0] == table.known[0][3] == Known.NOT_DETERMINED
    assert table.passing[1][[0, 3]].tolist() == [1.0, 0.0]
    assert table.known[1][0] == table.known[1][3] == Known.IMPLIED


def test_each_curve_is_read_by_its_own_rule():
    # linear in size: 200 lies a third of the way from 100 to 400
    straight = single([400, 100], [0.9, 0.3], Interpolation.LINEAR)

    table = side_by_side([straight], further_um=[200])

    assert table.passing[0][1] == pytest.approx(0.5)


def test_differences_are_taken_from_the_reference_and_stay_open_where_it_is():
    table = side_by_side([single([400, 200], [0.9, 0.4]), single([400, 100], [0.8, 0.2])])

    away = differences(table, 0)

    assert away[1][:2].tolist() == pytest.approx([-0.1, (0.8 + 0.2) / 2 - 0.4])
    assert np.isnan(away[1][2])
    with pytest.raises(Impossible, match="reference"):
        differences(table, 2)


def test_plain_mean_of_increments_is_the_published_one():
    case = example("blend", "mass_weighted_increments")
    rows = np.array([each["passing"] for each in case.inputs["increments"]]) / 100

    mean = mean_curve([CurveGroup((4000.0, 2000.0, 1000.0, 500.0), rows)])

    expected = np.array(case.outputs["plain_mean"]) / 100
    assert mean.passing == pytest.approx(expected, abs=case.tolerance["percent"] / 100)
    # 82, 78 and 90 %: mean 250/3, squares of -4/3, -16/3, 20/3 add to 672/9, over 2: 37.33
    assert mean.deviation[1] == pytest.approx(np.sqrt(672 / 9 / 2) / 100)


def test_a_mean_over_two_nests_leaves_out_what_one_of_them_does_not_know():
    wide = CurveGroup((400.0, 200.0, 100.0), np.array([[0.9, 0.5, 0.1]]))
    narrow = CurveGroup((400.0, 200.0), np.array([[0.7, 0.3]]))

    mean = mean_curve([wide, narrow])

    assert mean.apertures_um == (400.0, 200.0)
    assert mean.passing.tolist() == pytest.approx([0.8, 0.4])
    assert mean.left_out_um == (100.0,)
    assert (mean.measured, mean.count) == ((2, 2), 2)


def test_nests_without_common_range_have_no_mean():
    coarse = CurveGroup((4000.0, 2000.0), np.array([[0.9, 0.5]]))
    fine = CurveGroup((400.0, 200.0), np.array([[0.9, 0.5]]))

    with pytest.raises(NotDeterminable, match="no range of sizes in common"):
        mean_curve([coarse, fine])
    with pytest.raises(NotDeterminable, match="no curve"):
        mean_curve([])


def test_a_single_curve_has_a_mean_without_spread():
    mean = mean_curve([single([400, 200], [0.9, 0.5])])

    assert mean.passing.tolist() == [0.9, 0.5]
    assert np.isnan(mean.deviation).all()


curves = st.lists(
    st.lists(st.floats(0, 1), min_size=4, max_size=4).map(lambda p: sorted(p, reverse=True)),
    min_size=1,
    max_size=6,
)


@given(curves)
def test_a_mean_never_rises_towards_finer_sieves(rows):
    mean = mean_curve([CurveGroup((800.0, 400.0, 200.0, 100.0), np.array(rows))])

    assert np.all(np.diff(mean.passing) <= 1e-12)


@given(curves)
def test_grouping_does_not_change_a_mean(rows):
    nest = (800.0, 400.0, 200.0, 100.0)

    together = mean_curve([CurveGroup(nest, np.array(rows))])
    apart = mean_curve([single(nest, row) for row in rows])

    assert apart.passing == pytest.approx(together.passing, abs=1e-12)


def test_retained_on_each_sieve_and_the_pan_make_the_whole():
    retained = individual_retained([0.9, 0.4, 0.1])

    assert retained.tolist() == pytest.approx([0.1, 0.5, 0.3])
    assert retained.sum() + 0.1 == pytest.approx(1)


def test_density_does_not_depend_on_how_the_classes_are_cut():
    # 60 % in one decade, evenly over log size: the same height in one class or in two
    one = class_densities([1000, 100], [0.8, 0.2])
    two = class_densities([1000, np.sqrt(1000 * 100), 100], [0.8, 0.5, 0.2])

    assert [each.share_per_decade for each in one] == pytest.approx([0.6])
    assert [each.share_per_decade for each in two] == pytest.approx([0.6, 0.6])
    with pytest.raises(NotDeterminable, match="two sieves"):
        class_densities([1000], [0.5])


def test_margins_line_by_line_follow_the_textbook_example():
    case = example("blend", "two_aggregates_50_50")
    low, high = (np.array(case.inputs[key]) / 100 for key in ("target_low", "target_high"))
    apertures = (12500, 9500, 4750, 2360, 1180, 600, 300, 150, 75)

    lines = blend_lines(
        np.array(case.outputs["blend"]) / 100, BlendLimits(apertures, tuple(low), tuple(high))
    )

    # No. 4: 65 against 65 to 100; No. 8: 47.5 against 40 to 80; 75 µm: 5 against 2 to 10
    assert [(round(100 * lines[i].margin, 6), lines[i].nearer) for i in (2, 3, 8)] == [
        (0.0, "lower"),
        (7.5, "lower"),
        (3.0, "lower"),
    ]
    assert all(line.is_inside for line in lines)
    assert np.isnan(lines[0].margin)  # 100 to 100 %: met only exactly


def test_a_missed_line_has_a_negative_margin():
    (line,) = blend_lines([0.5], BlendLimits((600,), (0.6,), (0.8,)))

    assert (line.is_inside, line.nearer) == (False, "lower")
    assert line.margin == pytest.approx(-0.1)
    with pytest.raises(Impossible):
        blend_lines([0.5, 0.4], BlendLimits((600,), (0.6,), (0.8,)))


@given(st.lists(st.floats(0.001, 1), min_size=1, max_size=8))
def test_shares_on_a_step_add_to_a_hundred_and_stay_within_a_step(parts):
    shares = np.array(parts) / np.sum(parts)

    shown = shares_on_step(shares, Decimal("0.1"))

    assert sum(shown) == 100
    assert all(abs(float(a) - 100 * b) < 0.1 + 1e-6 for a, b in zip(shown, shares, strict=True))


def test_a_step_that_does_not_divide_a_hundred_is_refused():
    with pytest.raises(OutOfRange, match="divide"):
        shares_on_step([0.5, 0.5], Decimal("0.3"))
    with pytest.raises(Impossible):
        shares_on_step([0.5, 0.4], Decimal("0.1"))


def test_column_of_several_curves_is_refused():
    pair = CurveGroup((2000.0, 1000.0), np.array([[0.9, 0.4], [0.8, 0.3]]))

    with pytest.raises(Impossible, match="Each column of a comparison is one curve"):
        side_by_side([pair])


@pytest.mark.parametrize("passing", [[], 0.5, np.empty((2, 0))])
def test_nothing_is_retained_without_a_sieve(passing):
    with pytest.raises(Impossible, match="Without a sieve"):
        individual_retained(passing)
