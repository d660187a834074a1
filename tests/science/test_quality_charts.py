"""Control charts, charts with memory and run rules."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.control_charts import (
    Spread,
    constants,
    counts_limits,
    individuals_chart,
    individuals_limits,
    limits_from_summary,
    subgroup_chart,
    subgroup_limits,
)
from gradation.science.quality.run_rules import (
    RULES_OF_1956,
    RULES_OF_1984,
    RunRule,
    rule_hits,
    signals,
)
from gradation.science.quality.weighted_charts import (
    cumulative_sum_chart,
    moving_mean_chart,
    weighted_mean_chart,
)

SUBGROUPS = [[4.0, 6.0, 5.0], [5.0, 9.0, 7.0], [6.0, 8.0, 4.0]]


@pytest.mark.parametrize("n", [2, 5, 10, 25])
def test_factor_d2_is_the_mean_range_of_normals(n):
    def beside(x: float) -> float:
        return 1 - special.ndtr(x) ** n - special.ndtr(-x) ** n

    expected, _ = integrate.quad(beside, -10, 10, epsabs=1e-11)

    assert constants(n).d2 == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("n", [2, 5, 10, 25])
def test_factor_c4_by_its_closed_form(n):
    expected = np.sqrt(2 / (n - 1)) * special.gamma(n / 2) / special.gamma((n - 1) / 2)

    assert constants(n).c4 == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("n", range(2, 26))
def test_factors_agree_among_themselves(n):
    k = constants(n)

    assert pytest.approx(3 / (k.d2 * n**0.5), abs=2e-6) == k.A2
    assert pytest.approx(3 / (k.c4 * n**0.5), abs=4e-6) == k.A3
    assert pytest.approx(1 + 3 * k.d3 / k.d2, abs=4e-6) == k.D4
    assert pytest.approx(max(0.0, 1 - 3 * k.d3 / k.d2), abs=4e-6) == k.D3
    assert pytest.approx(1 + 3 * np.sqrt(1 - k.c4**2) / k.c4, abs=2e-5) == k.B4


@pytest.mark.parametrize("n", [1, 26])
def test_subgroup_size_outside_the_table_is_refused(n):
    with pytest.raises(OutOfRange):
        constants(n)


def test_frozen_limits_do_not_move_with_later_points():
    base = [50.0, 52.0, 49.0, 51.0, 50.0]
    frozen = individuals_limits(base)

    chart = individuals_chart([*base, 80.0], frozen)

    # ranges 2, 3, 2, 1: mean 2; sigma 2 / 1.128379; mean 50.4
    assert chart.limits.upper == pytest.approx(50.4 + 6 / 1.128379, abs=1e-9)
    assert chart.outside == (5,)
    assert chart.spread_outside == (5,)


def test_mean_and_range_by_hand():
    chart = subgroup_chart(SUBGROUPS)

    # means 5, 7, 6; ranges 2, 4, 4: mean range 10/3
    assert chart.points.tolist() == [5.0, 7.0, 6.0]
    assert chart.spread.tolist() == [2.0, 4.0, 4.0]
    assert chart.limits.upper == pytest.approx(6 + 1.023327 * 10 / 3, abs=1e-9)
    assert chart.limits.point_sigma == pytest.approx(10 / 3 / 1.692569 / 3**0.5, abs=1e-9)


def test_mean_and_standard_deviation_by_hand():
    limits = subgroup_limits(SUBGROUPS, Spread.STANDARD_DEVIATION)

    # deviations 1, 2, 2: mean 5/3
    assert limits.spread_centre == pytest.approx(5 / 3)
    assert limits.lower == pytest.approx(6 - 1.954410 * 5 / 3, abs=1e-9)
    assert limits.sigma == pytest.approx(5 / 3 / 0.886227, abs=1e-9)


def test_point_on_the_limit_is_inside():
    limits = counts_limits([16.0, 16.0])

    assert individuals_chart([28.0, 28.1], limits).outside == (1,)


def test_chart_without_scatter_still_shows_a_change():
    chart = individuals_chart([5.0, 5.0, 6.0], individuals_limits([5.0, 5.0]))

    assert chart.standardised.tolist() == [0.0, 0.0, np.inf]
    assert signals(chart.standardised)[0].rule is RunRule.BEYOND_THREE_SIGMA


def test_limits_of_another_size_are_refused():
    with pytest.raises(OutOfRange):
        individuals_chart([1.0, 2.0], subgroup_limits(SUBGROUPS))
    with pytest.raises(OutOfRange):
        subgroup_chart([[1.0, 2.0]], subgroup_limits(SUBGROUPS))


@pytest.mark.parametrize(
    "values", [[1.0], [1.0, float("nan")], [[1.0, 2.0]]], ids=["one", "gap", "table"]
)
def test_series_that_cannot_be_charted_are_refused(values):
    with pytest.raises(NotDeterminable):
        individuals_limits(values)


@pytest.mark.parametrize("table", [[[1.0, 2.0], [1.0]], [[1.0]], [[1.0, float("nan")]], [1.0, 2.0]])
def test_subgroups_that_cannot_be_charted_are_refused(table):
    with pytest.raises(NotDeterminable):
        subgroup_limits(table)


def test_negative_count_is_refused():
    with pytest.raises(OutOfRange):
        counts_limits([1.0, -1.0])


def test_weight_of_one_is_the_plain_chart():
    chart = weighted_mean_chart([49.0, 51.0, 56.5], 50.0, 2.0, weight=1.0)

    assert chart.points.tolist() == [49.0, 51.0, 56.5]
    assert chart.upper.tolist() == [56.0, 56.0, 56.0]
    assert chart.outside == (2,)


def test_weighted_mean_limits_have_the_variance_of_the_sum():
    # z_3 = w x3 + w(1-w) x2 + w(1-w)^2 x1 + rest constant: variance by adding squares
    w = 0.25
    coefficients = np.array([w * (1 - w) ** 2, w * (1 - w), w])

    chart = weighted_mean_chart([1.0, 2.0, 3.0], 0.0, 1.5, weight=w)

    assert chart.upper[2] == pytest.approx(3 * 1.5 * np.sqrt(np.sum(coefficients**2)))
    assert chart.points[2] == pytest.approx(coefficients @ [1.0, 2.0, 3.0])


def test_moving_mean_by_hand():
    chart = moving_mean_chart([2.0, 4.0, 9.0, 5.0], 4.0, 1.0, span=3)

    assert chart.points == pytest.approx(np.array([2.0, 3.0, 5.0, 6.0]))
    assert chart.upper == pytest.approx(4 + 3 / np.sqrt([1, 2, 3, 3]))
    assert chart.outside == (3,)


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=40), st.integers(1, 8))
def test_moving_mean_equals_the_mean_of_the_window(values, span):
    chart = moving_mean_chart(values, 0.5, 1.0, span=span)

    expected = [np.mean(values[max(0, i - span + 1) : i + 1]) for i in range(len(values))]
    assert chart.points == pytest.approx(np.array(expected), abs=1e-9)


def test_cumulative_sums_mirror_each_other():
    values = np.array([0.4, 1.2, -0.7, 2.0])

    up = cumulative_sum_chart(values, 0.0, allowance=0.5, decision=2.0)
    down = cumulative_sum_chart(-values, 0.0, allowance=0.5, decision=2.0)

    assert up.high == pytest.approx(down.low)
    # 0, 0.7, 0 (0.7 - 0.7 - 0.5 < 0), 1.5
    assert up.high == pytest.approx(np.array([0.0, 0.7, 0.0, 1.5]))


@pytest.mark.parametrize(
    "refused",
    [
        lambda: weighted_mean_chart([1.0], 0.0, 1.0, weight=0.0),
        lambda: weighted_mean_chart([1.0], 0.0, 1.0, width=0.0),
        lambda: weighted_mean_chart([1.0], 0.0, -1.0),
        lambda: moving_mean_chart([1.0], 0.0, 1.0, span=0),
        lambda: cumulative_sum_chart([1.0], 0.0, allowance=-0.1, decision=1.0),
        lambda: limits_from_summary(10.0, -1.0, 3, Spread.RANGE, 25),
        lambda: limits_from_summary(10.0, float("nan"), 3, Spread.RANGE, 25),
    ],
)
def test_senseless_chart_settings_are_refused(refused):
    with pytest.raises(OutOfRange):
        refused()


def test_chart_without_a_centre_is_refused():
    with pytest.raises(NotDeterminable):
        weighted_mean_chart([1.0], float("nan"), 1.0)


PATTERNS = {
    RunRule.BEYOND_THREE_SIGMA: ([0.0, 3.1], [0.0, 3.0]),
    RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA: ([2.1, 0.0, 2.1], [2.1, 0.0, -2.1]),
    RunRule.FOUR_OF_FIVE_BEYOND_ONE_SIGMA: (
        [-1.1, -1.2, 0.5, -1.3, -1.1],
        [-1.1, -1.2, 0.5, -1.3, 1.1],
    ),
    RunRule.EIGHT_ON_ONE_SIDE: ([0.1] * 8, [0.1] * 7 + [0.0]),
    RunRule.NINE_ON_ONE_SIDE: ([-0.1] * 9, [-0.1] * 8 + [0.1]),
    RunRule.SIX_RISING_OR_FALLING: (
        [-0.3, -0.2, -0.1, 0.1, 0.2, 0.3],
        [-0.3, -0.2, -0.1, -0.1, 0.2, 0.3],
    ),
    RunRule.FOURTEEN_ALTERNATING: ([0.0, 0.5] * 7, [0.0, 0.5] * 6 + [0.5, 0.0]),
    RunRule.FIFTEEN_WITHIN_ONE_SIGMA: (
        [0.9, -0.9, 0.5] * 5,
        [0.9, -0.9, 0.5] * 4 + [0.1, 0.1, 1.0],
    ),
    RunRule.EIGHT_OUTSIDE_ONE_SIGMA: ([1.1, -1.1] * 4, [1.1, -1.1] * 3 + [1.1, -1.0]),
}


@pytest.mark.parametrize("rule", list(RunRule))
def test_each_rule_sees_its_pattern_and_spares_the_near_miss(rule):
    pattern, near_miss = PATTERNS[rule]

    assert rule_hits(pattern, rule)[-1]
    assert not rule_hits(near_miss, rule).any()
    assert rule_hits(-np.array(pattern), rule)[-1]


def test_pattern_needs_its_full_length():
    assert not rule_hits([0.1] * 7, RunRule.EIGHT_ON_ONE_SIDE).any()


def test_quiet_point_does_not_repeat_an_old_signal():
    hits = rule_hits([2.1, 2.2, 0.0], RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA)

    assert hits.tolist() == [False, False, False]


def test_signals_name_point_and_reason_in_order_of_time():
    found = signals([0.1] * 8 + [3.5], RULES_OF_1956)

    assert [(s.rule, s.first, s.position) for s in found] == [
        (RunRule.EIGHT_ON_ONE_SIDE, 0, 7),
        (RunRule.BEYOND_THREE_SIGMA, 8, 8),
        (RunRule.EIGHT_ON_ONE_SIDE, 1, 8),
    ]
    assert found[0].reason == "Eight points in a row lie on the same side of the centre."


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=30))
def test_batch_of_charts_equals_one_by_one(values):
    z = np.array([values, values[::-1]])

    for rule in RULES_OF_1984:
        batch = rule_hits(z, rule)

        assert batch[0].tolist() == rule_hits(values, rule).tolist()
        assert batch[1].tolist() == rule_hits(values[::-1], rule).tolist()


def test_first_rule_alarms_once_in_370_points():
    # two-sided normal tail beyond 3 sigma: 0.0027
    points = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)

    share = rule_hits(points, RunRule.BEYOND_THREE_SIGMA).mean()

    assert share == pytest.approx(2 * special.ndtr(-3.0), abs=1e-5)


@pytest.mark.parametrize("points", [[], [float("nan")], [[0.1, 0.2]]])
def test_points_that_cannot_be_judged_are_refused(points):
    with pytest.raises(NotDeterminable):
        signals(points)
