"""Uncertainty of passing values, against exact working and drawn masses."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.gradation import Basis, gradation
from gradation.science.uncertainty import (
    Balance,
    SplitUncertainty,
    Weighings,
    counting_covariance,
    passing_uncertainty,
    root_diagonal,
    slope_per_um,
    split_uncertainty,
)

NEST = [4000.0, 2000.0, 1000.0, 500.0, 250.0]
MASSES = [20.0, 80.0, 150.0, 140.0, 70.0, 40.0]
BALANCE = Balance(0.1, repeatability_g=0.05, linearity_g=0.1, scale_relative=1e-3)


def a_run(basis=Basis.INITIAL_DRY, washed=None):
    return gradation(NEST, MASSES, 500.0, washed, basis)


def test_reading_variance_adds_rectangular_and_normal_parts():
    # 0.1^2/12 + 0.05^2 + 0.1^2/3 in exact arithmetic.
    exact = Fraction(1, 1200) + Fraction(1, 400) + Fraction(1, 300)

    assert BALANCE.reading_variance == pytest.approx(float(exact), rel=1e-14)


def test_one_sieve_by_hand():
    # P = 1 - m/M, m = 100 g, M = 500 g, u(m) = u(M) = 0.1 sqrt(2/12) g:
    # u(P) = u(m)/M sqrt(1 + 0.2^2).
    run = gradation([1000.0], [100.0, 400.0], 500.0)

    found = passing_uncertainty(run, Weighings(Balance(0.1))).standard[0]

    assert found == pytest.approx(0.1 * np.sqrt(2 / 12) / 500 * np.sqrt(1.04), rel=1e-12)


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("washed", [None, 480.0])
@pytest.mark.parametrize("cumulative", [False, True])
def test_covariance_agrees_with_drawn_readings(basis, washed, cumulative):
    chance = np.random.default_rng(20)
    draws = 60_000
    u = np.sqrt(BALANCE.reading_variance)
    if cumulative:
        totals = np.cumsum(MASSES) + u * chance.normal(size=(draws, 6))
        totals += u * chance.normal(size=(draws, 1))
        masses = np.diff(totals, axis=-1, prepend=0.0)
    else:
        masses = MASSES + u * np.sqrt(2) * chance.normal(size=(draws, 6))
    dry = 500.0 + u * np.sqrt(2) * chance.normal(size=draws)
    after = None if washed is None else washed + u * np.sqrt(2) * chance.normal(size=draws)
    scale = 1 + BALANCE.scale_relative * chance.normal(size=draws)
    after = None if after is None else after * scale
    drawn = gradation(NEST, masses * scale[:, None], dry * scale, after, basis).passing

    budget = passing_uncertainty(a_run(basis, washed), Weighings(BALANCE, cumulative=cumulative))

    # The sampling error of a covariance over N draws is sqrt((1 + r^2)/N) u_i u_j; five of them.
    expected = budget.covariance
    error = 5 * np.sqrt(2 / draws) * np.outer(budget.standard, budget.standard)
    assert np.all(np.abs(np.cov(drawn, rowvar=False) - expected) < error)


def test_a_scale_error_cancels_when_one_balance_weighed_everything():
    result = passing_uncertainty(a_run(), Weighings(BALANCE))

    assert result.contribution("balance scale") == pytest.approx(np.zeros(5), abs=1e-12)


def test_two_balances_do_not_cancel():
    # P = 1 - C/M: relative errors of C and M of 1e-3 each give C/M sqrt(2) 1e-3.
    result = passing_uncertainty(a_run(), Weighings(BALANCE, dry_balance=BALANCE))

    cumulative = np.cumsum(MASSES)[:-1] / 500
    assert result.contribution("balance scale") == pytest.approx(
        cumulative * np.sqrt(2) * 1e-3, rel=1e-9
    )


def test_aperture_moves_its_own_point_only():
    u_um = [0.0, 0.0, 12.0, 0.0, 0.0]

    result = passing_uncertainty(a_run(), Weighings(Balance(0.0)), aperture_u_um=u_um)

    slope = slope_per_um(NEST, a_run().passing)
    expected = np.zeros((5, 5))
    expected[2, 2] = (slope[2] * 12.0) ** 2
    assert result.covariance == pytest.approx(expected, abs=1e-18)


def test_slope_of_a_straight_line_on_log_aperture_is_exact():
    # Q = 0.2 ln(x/100): dQ/dx = 0.2/x everywhere, ends included.
    apertures = np.array([800.0, 500.0, 200.0, 150.0])

    found = slope_per_um(apertures, 0.2 * np.log(apertures / 100))

    assert found == pytest.approx(0.2 / apertures, rel=1e-12)


def test_increments_add_their_readings():
    one = passing_uncertainty(a_run(), Weighings(Balance(0.1)))
    four = passing_uncertainty(a_run(), Weighings(Balance(0.1), increments=4))

    assert four.contribution("fraction readings") == pytest.approx(
        2 * one.contribution("fraction readings"), rel=1e-12
    )


def test_split_factor_moves_all_fractions_below_together():
    # Below 1000 µm every mass grows by the same 1 %: C_i grows by 1 % of what lies between.
    split = SplitUncertainty(below_um=1000.0, relative=0.01)

    result = passing_uncertainty(a_run(), Weighings(Balance(0.0), splits=(split,)))

    assert result.contribution("splits") == pytest.approx(
        [0, 0, 0, 0.01 * 140 / 500, 0.01 * 210 / 500], rel=1e-12
    )
    assert result.correlation[3, 4] == pytest.approx(1.0, rel=1e-12)


def test_split_weighed_to_a_gram_by_hand():
    # Two rectangular readings of 1 g each mass: u^2 = 2 x 1/12 = 1/6 g^2. Parts of 300 and 150 g:
    # (u_F/F)^2 = 1/6 (1/300^2 + 1/150^2) = 1/6 x 5/300^2, u_F/F = sqrt(5/6)/300 = 0.00304290.
    assert split_uncertainty(4750, 300.0, 150.0, Balance(1.0)).relative == pytest.approx(
        0.00304290, abs=5e-9
    )


@pytest.mark.parametrize(("passing_g", "reduced_g"), [(0.0, 150.0), (300.0, 0.0), (300.0, -1.0)])
def test_split_of_nothing_has_no_factor(passing_g, reduced_g):
    with pytest.raises(OutOfRange, match="masses of a split must be above zero"):
        split_uncertainty(4750, passing_g, reduced_g, Balance(0.1))


def test_factors_scale_the_readings():
    factors = (1.0, 1.0, 1.0, 4.0, 4.0, 4.0)
    plain = passing_uncertainty(a_run(), Weighings(Balance(0.1)))

    scaled = passing_uncertainty(a_run(), Weighings(Balance(0.1), factors=factors))

    first = scaled.contribution("fraction readings")[:3]
    assert first == pytest.approx(plain.contribution("fraction readings")[:3], rel=1e-12)
    # Three unscaled and one fourfold reading: 3 + 16 variances instead of 4.
    ratio = scaled.contribution("fraction readings")[3] / plain.contribution("fraction readings")[3]
    assert ratio == pytest.approx(np.sqrt(19 / 4), rel=1e-12)


def test_counting_covariance_agrees_with_counted_grains():
    # N grains drawn into classes: covariance of cumulative shares is Q_j (1 - Q_i) / N exactly.
    passing = np.array([0.9, 0.6, 0.2])
    grains = 5000
    exact = np.minimum.outer(passing, passing) * (1 - np.maximum.outer(passing, passing)) / grains

    found = counting_covariance(np.sqrt(passing * (1 - passing) / grains), passing)

    assert found == pytest.approx(exact, rel=1e-12)


def test_counting_covariance_at_the_ends_correlates_with_nothing():
    found = counting_covariance(0.01, [1.0, 0.5, 0.0])

    assert found == pytest.approx(np.eye(3) * 1e-4, abs=1e-18)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(1.0, 300.0), min_size=3, max_size=12), st.floats(0.01, 1.0))
def test_covariance_is_symmetric_and_never_negative(masses, readability):
    nest = 10_000.0 / 2.0 ** np.arange(len(masses) - 1)
    run = gradation(nest, masses, sum(masses))

    found = passing_uncertainty(run, Weighings(Balance(readability))).covariance

    # Double precision leaves 1e-16 of the largest term in a sum of a dozen; 1e-13 is far above.
    noise = 1e-13 * found.max()
    assert found == pytest.approx(found.T, abs=noise)
    assert np.linalg.eigvalsh(found).min() >= -noise


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 1000.0))
def test_scaling_masses_and_balance_together_changes_nothing(factor):
    run = gradation(NEST, np.multiply(MASSES, factor), 500.0 * factor)

    scaled = passing_uncertainty(run, Weighings(Balance(0.1 * factor)))

    plain = passing_uncertainty(a_run(), Weighings(Balance(0.1)))
    assert scaled.standard == pytest.approx(plain.standard, rel=1e-9)


def test_batch_equals_run_by_run():
    batch = np.array([MASSES, MASSES[::-1], [0.0, 0.0, 100.0, 0.0, 300.0, 100.0]])
    u_um = np.array([20.0, 12.0, 8.0, 5.0, 3.0])

    together = passing_uncertainty(
        gradation(NEST, batch, np.full(3, 500.0)), Weighings(BALANCE), aperture_u_um=u_um
    )

    for masses, covariance in zip(batch, together.covariance, strict=True):
        alone = passing_uncertainty(
            gradation(NEST, masses, 500.0), Weighings(BALANCE), aperture_u_um=u_um
        )
        assert covariance == pytest.approx(alone.covariance, rel=1e-12, abs=1e-20)


def test_refusals():
    one = gradation([1000.0], [100.0, 400.0], 500.0)

    with pytest.raises(NotDeterminable, match="One sieve"):
        passing_uncertainty(one, Weighings(Balance(0.1)), aperture_u_um=5.0)
    with pytest.raises(OutOfRange, match="aperture"):
        passing_uncertainty(a_run(), Weighings(Balance(0.1)), aperture_u_um=-5.0)
    with pytest.raises(OutOfRange, match="repeatability"):
        counting_covariance(-0.01, [0.5])


def test_all_on_one_sieve_and_all_in_the_pan_have_an_uncertainty():
    for masses in ([0.0, 0.0, 500.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0, 0.0, 500.0]):
        result = passing_uncertainty(
            gradation(NEST, masses, 500.0), Weighings(BALANCE), aperture_u_um=5.0
        )
        assert np.all(np.isfinite(result.standard))


def test_missing_standard_stays_missing():
    assert np.isnan(root_diagonal(np.array([[np.nan]]))[0])
