"""Drawn distributions, against exact ones."""

import numpy as np
import pytest

from gradation.science.errors import OutOfRange
from gradation.science.montecarlo import confirms, monte_carlo, numerical_tolerance


def draw(function, values, covariance, seed=1):
    return monte_carlo(
        function, values, covariance, draws=40_000, generator=np.random.default_rng(seed)
    )


def test_same_seed_same_answer():
    first, second = (draw(lambda x: x, [1.0], [[1.0]]) for _ in range(2))

    assert np.array_equal(first.draws, second.draws)


def test_means_of_the_draws_are_those_of_the_inputs():
    values = draw(lambda x: x, [10.0, -3.0], [[4.0, 0.0], [0.0, 1.0]]).values

    # Sampling error of a mean: sd / sqrt(40 000) = 0.01 and 0.005; four of them.
    assert values[0] == pytest.approx(10.0, abs=0.04)
    assert values[1] == pytest.approx(-3.0, abs=0.02)


def test_normal_interval_is_one_point_nine_six():
    low, high = draw(lambda x: x, [10.0], [[4.0]]).interval(0.95)

    # Sampling error of a 2.5 % quantile: sqrt(p(1-p)/N)/density = 0.027 for sd 2; four of them.
    assert [low[0], high[0]] == pytest.approx([10 - 3.92, 10 + 3.92], abs=0.11)


def test_shortest_interval_of_a_skew_distribution_is_shorter_and_holds_its_share():
    sampled = draw(lambda x: np.exp(x), [0.0], [[1.0]])

    low, high = sampled.shortest_interval(0.9)
    even_low, even_high = sampled.interval(0.9)

    inside = ((sampled.draws >= low) & (sampled.draws <= high)).mean()
    assert high[0] - low[0] < even_high[0] - even_low[0]
    assert inside == pytest.approx(0.9, abs=1e-3)


def test_fully_correlated_inputs_are_allowed():
    sampled = draw(lambda x: x[:, 0] - x[:, 1], [5.0, 5.0], [[1.0, 1.0], [1.0, 1.0]])

    assert sampled.standard[0] == pytest.approx(0.0, abs=1e-6)
    assert sampled.covariance.shape == (1, 1)


@pytest.mark.parametrize(
    ("standard", "digits", "delta"),
    # JCGM 101:2008, 7.9.2, examples (from memory): 0.00035 g with two digits gives 0.000005 g,
    # 2 K with one digit gives 0.5 K. 0.0996 with two digits is written 0.10.
    [(0.00035, 2, 0.000005), (2.0, 1, 0.5), (0.0996, 2, 0.005)],
)
def test_numerical_tolerance(standard, digits, delta):
    assert numerical_tolerance(standard, digits) == pytest.approx(delta, rel=1e-9)


def test_a_first_order_interval_that_is_wrong_is_not_confirmed():
    # x^2 at 0: first order gives no spread at all, the draws a mean of 1.
    sampled = draw(lambda x: x**2, [0.0], [[1.0]])

    assert confirms(sampled, np.array([0.0]), np.array([0.0]))[0] > 10


def test_refusals():
    with pytest.raises(OutOfRange, match="100 draws"):
        monte_carlo(lambda x: x, [1.0], [[1.0]], draws=99, generator=np.random.default_rng(0))
    with pytest.raises(OutOfRange, match="above zero"):
        numerical_tolerance(0.0)
