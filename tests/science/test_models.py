"""Model distributions against scipy.stats and a general-purpose library."""

import numpy as np
import pytest
from fluids.particle_size_distribution import (
    PSDGatesGaudinSchuhman,
    PSDLognormal,
    PSDRosinRammler,
)
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gradation.science.errors import OutOfRange
from gradation.science.models import (
    Model,
    ModelCurve,
    log_normal_mean_diameter,
    paper_from_share,
    share_from_paper,
)

SIZES = np.array([1.0, 40.0, 90.0, 150.0, 149.999, 300.0, 900.0])
ORACLES = {
    Model.RRSB: lambda x, n: stats.weibull_min(n, scale=x),
    Model.GGS: lambda x, n: stats.powerlaw(n, scale=x),
    Model.LOG_NORMAL: lambda x, n: stats.lognorm(1 / n, scale=x),
    Model.LOG_LOGISTIC: lambda x, n: stats.fisk(n, scale=x),
}


@pytest.mark.parametrize("model", list(Model))
@pytest.mark.parametrize(("location", "slope"), [(150.0, 1.2), (150.0, 0.4), (80.0, 5.0)])
def test_passing_and_size_equal_scipy(model, location, slope):
    oracle, curve = ORACLES[model](location, slope), ModelCurve(model, location, slope)
    shares = np.array([0.01, 0.1, 0.5, 0.8, 0.99])

    np.testing.assert_allclose(curve.passing(SIZES), oracle.cdf(SIZES), rtol=1e-9, atol=1e-14)
    np.testing.assert_allclose(curve.size_at_passing(shares), oracle.ppf(shares), rtol=1e-9)


def test_passing_equals_a_general_library():
    for size in SIZES:
        rrsb = PSDRosinRammler(k=150.0**-1.2, m=1.2).cdf(size)
        ggs = PSDGatesGaudinSchuhman(d_characteristic=150.0, m=0.7).cdf(size)
        normal = PSDLognormal(d_characteristic=150.0, s=0.5).cdf(size)
        assert float(ModelCurve(Model.RRSB, 150, 1.2).passing(size)) == pytest.approx(rrsb, 1e-9)
        assert float(ModelCurve(Model.GGS, 150, 0.7).passing(size)) == pytest.approx(ggs, 1e-9)
        assert float(ModelCurve(Model.LOG_NORMAL, 150, 2).passing(size)) == pytest.approx(
            normal, rel=1e-9
        )


@given(st.sampled_from(list(Model)), st.floats(0.001, 0.999))
def test_paper_is_read_back(model, share):
    assert float(share_from_paper(model, paper_from_share(model, share))) == pytest.approx(
        share, rel=1e-10
    )


@pytest.mark.parametrize("model", list(Model))
def test_every_model_is_a_straight_line_on_its_own_paper(model):
    sizes = np.array([20.0, 40.0, 80.0])  # equal steps in ln x

    ordinate = paper_from_share(model, ModelCurve(model, 150.0, 1.3).passing(sizes))

    assert float(ordinate[2] - ordinate[1]) == pytest.approx(
        float(ordinate[1] - ordinate[0]), rel=1e-9
    )
    assert float(ordinate[1] - ordinate[0]) == pytest.approx(1.3 * np.log(2), rel=1e-9)


@pytest.mark.parametrize("model", list(Model))
def test_ends_of_every_model(model):
    curve = ModelCurve(model, 150.0, 1.3)

    assert float(curve.passing(0.0)) == 0
    assert float(curve.size_at_passing(0.0)) == 0
    largest = float(curve.size_at_passing(1.0))
    assert largest == (150.0 if model is Model.GGS else np.inf)


@pytest.mark.parametrize(
    ("model", "share"),
    [
        (Model.RRSB, 1 - np.exp(-1)),
        (Model.GGS, 1.0),
        (Model.LOG_NORMAL, 0.5),
        (Model.LOG_LOGISTIC, 0.5),
    ],
)
def test_location_is_the_size_the_trade_means(model, share):
    assert float(ModelCurve(model, 150.0, 1.3).passing(150.0)) == pytest.approx(share, rel=1e-14)


def test_parameters_have_the_names_of_the_trade():
    named = {model: ModelCurve(model, 150.0, 2.0).parameters() for model in Model}

    symbols = {model: [item.symbol for item in items] for model, items in named.items()}
    assert symbols == {
        Model.RRSB: ["x'", "n"],
        Model.GGS: ["k", "m"],
        Model.LOG_NORMAL: ["x50", "s_g"],
        Model.LOG_LOGISTIC: ["x50", "b"],
    }
    # size ratio of 84.13 % to 50 % passing is the geometric standard deviation
    spread = named[Model.LOG_NORMAL][1].value
    ratio = ModelCurve(Model.LOG_NORMAL, 150.0, 2.0).size_at_passing(stats.norm.cdf(1)) / 150.0
    assert spread == pytest.approx(float(ratio), rel=1e-12)


@pytest.mark.parametrize(("location", "slope"), [(0.0, 1.0), (1.0, 0.0), (np.nan, 1.0)])
def test_parameters_that_make_no_distribution_are_refused(location, slope):
    with pytest.raises(OutOfRange):
        ModelCurve(Model.RRSB, location, slope)


def test_sizes_and_shares_outside_their_range_are_refused():
    curve = ModelCurve(Model.RRSB, 150.0, 1.0)

    with pytest.raises(OutOfRange):
        curve.passing([-1.0])
    with pytest.raises(OutOfRange):
        curve.size_at_passing([1.5])
    with pytest.raises(OutOfRange):
        paper_from_share(Model.GGS, -0.1)


@pytest.mark.parametrize(("p", "q"), [(4, 3), (3, 2), (3, 3), (1, 0), (0, 0)])
def test_log_normal_means_equal_a_general_library(p, q):
    # rel: that library integrates numerically
    oracle = PSDLognormal(d_characteristic=500.0, s=0.4, order=3).mean_size(p, q)

    found = log_normal_mean_diameter(500.0, float(np.exp(0.4)), p, q)

    assert found == pytest.approx(oracle, rel=1e-5)


@pytest.mark.parametrize(("median", "deviation"), [(0.0, 2.0), (100.0, 0.9)])
def test_log_normal_that_cannot_be_is_refused(median, deviation):
    with pytest.raises(OutOfRange):
        log_normal_mean_diameter(median, deviation, 3, 2)
