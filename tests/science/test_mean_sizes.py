"""Mean sizes against quadrature, exact fractions and a general-purpose library."""

from fractions import Fraction

import numpy as np
import pytest
from fluids.particle_size_distribution import ParticleSizeDistribution, PSDLognormal
from hypothesis import given
from scipy.integrate import quad

from gradation.science.density import OpenEnds, SizeClasses, size_classes
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.mean_sizes import (
    WithinClass,
    mean_diameter,
    mean_size,
    mean_sizes,
    moment,
    specific_surface,
)
from tests.science.test_density import curves

LIMITS = np.array([4000.0, 2000.0, 1000.0, 500.0, 250.0])
SHARES = np.array([0.1, 0.4, 0.3, 0.2])
CLASSES = SizeClasses(LIMITS[1:], LIMITS[:-1], SHARES)
ALL = list(WithinClass)


@pytest.mark.parametrize("power", [1, 2, 3])
def test_moments_equal_exact_fractions(power):
    expected = sum(
        Fraction(share).limit_denominator(10)
        * (Fraction(upper) ** (power + 1) - Fraction(lower) ** (power + 1))
        / ((power + 1) * (Fraction(upper) - Fraction(lower)))
        for lower, upper, share in zip(LIMITS[1:], LIMITS[:-1], SHARES, strict=True)
    )

    assert float(moment(CLASSES, power)) == pytest.approx(float(expected), rel=1e-13)


@pytest.mark.parametrize(("p", "q"), [(4, 3), (3, 2), (3, 0), (1, 0), (2, 1), (3.5, 2.25)])
@pytest.mark.parametrize("is_log", [False, True])
def test_mean_diameters_equal_quadrature_of_the_stated_density(p, q, is_log):
    within = WithinClass.EVEN_IN_LOG_SIZE if is_log else WithinClass.EVEN_IN_SIZE

    def power_moment(power):
        total = 0.0
        for lower, upper, share in zip(LIMITS[1:], LIMITS[:-1], SHARES, strict=True):
            if is_log:
                ends, width = (np.log(lower), np.log(upper)), np.log(upper / lower)
                value = quad(lambda t: np.exp(power * t), *ends, epsrel=1e-12)[0]
            else:
                width = upper - lower
                value = quad(lambda x: x**power, lower, upper, epsrel=1e-12)[0]
            total += share * value / width
        return total

    expected = (power_moment(p - 3) / power_moment(q - 3)) ** (1 / (p - q))

    # rtol: quadrature was asked for 1e-12
    assert float(mean_diameter(CLASSES, p, q, within)) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("power", [3, 2, 0])
@pytest.mark.parametrize("is_log", [False, True])
def test_logarithmic_means_equal_quadrature(power, is_log):
    within = WithinClass.EVEN_IN_LOG_SIZE if is_log else WithinClass.EVEN_IN_SIZE
    j = power - 3 - is_log  # d ln x = dx / x
    whole = of_log = 0.0
    for lower, upper, share in zip(LIMITS[1:], LIMITS[:-1], SHARES, strict=True):
        per = share / (np.log(upper / lower) if is_log else upper - lower)
        whole += per * quad(lambda x: x**j, lower, upper, epsrel=1e-12)[0]
        of_log += per * quad(lambda x: np.log(x) * x**j, lower, upper, epsrel=1e-12)[0]

    found = float(mean_diameter(CLASSES, power, power, within))

    assert found == pytest.approx(np.exp(of_log / whole), rel=1e-10)


@pytest.mark.parametrize(("p", "q"), [(4, 3), (3, 2), (3, 3), (3, 0), (1, 0), (0, 0), (2, 0)])
@pytest.mark.parametrize("is_geometric", [False, True])
def test_midpoint_means_equal_a_general_library(p, q, is_geometric):
    lower, upper = CLASSES.lower_um, CLASSES.upper_um
    within = WithinClass.GEOMETRIC_MIDPOINT if is_geometric else WithinClass.ARITHMETIC_MIDPOINT
    points = np.sqrt(lower * upper) if is_geometric else (lower + upper) / 2
    oracle = ParticleSizeDistribution(ds=points[::-1], fractions=SHARES[::-1], order=3)

    found = float(mean_diameter(CLASSES, p, q, within))

    assert found == pytest.approx(oracle.mean_size(p, q), rel=1e-10)


@pytest.mark.parametrize("within", ALL)
@pytest.mark.parametrize(("p", "q"), [(4, 3), (3, 2), (3, 3), (2, 1)])
def test_narrow_classes_of_a_log_normal_reach_the_exact_mean_by_any_assumption(within, p, q):
    exact = PSDLognormal(d_characteristic=500.0, s=0.5, order=3)
    limits = 500.0 * np.exp(np.linspace(5, -5, 2001) * 0.5)
    cumulative = np.array([exact.cdf(size) for size in limits])
    classes = size_classes(limits[1:-1], cumulative[1:-1], OpenEnds(limits[-1], limits[0]))

    found = float(mean_diameter(classes, p, q, within))

    # beyond 5 deviations lies 6e-7 of the mass; classes of 0.25 % size
    assert found == pytest.approx(exact.mean_size(p, q), rel=2e-4)


