"""Fits against scipy.stats.linregress, statsmodels and scipy.optimize.curve_fit."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.fits import (
    FitMethod,
    Weighting,
    fit_non_linear,
    fit_straight_line,
    fits,
    precision_weights,
)
from gradation.science.models import Model, ModelCurve

NEST = np.array([2000.0, 1000.0, 500.0, 250.0, 125.0, 63.0])
SAND = np.array([0.985, 0.83, 0.52, 0.24, 0.09, 0.03])
BOTH = [fit_straight_line, fit_non_linear]
PAPERS = {
    Model.RRSB: lambda q: np.log(-np.log(1 - q)),
    Model.GGS: np.log,
    Model.LOG_NORMAL: stats.norm.ppf,
    Model.LOG_LOGISTIC: lambda q: np.log(q / (1 - q)),
}
CURVES = {
    Model.RRSB: lambda x, a, b: 1 - np.exp(-((x / a) ** b)),
    Model.GGS: lambda x, a, b: np.minimum(x / a, 1) ** b,
    Model.LOG_NORMAL: lambda x, a, b: stats.norm.cdf(b * np.log(x / a)),
    Model.LOG_LOGISTIC: lambda x, a, b: 1 / (1 + (x / a) ** -b),
}


@pytest.mark.parametrize("model", list(Model))
def test_straight_line_equals_linregress_on_the_paper(model):
    oracle = stats.linregress(np.log(NEST), PAPERS[model](SAND))

    fit = fit_straight_line(model, NEST, SAND)

    assert fit.curve.slope == pytest.approx(oracle.slope, rel=1e-10)
    assert fit.curve.location_um == pytest.approx(
        np.exp(-oracle.intercept / oracle.slope), rel=1e-10
    )
    assert fit.r2_on_paper == pytest.approx(oracle.rvalue**2, rel=1e-10)
    assert fit.standard_errors[1] == pytest.approx(oracle.stderr, rel=1e-8)


@pytest.mark.parametrize("model", list(Model))
def test_error_of_the_location_follows_the_covariance_of_the_line(model):
    result = sm.OLS(PAPERS[model](SAND), sm.add_constant(np.log(NEST))).fit()
    intercept, slope = result.params
    gradient = np.array([-1 / slope, intercept / slope**2])  # of -intercept / slope

    fit = fit_straight_line(model, NEST, SAND)

    expected = fit.curve.location_um * np.sqrt(gradient @ result.cov_params() @ gradient)
    assert fit.standard_errors[0] == pytest.approx(float(expected), rel=1e-8)


@pytest.mark.parametrize("weighting", list(Weighting))
@pytest.mark.parametrize("model", [Model.RRSB, Model.LOG_NORMAL, Model.LOG_LOGISTIC])
def test_non_linear_fit_equals_curve_fit(model, weighting):
    spread = np.ones(6) if weighting is Weighting.EQUAL else np.sqrt(SAND * (1 - SAND)) / 0.5
    (location, slope), covariance = optimize.curve_fit(
        CURVES[model], NEST, SAND, p0=[600, 1.3], sigma=spread, xtol=1e-13, ftol=1e-13
    )

    fit = fit_non_linear(model, NEST, SAND, weighting)

    # rel: both searches stop near the same flat bottom
    assert fit.curve.location_um == pytest.approx(location, rel=1e-5)
    assert fit.curve.slope == pytest.approx(slope, rel=1e-5)
    np.testing.assert_allclose(fit.standard_errors, np.sqrt(np.diag(covariance)), rtol=1e-3)


def test_non_linear_power_law_is_at_least_as_near_as_a_grid_of_all_parameters():
    locations, slopes = np.meshgrid(np.linspace(700, 2200, 301), np.linspace(0.3, 2.0, 171))
    misfit = sum(
        (share - np.minimum(size / locations, 1) ** slopes) ** 2
        for size, share in zip(NEST, SAND, strict=True)
    )

    fit = fit_non_linear(Model.GGS, NEST, SAND)

    assert np.sum(np.square(fit.residuals)) <= misfit.min() + 1e-12


@pytest.mark.parametrize("fit", BOTH)
@given(model=st.sampled_from(list(Model)), location=st.floats(300, 900), slope=st.floats(0.6, 2.5))
def test_exact_points_give_back_their_own_parameters(fit, model, location, slope):
    passing = ModelCurve(model, location, slope).passing(NEST)

    found = fit(model, NEST, passing)

    # rel: shares next to 1 hold 1 - Q3 to 1e-16 only, and the search stops at 1e-14 in cost
    assert found.curve.location_um == pytest.approx(location, rel=1e-4)
    assert found.curve.slope == pytest.approx(slope, rel=1e-4)
    assert found.r2 == pytest.approx(1, abs=1e-8)
    assert abs(found.largest_residual) < 1e-5


@given(st.floats(0.1, 10))
def test_scaling_all_sizes_scales_the_location_alone(factor):
    here, there = (fit_straight_line(Model.RRSB, NEST * by, SAND) for by in (1.0, factor))

    assert there.curve.location_um == pytest.approx(factor * here.curve.location_um, rel=1e-9)
    assert there.curve.slope == pytest.approx(here.curve.slope, rel=1e-9)


@pytest.mark.parametrize("model", list(Model))
def test_non_linear_fit_is_never_further_in_passing_than_the_line(model):
    line, curve = fit_straight_line(model, NEST, SAND), fit_non_linear(model, NEST, SAND)

    assert np.sum(np.square(curve.residuals)) <= np.sum(np.square(line.residuals)) + 1e-12
    assert curve.r2 >= line.r2


def test_points_at_the_ends_are_left_out_of_the_line_and_told():
    nest = [4000.0, *NEST, 32.0]

    fit = fit_straight_line(Model.RRSB, nest, [1.0, *SAND, 0.0])

    assert fit.curve == fit_straight_line(Model.RRSB, NEST, SAND).curve
    assert [point.aperture_um for point in fit.left_out] == [4000.0, 32.0]
    assert fit.statements()[0].startswith("4000 µm, 100 % passing, left out: it has no place on")


def test_points_at_the_ends_take_part_in_the_non_linear_fit():
    fit = fit_non_linear(Model.RRSB, [4000.0, *NEST], [1.0, *SAND])

    assert fit.left_out == ()
    assert fit.apertures_um[0] == 4000


@pytest.mark.parametrize("fit", BOTH)
def test_sieve_not_weighed_yet_is_left_out_and_told(fit):
    passing = SAND.copy()
    passing[2] = np.nan

    found = fit(Model.RRSB, NEST, passing)

    assert [point.aperture_um for point in found.left_out] == [500]
    assert found.left_out[0].reason == "not weighed yet."


def test_largest_residual_is_measured_minus_fitted_at_its_own_aperture():
    fit = fit_straight_line(Model.GGS, NEST, SAND)

    by_hand = SAND - CURVES[Model.GGS](NEST, fit.curve.location_um, fit.curve.slope)
    worst = int(np.argmax(np.abs(by_hand)))
    assert fit.largest_residual == pytest.approx(by_hand[worst], rel=1e-10)
    assert fit.largest_residual_at_um == NEST[worst]
    assert fit.r2 == pytest.approx(
        1 - np.sum(by_hand**2) / np.sum((SAND - SAND.mean()) ** 2), rel=1e-10
    )


@pytest.mark.parametrize("fit", BOTH)
@pytest.mark.parametrize(
    ("passing", "reason"),
    [
        ([1.0, 0.5, 0.2, 0.0], "has 2"),
        ([1.0, 1.0, 1.0, 1.0], "has 0"),
        ([0.0, 0.0, 0.0, 0.0], "has 0"),
        ([0.5, 0.5, 0.5, 0.0], "no slope"),
        ([1.0, np.nan, 0.2, 0.1], "has 2"),
    ],
)
def test_too_few_points_are_refused_with_the_reason(fit, passing, reason):
    with pytest.raises(NotDeterminable, match=reason):
        fit(Model.RRSB, [1000, 500, 250, 125], passing)


def test_several_runs_and_broken_curves_are_refused():
    with pytest.raises(OutOfRange):
        fit_straight_line(Model.RRSB, NEST, [SAND, SAND])
    with pytest.raises(Impossible):
        fit_straight_line(Model.RRSB, NEST[::-1], SAND)


@pytest.mark.parametrize("method", list(FitMethod))
@pytest.mark.parametrize("model", list(Model))
def test_material_of_a_model_finds_its_own_model_first(method, model):
    passing = ModelCurve(model, 700.0, 1.4).passing(NEST)

    found = fits(NEST, passing, method)

    assert found[0].model is model
    assert len(found) == 4
    assert [fit.r2 for fit in found] == sorted((fit.r2 for fit in found), reverse=True)


def test_precision_weights_have_a_floor():
    weights = precision_weights([0.0, 0.01, 0.5, 1.0])

    np.testing.assert_allclose(weights, [0.25 / 0.0099, 0.25 / 0.0099, 1, 0.25 / 0.0099])


@pytest.mark.parametrize("least", [0.0, 0.5])
def test_floor_outside_its_range_is_refused(least):
    with pytest.raises(OutOfRange):
        precision_weights([0.5], least_share=least)


@pytest.mark.parametrize("model", [Model.RRSB, Model.GGS])
def test_curve_that_a_step_meets_ever_better_has_no_fit(model):
    # Through 50 % at 176 µm, the steeper the model the nearer it comes to nothing passing 81 µm,
    # while 322 µm stays off by 0.1 %: for RRSB of slope 8, 10, 12 it says ln 2 (81/176)^n = 0.14,
    # 0.03, 0.006 % at 81 µm. No slope is the best, so the search cannot end.
    apertures_um, passing = [22400, 390, 322, 176, 81], [1.0, 0.999999, 0.999, 0.5, 0.0]

    with pytest.raises(
        NotDeterminable, match=r"No end was found .* Use the straight line on paper"
    ):
        fit_non_linear(model, apertures_um, passing)
