"""Uncertainty of D-values, against closed forms and draws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.errors import OutOfRange
from gradation.science.gradation import gradation
from gradation.science.percentiles import Interpolation
from gradation.science.size_uncertainty import cross_check, size_uncertainty
from gradation.science.uncertainty import (
    Balance,
    Weighings,
    counting_covariance,
    passing_uncertainty,
)

NEST = np.array([4000.0, 2000.0, 1000.0, 500.0, 250.0])
MASSES = [25.0, 75.0, 150.0, 140.0, 70.0, 40.0]
SHARES = (0.1, 0.3, 0.6, 0.9)


def a_budget(masses=MASSES, scatter=0.005, u_um=0.0):
    run = gradation(NEST, masses, np.sum(masses, axis=-1))
    return passing_uncertainty(
        run,
        Weighings(Balance(0.1)),
        aperture_u_um=u_um,
        repeatability=counting_covariance(scatter, run.passing),
    )


def test_slopes_of_the_straight_line_on_log_aperture():
    # Between x0 (Q0) and x1 (Q1): ln D = ln x0 + t ln(x1/x0), t = (p - Q0)/(Q1 - Q0);
    # dD/dQ0 = -D s (1 - t), dD/dQ1 = -D s t with s = ln(x1/x0)/(Q1 - Q0).
    budget = a_budget()
    passing = budget.gradation.passing

    found = size_uncertainty(budget, (0.6,))

    upper, lower = 1, 2
    t = (0.6 - passing[lower]) / (passing[upper] - passing[lower])
    s = np.log(NEST[upper] / NEST[lower]) / (passing[upper] - passing[lower])
    size = NEST[lower] * np.exp(s * (0.6 - passing[lower]))
    expected = np.zeros(5)
    expected[[lower, upper]] = -size * s * (1 - t), -size * s * t
    assert found.sizes_um == pytest.approx([size], rel=1e-12)
    assert found.slopes[0] == pytest.approx(expected, rel=1e-4, abs=1e-6 * size)


@pytest.mark.parametrize("interpolation", list(Interpolation))
def test_first_order_agrees_with_draws_for_every_interpolation(interpolation):
    budget = a_budget(scatter=0.002)

    first = size_uncertainty(budget, SHARES, interpolation)
    drawn = cross_check(
        budget, SHARES, interpolation, draws=8000, generator=np.random.default_rng(7)
    )

    # Sampling error of a standard deviation: 1/sqrt(2 N) = 0.8 %; four of them, and 1 % for
    # curvature.
    assert drawn.standard[5:] == pytest.approx(first.standard_um, rel=0.042)
    assert drawn.standard[:5] == pytest.approx(budget.standard, rel=0.042)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_first_order_agrees_with_draws_for_random_runs(seed):
    chance = np.random.default_rng(seed)
    masses = chance.uniform(40, 120, 6).round(1)
    budget = a_budget(masses, scatter=0.001)
    # Away from the sieves themselves, where the slope jumps and first order is only a mean.
    passing = budget.gradation.passing
    shares = tuple(float(p) for p in (passing[:-1] + passing[1:]) / 2)

    first = size_uncertainty(budget, shares)
    drawn = cross_check(budget, shares, draws=6000, generator=chance)

    # Five sampling errors of 0.91 %, and 1 % for curvature.
    assert drawn.standard[5:] == pytest.approx(first.standard_um, rel=0.056)


def test_aperture_error_of_both_neighbours_moves_the_size_with_them():
    # A curve straight on log aperture: apertures both off by the relative r move D by r. With
    # independent u, u(D)/D = r sqrt((1-t)^2 + t^2): r/sqrt(2) half way between.
    passing = np.array([0.9, 0.7, 0.5, 0.3, 0.1])
    masses = -np.diff(passing, prepend=1.0, append=0.0) * 1000
    run = gradation(NEST, masses, 1000.0)
    budget = passing_uncertainty(run, Weighings(Balance(0.0)), aperture_u_um=0.01 * NEST)

    found = size_uncertainty(budget, (0.6,))

    assert found.standard_um[0] / found.sizes_um[0] == pytest.approx(0.01 / np.sqrt(2), rel=1e-5)


def test_outside_the_measured_range_nothing_is_claimed():
    found = size_uncertainty(a_budget(), (0.01, 0.5, 0.99))

    assert np.isnan(found.standard_um).tolist() == [True, False, True]


def test_at_the_very_end_of_the_range_the_inner_side_counts():
    budget = a_budget()
    finest = float(budget.gradation.passing[-1])

    found = size_uncertainty(budget, (finest,))

    assert found.sizes_um[0] == pytest.approx(250.0, rel=1e-9)
    assert np.isfinite(found.standard_um[0])


def test_an_empty_sieve_leaves_the_other_sizes_alone():
    found = size_uncertainty(a_budget([25.0, 75.0, 150.0, 0.0, 200.0, 50.0]), (0.6, 0.3))

    assert np.all(np.isfinite(found.standard_um))
    assert np.all(found.standard_um > 0)


def test_batch_equals_run_by_run():
    batch = np.array([MASSES, MASSES[::-1]])

    together = size_uncertainty(a_budget(batch), SHARES)

    for masses, covariance in zip(batch, together.covariance, strict=True):
        alone = size_uncertainty(a_budget(masses), SHARES)
        assert covariance == pytest.approx(alone.covariance, rel=1e-9, nan_ok=True)


def test_the_check_takes_one_run():
    with pytest.raises(OutOfRange, match="one run"):
        cross_check(
            a_budget(np.array([MASSES, MASSES])),
            SHARES,
            draws=200,
            generator=np.random.default_rng(0),
        )