@given(curves())
def test_means_keep_their_order(curve):
    apertures, passing = curve
    classes = size_classes(apertures, passing, OpenEnds(apertures[-1] / 3, apertures[0] * 2))

    for within in WithinClass:
        result = mean_sizes(classes, within)
        falling = [
            result.arithmetic_um,
            result.geometric_um,
            result.sauter_um,
            result.volume_um,
            result.number_um,
        ]
        assert np.all(np.diff(falling) <= 1e-9 * apertures[0])
        assert classes.lower_um[-1] * 0.999999 <= falling[-1]
        assert falling[0] <= classes.upper_um[0] * 1.000001


@given(curves(runs=4))
def test_batch_equals_run_by_run(curve):
    apertures, passing = curve
    ends = OpenEnds(10.0, 1e6)

    together = mean_diameter(size_classes(apertures, passing, ends), 3, 2)

    alone = [float(mean_diameter(size_classes(apertures, one, ends), 3, 2)) for one in passing]
    np.testing.assert_allclose(together, alone, rtol=1e-13)


def test_order_of_the_two_powers_does_not_matter():
    assert float(mean_diameter(CLASSES, 4, 2)) == pytest.approx(
        float(mean_diameter(CLASSES, 2, 4)), rel=1e-13
    )


@pytest.mark.parametrize(("k", "r", "p", "q"), [(1, 3, 4, 3), (-1, 3, 3, 2), (1, 2, 3, 2)])
def test_both_notations_of_the_standard_agree(k, r, p, q):
    assert float(mean_size(CLASSES, k, r)) == pytest.approx(
        float(mean_diameter(CLASSES, p, q)), rel=1e-13
    )


def test_pan_down_to_zero_has_a_mean_by_mass_but_no_sauter_mean():
    classes = size_classes([200.0, 100.0], [1.0, 0.5], OpenEnds(pan_lower_um=0.0))

    result = mean_sizes(classes)

    assert float(result.arithmetic_um) == pytest.approx(0.5 * 150 + 0.5 * 50, rel=1e-14)
    # mean of ln x from 0 to 100 is ln 100 - 1; from 100 to 200 it is 2 ln 200 - ln 100 - 1
    of_log = 0.5 * (np.log(100) - 1) + 0.5 * (2 * np.log(200) - np.log(100) - 1)
    assert float(result.geometric_um) == pytest.approx(np.exp(of_log), rel=1e-13)
    assert np.isnan(result.sauter_um)
    assert any(
        text.startswith("D[3,2]: The pan is counted down") for text in result.not_determinable
    )


@pytest.mark.parametrize("within", [WithinClass.EVEN_IN_LOG_SIZE, WithinClass.GEOMETRIC_MIDPOINT])
def test_log_assumptions_refuse_a_pan_down_to_zero(within):
    classes = size_classes([200.0, 100.0], [1.0, 0.5], OpenEnds(pan_lower_um=0.0))

    with pytest.raises(NotDeterminable, match="0 µm"):
        mean_diameter(classes, 4, 3, within)


def test_empty_pan_down_to_zero_changes_nothing():
    stated = size_classes([200.0, 100.0], [1.0, 0.0], OpenEnds(pan_lower_um=0.0))
    plain = size_classes([200.0, 100.0], [1.0, 0.0])

    assert float(mean_diameter(stated, 3, 2)) == float(mean_diameter(plain, 3, 2))


def test_missing_weighing_leaves_the_mean_unknown():
    classes = size_classes([400.0, 200.0, 100.0], [[1, np.nan, 0], [1, 0.5, 0]])

    assert np.isnan(mean_diameter(classes, 3, 2)).tolist() == [True, False]


def test_specific_surface_of_one_size_is_six_over_diameter():
    classes = SizeClasses(np.array([100.0]), np.array([100.0 + 1e-6]), np.array([1.0]))

    result = specific_surface(classes, particle_density_kg_m3=2650, shape_factor=1.5)

    # 6 x 1.5 / 100 µm = 0.09 m²/cm³ = 90 000 m²/m³, over 2650 kg/m³; rel: width of the class
    assert float(result.per_volume_m2_per_cm3) == pytest.approx(0.09, rel=1e-7)
    assert float(result.per_mass_m2_per_kg) == pytest.approx(90_000 / 2650, rel=1e-7)


def test_surface_without_density_is_given_by_volume_only():
    assert specific_surface(CLASSES).per_mass_m2_per_kg is None


@pytest.mark.parametrize("wrong", [{"particle_density_kg_m3": 0.0}, {"shape_factor": 0.9}])
def test_impossible_surface_inputs_are_refused(wrong):
    with pytest.raises(OutOfRange):
        specific_surface(CLASSES, **wrong)
