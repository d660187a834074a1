"""The law of propagation, against closed forms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.errors import OutOfRange
from gradation.science.propagation import (
    correlation_of,
    covariance_from,
    coverage_factor,
    effective_degrees_of_freedom,
    jacobian,
    propagate,
)


def test_numerical_slopes_agree_with_calculus():
    at = np.array([1.3, 0.7, 2.1])

    found = jacobian(
        lambda x: np.array([np.exp(x[0]) * x[1], np.log(x[2]) / x[0]]), at, np.full(3, 0.01)
    )

    exact = [
        [np.exp(1.3) * 0.7, np.exp(1.3), 0.0],
        [-np.log(2.1) / 1.3**2, 0.0, 1 / (2.1 * 1.3)],
    ]
    assert found == pytest.approx(np.array(exact), rel=1e-9, abs=1e-9)


def test_known_slopes_are_taken_as_given():
    found = propagate(
        lambda x: 3 * x[0] - x[1], [1.0, 1.0], np.diag([4.0, 9.0]), sensitivities=[[3.0, -1.0]]
    )

    assert found.covariance.tolist() == [[45.0]]


def test_an_input_at_zero_without_uncertainty_still_has_a_slope():
    found = propagate(lambda x: 2 * x[0], [0.0], [[0.0]])

    assert found.sensitivities[0, 0] == pytest.approx(2.0, rel=1e-12)
    assert found.standard.tolist() == [0.0]


@settings(deadline=None)
@given(st.floats(-0.99, 0.99))
def test_sum_of_two_correlated_inputs(r):
    # u^2 = 3^2 + 4^2 + 2 r 3 4 (JCGM 100:2008, 5.2.2).
    found = propagate(lambda x: x.sum(), [1.0, 2.0], covariance_from([3, 4], [[1, r], [r, 1]]))

    assert found.standard[0] == pytest.approx(np.sqrt(25 + 24 * r), rel=1e-9)


def test_correlation_of_a_certain_quantity_is_none():
    found = correlation_of(np.array([[0.0, 0.0], [0.0, 4.0]]))

    assert found.tolist() == [[1.0, 0.0], [0.0, 1.0]]


def test_equal_contributions_add_their_degrees_of_freedom():
    # Two equal u with nu each: (2u^2)^2 / (2 u^4/nu) = 2 nu.
    assert effective_degrees_of_freedom([1.0, 1.0], [7.0, 7.0]) == pytest.approx(14.0, rel=1e-12)
    assert effective_degrees_of_freedom([1.0], [np.inf]) == np.inf


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: covariance_from([-1.0]), "positive"),
        (lambda: covariance_from([np.nan]), "positive"),
        (lambda: propagate(lambda x: x, [1.0, 2.0], [[1.0]]), "2 by 2"),
        (lambda: effective_degrees_of_freedom([1.0], [0.0]), "above zero"),
        (lambda: coverage_factor(1.0), "between 0 and 1"),
        (lambda: coverage_factor(0.95, 0.5), "one degree"),
        (lambda: coverage_factor(0.95, np.nan), "one degree"),
    ],
)
def test_refusals_say_what_to_do(call, word):
    with pytest.raises(OutOfRange, match=word):
        call()
