"""Capability, its intervals, and share within limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.capability import (
    ProcessLimits,
    WithinSigma,
    capability,
    expected_outside,
    indices_from_summary,
    moving_range_sigma,
    share_within_limits,
    subgroup_sigma,
)

VALUES = [14.0, 17.0, 15.0, 18.0, 16.0, 13.0, 16.0, 19.0, 15.0, 17.0]
LIMITS = ProcessLimits(8.0, 20.0, target=14.0)


def test_indices_by_their_definitions():
    mean, sd = np.mean(VALUES), np.std(VALUES, ddof=1)
    within = np.mean(np.abs(np.diff(VALUES))) / 1.128379

    found = capability(VALUES, LIMITS)

    assert found.cp.value == pytest.approx(12 / (6 * within), rel=1e-6)
    assert found.cpk.value == pytest.approx((20 - mean) / (3 * within), rel=1e-6)
    assert found.pp.value == pytest.approx(12 / (6 * sd))
    assert found.ppk.value == pytest.approx((20 - mean) / (3 * sd))
    assert found.cpm == pytest.approx(12 / (6 * np.hypot(sd, mean - 14)))
    assert found.observed_outside == 0.0


def test_pp_interval_is_that_of_the_deviation():
    # exact: s^2 (n-1) / sigma^2 is chi-squared, so sigma's interval turned about
    sd = np.std(VALUES, ddof=1)
    low_sd, high_sd = sd * np.sqrt(9 / stats.chi2.ppf([0.975, 0.025], 9))

    found = capability(VALUES, LIMITS)

    assert found.pp.low == pytest.approx(12 / (6 * high_sd), rel=1e-10)
    assert found.pp.high == pytest.approx(12 / (6 * low_sd), rel=1e-10)


def test_ppk_interval_by_its_formula():
    found = capability(VALUES, LIMITS)

    half = stats.norm.ppf(0.975) * np.sqrt(1 / 90 + found.ppk.value**2 / 18)
    assert found.ppk.high - found.ppk.value == pytest.approx(half, rel=1e-10)
    assert found.ppk.value - found.ppk.low == pytest.approx(half, rel=1e-10)


def test_moving_range_freedom_agrees_with_simulation():
    # relative variance of the estimate is 1 / (2 freedom)
    rng = np.random.default_rng(2010)
    ranges = np.abs(np.diff(rng.standard_normal((40_000, 25)), axis=1)).mean(axis=1)
    estimates = ranges / (2 / np.sqrt(np.pi))

    freedom = moving_range_sigma(np.arange(25.0) % 2).freedom

    # standard error of a variance of 40 000 values is 0.7 %
    assert 1 / (2 * freedom) == pytest.approx(estimates.var(), rel=0.03)


def test_given_short_time_scatter_is_used():
    found = capability(VALUES, LIMITS, within=WithinSigma(1.0, 30.0))

    assert found.cp.value == 2.0


def test_one_limit_gives_the_nearer_index_only():
    found = capability(VALUES, ProcessLimits(upper=18.0))

    assert np.isnan(found.cp.value)
    assert np.isnan(found.cpm)
    assert found.ppk.value == pytest.approx((18 - 16) / (3 * np.std(VALUES, ddof=1)))
    assert found.observed_outside == pytest.approx(0.1)


def test_expected_outside_by_the_normal_distribution():
    assert expected_outside(LIMITS, 16.0, 2.0) == pytest.approx(
        stats.norm.cdf(-4) + stats.norm.sf(2), rel=1e-12
    )


def test_share_within_of_four_results_is_a_straight_line_in_q():
    # n = 4: beta(1, 1) is uniform, share = 1/2 + Q/3
    values = np.array([10.0, 12.0, 14.0, 16.0])
    Q = (18.0 - 13.0) / values.std(ddof=1)

    share = share_within_limits(values, ProcessLimits(upper=18.0))

    assert share == pytest.approx(min(1.0, 0.5 + Q / 3))
    assert share_within_limits(values, ProcessLimits(upper=14.0)) == pytest.approx(
        0.5 + (1.0 / values.std(ddof=1)) / 3
    )


def test_share_within_of_three_results_by_the_arcsine():
    # n = 3: beta(1/2, 1/2) has the distribution (2 / pi) asin(sqrt(x))
    values = np.array([10.0, 12.0, 15.0])
    Q = (14.0 - values.mean()) / values.std(ddof=1)
    x = 0.5 - Q * np.sqrt(3) / 4

    share = share_within_limits(values, ProcessLimits(upper=14.0))

    assert share == pytest.approx(1 - 2 / np.pi * np.arcsin(np.sqrt(x)))


def test_shares_outside_two_limits_add():
    lower = 1 - share_within_limits(VALUES, ProcessLimits(lower=13.5))
    upper = 1 - share_within_limits(VALUES, ProcessLimits(upper=18.5))

    both = 1 - share_within_limits(VALUES, ProcessLimits(13.5, 18.5))

    assert both == pytest.approx(lower + upper)


def test_share_within_is_the_integral_of_the_beta_density():
    values = np.array(VALUES)
    n, Q = 10, (18.0 - values.mean()) / values.std(ddof=1)
    edge = 0.5 - Q * np.sqrt(n) / (2 * (n - 1))
    area, _ = integrate.quad(lambda t: stats.beta.pdf(t, n / 2 - 1, n / 2 - 1), 0, edge)

    assert share_within_limits(values, ProcessLimits(upper=18.0)) == pytest.approx(1 - area)


def test_results_all_equal_are_in_or_out():
    assert share_within_limits([5.0] * 4, ProcessLimits(4.0, 6.0)) == 1.0
    assert share_within_limits([7.0] * 4, ProcessLimits(4.0, 6.0)) == 0.0


def test_process_without_scatter_cannot_be_judged():
    with pytest.raises(NotDeterminable):
        capability([5.0] * 5, LIMITS)
    with pytest.raises(NotDeterminable, match="All values are equal"):
        capability([5.0] * 5, LIMITS, within=WithinSigma(1.0, 30.0))


def test_subgroups_without_scatter_of_their_own_are_not_called_equal():
    with pytest.raises(NotDeterminable, match="within each subgroup are equal"):
        subgroup_sigma([[11.0, 11.0], [14.0, 14.0]])
    with pytest.raises(NotDeterminable, match="within each subgroup are equal"):
        capability([11.0, 11.0, 14.0, 14.0], LIMITS, within=WithinSigma(0.0, 2.0))


@pytest.mark.parametrize(
    "refused",
    [
        lambda: capability(VALUES, ProcessLimits()),
        lambda: capability(VALUES, ProcessLimits(20.0, 8.0)),
        lambda: capability(VALUES, LIMITS, confidence=0.0),
        lambda: indices_from_summary(LIMITS, 16.0, 0.0),
        lambda: expected_outside(LIMITS, 16.0, -1.0),
    ],
)
def test_senseless_limits_are_refused(refused):
    with pytest.raises(OutOfRange):
        refused()


def test_scatter_within_subgroups_is_pooled():
    """Rows 1, 3 and 2, 6 have the variances 2 and 8: s = sqrt(10 / 2), on 2 degrees of freedom."""
    found = subgroup_sigma([[1.0, 3.0], [2.0, 6.0]])

    assert found.sigma == pytest.approx(5**0.5, rel=1e-12)
    assert found.freedom == 2


def test_levels_of_subgroups_do_not_widen_the_scatter_within_them():
    assert subgroup_sigma([[1.0, 3.0], [101.0, 103.0]]).sigma == pytest.approx(2**0.5, rel=1e-12)


@pytest.mark.parametrize("table", [[], [[1.0]], [1.0, 2.0], [[1.0, float("nan")]], [[2.0, 2.0]]])
def test_scatter_within_subgroups_needs_subgroups_that_scatter(table):
    with pytest.raises(NotDeterminable):
        subgroup_sigma(table)
