"""Why two benches differ: sieves, rounding, division and the rest."""

from math import isnan

import numpy as np
import pytest
from scipy import stats

from gradation.science.errors import Impossible, NotDeterminable
from gradation.science.rounding import Rounding
from gradation.science.taken_apart import BenchRuns, Rest, take_apart

NEST_UM = (400.0, 200.0, 100.0)
NAN = float("nan")


def bench(*passing_pct, measured_um=NEST_UM, decimals=1):
    """Runs by their percentages passing; the same measured apertures in each of them."""
    measured = [measured_um] * len(passing_pct)
    return BenchRuns(np.array(passing_pct) / 100, np.array(measured), Rounding(decimals))


def middle(first, second):
    return take_apart(NEST_UM, first, second)[1]


def test_every_aperture_is_told_with_second_less_first():
    found = take_apart(NEST_UM, bench((90, 50, 10)), bench((91, 53, 9)))

    assert [each.aperture_um for each in found] == list(NEST_UM)
    assert [each.first_pct for each in found] == [90, 50, 10]
    assert [each.second_pct for each in found] == [91, 53, 9]
    assert [each.difference_pct for each in found] == [1, 3, -1]


def test_wide_sieve_explains_what_it_let_through():
    # By hand, straight on log aperture: the sieve opens to 200 x 2^(1/4) µm. On the way from there
    # to 100 µm (5/4 of an octave) 200 µm lies 1/4 of an octave, so 1/5: 60 - (60 - 10)/5 = 50 %.
    # The sieve alone made 60 - 50 = 10 points, all of the difference.
    wide = (400.0, 200 * 2**0.25, 100.0)

    point = middle(bench((90, 50, 10)), bench((90, 60, 10), measured_um=wide))

    assert point.difference_pct == 10
    assert point.sieve_pct == pytest.approx(10, abs=1e-9)
    assert point.rest_pct == pytest.approx(0, abs=1e-9)


def test_wide_sieve_of_the_first_bench_counts_the_other_way():
    # The twin of the test above: the second bench passes 10 points less.
    wide = (400.0, 200 * 2**0.25, 100.0)

    point = middle(bench((90, 60, 10), measured_um=wide), bench((90, 50, 10)))

    assert (point.difference_pct, round(point.sieve_pct, 9)) == (-10, -10)
    assert point.rest_pct == pytest.approx(0, abs=1e-9)


def test_unmeasured_sieve_explains_nothing_and_leaves_all_to_the_rest():
    unmeasured = (400.0, NAN, 100.0)

    coarse, point, _ = take_apart(
        NEST_UM, bench((90, 50, 10)), bench((90, 60, 10), measured_um=unmeasured)
    )

    assert isnan(point.sieve_pct)
    assert point.rest_pct == pytest.approx(10, abs=1e-9)
    assert coarse.sieve_pct == 0  # its own sieve was measured, and opens as it should


def test_rounding_of_the_reports_is_told_apart_from_the_rest():
    # By hand: 50.4 and 50.6 % are reported as 50 and 51; of the 1 point 0.2 is real, 0.8 rounding.
    point = middle(bench((90, 50.4, 10), decimals=0), bench((90, 50.6, 10), decimals=0))

    assert (point.first_pct, point.second_pct, point.difference_pct) == (50, 51, 1)
    assert point.rounding_pct == pytest.approx(0.8, abs=1e-9)
    assert point.rest_pct == pytest.approx(0.2, abs=1e-9)


def test_benches_that_each_sieved_once_leave_the_division_unknown():
    point = middle(bench((90, 50, 10)), bench((90, 53, 10)))

    assert isnan(point.division_pct)
    assert point.rest is Rest.NOT_KNOWN


@pytest.mark.parametrize(
    ("repeated_pct", "rest"), [((54, 56), Rest.WITHIN), ((59, 61), Rest.NOT_EXPLAINED)]
)
def test_spread_of_replicates_tells_what_division_can_explain(repeated_pct, rest):
    # By hand: 50 and 52, mean 51; the other two lie 1 off their mean too. Squares 4 x 1, degrees of
    # freedom 2, s_p = sqrt(2); t(0.975; 2) = 4.303 (any t table); 4.303 x sqrt(2) x sqrt(1/2 + 1/2)
    # = 6.085. Means 4 points apart lie within it, 9 points do not.
    second = bench(*((90, each, 10) for each in repeated_pct))

    point = middle(bench((90, 50, 10), (90, 52, 10)), second)

    assert point.division_pct == pytest.approx(6.085, abs=0.001)
    assert point.rest is rest


def test_division_is_the_half_width_of_the_pooled_interval():
    # Reference: scipy's two-sample t interval with equal variances, unequal numbers of runs.
    ours, theirs = [50.0, 52.0, 51.5], [54.0, 55.5]
    interval = stats.ttest_ind(theirs, ours).confidence_interval(0.95)

    point = middle(
        bench(*((90, each, 10) for each in ours)), bench(*((90, each, 10) for each in theirs))
    )

    assert point.division_pct == pytest.approx((interval.high - interval.low) / 2, rel=1e-9)


@pytest.mark.parametrize(
    "passing", [np.empty((0, 3)), np.array([0.9, 0.5, 0.1])], ids=["no run", "no row of its own"]
)
def test_bench_without_a_run_is_refused(passing):
    empty = BenchRuns(passing, np.array(passing), Rounding(1))

    with pytest.raises(NotDeterminable, match="needs at least one run of the sample"):
        take_apart(NEST_UM, bench((90, 50, 10)), empty)


def test_bench_that_lacks_an_aperture_is_refused():
    shorter = bench((90, 50), measured_um=NEST_UM[:2])

    with pytest.raises(Impossible, match="a passing at each aperture compared"):
        take_apart(NEST_UM, bench((90, 50, 10)), shorter)


def test_measured_apertures_must_stand_beside_every_passing():
    unlike = bench((90, 50, 10), measured_um=NEST_UM[:2])

    with pytest.raises(Impossible, match="a passing at each aperture compared"):
        take_apart(NEST_UM, bench((90, 50, 10)), unlike)


def test_single_sieve_shows_no_slope_to_move_along():
    single = bench((50,), measured_um=(200.0,))

    with pytest.raises(NotDeterminable, match="Use at least two sieves"):
        take_apart(NEST_UM[1:2], single, single)
