"""Scores of a comparison, robust means, Deming line and limits of agreement."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats
from statsmodels.robust.scale import Huber

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality import comparison, scores
from gradation.science.quality.scores import ScoreVerdict

RESULTS = [10.1, 10.4, 9.8, 10.0, 10.3, 9.9, 10.2, 14.0, 10.1, 9.7]
FIRST = [12.0, 25.0, 31.0, 44.0, 58.0, 63.0, 79.0, 88.0]
SECOND = [13.5, 24.0, 33.0, 46.5, 57.0, 67.0, 80.0, 92.0]


def test_algorithm_a_satisfies_its_own_equations():
    found = scores.algorithm_a(RESULTS)

    drawn = np.clip(
        RESULTS,
        found.mean - 1.5 * found.standard_deviation,
        found.mean + 1.5 * found.standard_deviation,
    )
    assert found.mean == pytest.approx(drawn.mean(), rel=1e-10)
    assert found.standard_deviation == pytest.approx(1.134 * drawn.std(ddof=1), rel=1e-9)


def test_algorithm_a_is_hubers_proposal_two():
    # the same estimator with c = 1.5; 1.134 is its factor rounded, so 1e-3 or so
    location, scale = Huber(c=1.5, tol=1e-12, maxiter=500)(np.array(RESULTS))

    found = scores.algorithm_a(RESULTS)

    assert float(found.mean) == pytest.approx(float(location), rel=1e-3)
    assert float(found.standard_deviation) == pytest.approx(float(scale), rel=2e-3)


def test_algorithm_a_ignores_how_far_an_outlier_lies():
    far = [*RESULTS[:7], 1000.0, *RESULTS[8:]]

    assert float(scores.algorithm_a(far).mean) == pytest.approx(
        float(scores.algorithm_a(RESULTS).mean), rel=1e-10
    )


def test_algorithm_a_starts_even_when_most_results_are_equal():
    found = scores.algorithm_a([10.0, 10.0, 10.0, 10.0, 11.0])

    assert 10.0 <= float(found.mean) < 10.2
    assert np.isfinite(found.standard_deviation)


def test_equal_results_have_no_spread():
    found = scores.algorithm_a([10.0] * 4)

    assert (float(found.mean), float(found.standard_deviation)) == (10.0, 0.0)


def test_robust_means_of_columns_equal_one_by_one():
    table = np.column_stack([RESULTS, np.array(RESULTS) * 2 + 1])

    for estimate in (scores.algorithm_a, scores.quartile_estimate):
        batch = estimate(table)

        alone = [estimate(column) for column in table.T]
        assert batch.mean == pytest.approx(np.array([float(one.mean) for one in alone]))
        assert batch.standard_deviation == pytest.approx(
            np.array([float(one.standard_deviation) for one in alone])
        )


@given(st.lists(st.floats(0, 100), min_size=3, max_size=20), st.floats(0.5, 9), st.floats(-9, 9))
def test_quartile_estimate_follows_scale_and_shift(values, scale, shift):
    one = scores.quartile_estimate(values)

    other = scores.quartile_estimate(np.array(values) * scale + shift)

    assert float(other.mean) == pytest.approx(float(one.mean) * scale + shift, abs=1e-6)
    assert float(other.standard_deviation) == pytest.approx(
        float(one.standard_deviation) * scale, abs=1e-6
    )


def test_iqr_factor_makes_the_quartiles_those_of_a_normal():
    assert pytest.approx(1 / (2 * stats.norm.ppf(0.75)), abs=5e-5) == scores.IQR_FACTOR
    assert pytest.approx(1 / stats.norm.ppf(0.75), abs=5e-4) == scores.MAD_FACTOR


def test_uncertainty_of_the_assigned_value():
    found = scores.quartile_estimate(RESULTS)

    assert found.u_mean == pytest.approx(1.25 * found.standard_deviation / np.sqrt(10))


def test_uncertain_assigned_value_softens_the_score():
    # sqrt(0.3^2 + 0.4^2) = 0.5
    assert float(scores.z_scores(52.0, 50.0, 0.4)) == pytest.approx(5.0)
    assert float(scores.z_scores(52.0, 50.0, 0.4, u_assigned=0.3)) == pytest.approx(4.0)


def test_en_is_half_of_zeta_at_a_coverage_of_two():
    zeta = scores.zeta_scores([51.0, 49.0], [0.4, 0.5], 50.0, 0.3)
    en = scores.en_scores([51.0, 49.0], [0.8, 1.0], 50.0, 0.6)

    assert en == pytest.approx(zeta / 2)


@pytest.mark.parametrize(
    ("score", "verdict"),
    [
        (2.0, ScoreVerdict.SATISFACTORY),
        (-2.01, ScoreVerdict.QUESTIONABLE),
        (2.99, ScoreVerdict.QUESTIONABLE),
        (-3.0, ScoreVerdict.UNSATISFACTORY),
    ],
)
def test_bounds_of_z_verdicts(score, verdict):
    assert scores.verdict_of_z(score) is verdict


def test_bounds_of_en_verdicts():
    assert scores.verdict_of_en(-0.99) is ScoreVerdict.SATISFACTORY
    assert scores.verdict_of_en(1.0) is ScoreVerdict.UNSATISFACTORY


@pytest.mark.parametrize(
    "refused",
    [
        lambda: scores.z_scores(1.0, 1.0, 0.0),
        lambda: scores.z_scores(1.0, 1.0, 1.0, u_assigned=-1.0),
        lambda: scores.zeta_scores(1.0, 0.0, 1.0, 0.0),
        lambda: scores.en_scores(1.0, -1.0, 1.0, 1.0),
        lambda: comparison.deming(FIRST, SECOND, variance_ratio=0.0),
        lambda: comparison.agreement(FIRST, SECOND, confidence=1.0),
    ],
)
def test_scores_without_a_scale_are_refused(refused):
    with pytest.raises(OutOfRange):
        refused()


@pytest.mark.parametrize(
    "refused",
    [
        lambda: scores.algorithm_a([1.0, 2.0]),
        lambda: scores.quartile_estimate([1.0, float("nan")]),
        lambda: scores.verdict_of_z(float("nan")),
        lambda: comparison.deming(FIRST, SECOND[:-1]),
        lambda: comparison.deming([1.0, 2.0, 3.0], [1.0, 3.0, 1.0]),
        lambda: comparison.agreement([1.0, 2.0], [1.0, 2.0]),
    ],
)
def test_too_little_to_compare_is_refused(refused):
    with pytest.raises(NotDeterminable):
        refused()


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
def test_deming_line_has_the_least_weighted_distances(ratio):
    # errors share in the ratio of variances: sum (y - a - b x)^2 / (ratio + b^2) is least
    x, y = np.array(FIRST), np.array(SECOND)

    def distances(slope: float) -> float:
        off = (y - y.mean()) - slope * (x - x.mean())
        return float(np.sum(off**2) / (ratio + slope**2))

    least = optimize.minimize_scalar(distances, bounds=(0.5, 2.0), options={"xatol": 1e-12})

    line = comparison.deming(FIRST, SECOND, variance_ratio=ratio)

    assert line.slope.value == pytest.approx(least.x, rel=1e-6)
    assert line.intercept.value == pytest.approx(y.mean() - least.x * x.mean(), abs=1e-4)


def test_deming_line_turned_about_is_its_inverse():
    forth = comparison.deming(FIRST, SECOND)
    back = comparison.deming(SECOND, FIRST)

    assert forth.slope.value * back.slope.value == pytest.approx(1.0, rel=1e-12)


def test_falling_line_keeps_its_sign():
    line = comparison.deming([1.0, 2.0, 3.0, 4.0], [8.0, 6.0, 4.0, 2.0])

    assert line.slope.value == pytest.approx(-2.0)
    assert line.slope_differs


def test_offset_between_methods_is_seen():
    wiggle = np.array([0.1, -0.1, 0.1, -0.1, -0.1, 0.1, -0.1, 0.1])

    line = comparison.deming(FIRST, np.array(FIRST) + 5 + wiggle)

    assert not line.slope_differs
    assert line.intercept_differs


def test_bias_interval_is_the_paired_t_test():
    expected = stats.ttest_rel(SECOND, FIRST).confidence_interval(0.95)

    found = comparison.agreement(FIRST, SECOND)

    assert (found.bias.low, found.bias.high) == pytest.approx((expected.low, expected.high))


def test_sentence_tells_bias_from_none():
    shifted = comparison.agreement([1.0, 2.0, 3.0], [2.0, 3.1, 4.0])
    same = comparison.agreement([1.0, 2.0, 3.0], [1.1, 1.9, 3.0])

    assert "differs from the first by +1.03" in shifted.sentence
    assert "No bias is shown" in same.sentence
