"""Repeated readings and fitted lines, against numpy and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm

from gradation.science.errors import OutOfRange
from gradation.science.type_a import fit_line, type_a


def test_covariance_of_means_is_that_of_readings_over_their_number():
    readings = np.random.default_rng(2).normal(size=(9, 3))

    means, covariance = type_a(readings)

    assert means == pytest.approx(readings.mean(axis=0), rel=1e-12)
    assert covariance == pytest.approx(np.cov(readings, rowvar=False) / 9, rel=1e-12)


def test_line_agrees_with_a_general_library():
    chance = np.random.default_rng(3)
    x = np.linspace(10, 30, 15)
    y = 2.0 - 0.3 * x + chance.normal(0, 0.1, 15)

    found = fit_line(x, y, reference=20.0)

    oracle = sm.OLS(y, sm.add_constant(x - 20.0)).fit()
    assert [found.intercept, found.slope] == pytest.approx(oracle.params, rel=1e-9)
    assert found.covariance == pytest.approx(oracle.cov_params(), rel=1e-9)
    assert found.residual_sd == pytest.approx(np.sqrt(oracle.scale), rel=1e-9)
    assert found.degrees_of_freedom == 13


def test_refusals():
    with pytest.raises(OutOfRange, match="two repetitions"):
        type_a([[1.0, 2.0]])
    with pytest.raises(OutOfRange, match="three points"):
        fit_line([1.0, 2.0], [1.0, 2.0])
    with pytest.raises(OutOfRange, match="three points"):
        fit_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
