"""Graphic and moment measures against scipy.stats and closed forms of the normal curve."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gradation.science.density import OpenEnds, SizeClasses, size_classes
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.grain_words import folk_ward_words, grain_word, moment_words
from gradation.science.moments import (
    FOLK_WARD_PERCENTILES,
    FolkWard,
    Scale,
    folk_ward,
    folk_ward_gaps,
    folk_ward_of_curve,
    moment_measures,
    moments_of_midpoints,
    phi_to_um,
    um_to_phi,
)
from tests.science.test_density import curves

PHI_NEST = phi_to_um(np.arange(-3, 5.01, 0.25))


def test_phi_and_size_are_inverse():
    phi = np.linspace(-8, 10, 37)

    np.testing.assert_allclose(um_to_phi(phi_to_um(phi)), phi, atol=1e-12)


@pytest.mark.parametrize("size", [0.0, -1.0])
def test_size_without_logarithm_is_refused(size):
    with pytest.raises(OutOfRange):
        um_to_phi([size])


@pytest.mark.parametrize(("mean", "deviation"), [(1.0, 0.5), (-1.5, 0.35), (2.0, 1.0)])
def test_normal_curve_in_phi_gives_the_known_bias_of_the_graphic_measures(mean, deviation):
    phi = stats.norm(mean, deviation).ppf(np.array(FOLK_WARD_PERCENTILES) / 100)
    z84, z95, z75 = stats.norm.ppf([0.84, 0.95, 0.75])

    result = folk_ward(phi)

    assert float(result.mean_phi) == pytest.approx(mean, abs=1e-12)
    assert float(result.sorting_phi) == pytest.approx(deviation * (z84 / 2 + z95 / 3.3), rel=1e-12)
    assert float(result.skewness) == pytest.approx(0, abs=1e-12)
    assert float(result.kurtosis) == pytest.approx(z95 / (2.44 * z75), rel=1e-12)


def test_curve_read_on_a_dense_nest_gives_the_normal_values():
    passing = stats.norm(1.0, 0.6).sf(um_to_phi(PHI_NEST))

    result = folk_ward_of_curve(PHI_NEST, passing)

    # quarter-phi sieves joined by straight lines: error of a chord, (h²/8) of the curvature
    assert float(result.mean_phi) == pytest.approx(1.0, abs=1e-3)
    assert float(result.sorting_phi) == pytest.approx(0.6 * 0.9957, abs=0.01)
    assert float(result.skewness) == pytest.approx(0, abs=1e-9)


def test_fine_tail_has_positive_skewness_and_coarse_tail_the_same_negative():
    phi = np.array([0.9, 1.0, 1.1, 1.3, 1.8, 2.2, 3.0])

    fine, coarse = folk_ward(phi), folk_ward(-phi[::-1])

    assert float(fine.skewness) > 0.3
    assert float(coarse.skewness) == pytest.approx(-float(fine.skewness), abs=1e-12)
    assert folk_ward_words(fine).skewness == "strongly fine-skewed"
    assert folk_ward_words(coarse).skewness == "strongly coarse-skewed"


@given(st.floats(-4, 4), st.lists(st.floats(0.01, 2), min_size=6, max_size=6))
def test_shifting_all_sizes_moves_the_mean_alone(shift, steps):
    phi = np.concatenate(([0.0], np.cumsum(steps)))

    here, there = folk_ward(phi), folk_ward(phi + shift)

    assert float(there.mean_phi - here.mean_phi) == pytest.approx(shift, abs=1e-9)
    assert float(there.sorting_phi) == pytest.approx(float(here.sorting_phi), rel=1e-9)
    assert float(there.skewness) == pytest.approx(float(here.skewness), abs=1e-7)
    assert float(there.kurtosis) == pytest.approx(float(here.kurtosis), rel=1e-7)


@given(curves(runs=4))
def test_batch_of_curves_equals_run_by_run(curve):
    apertures, passing = curve

    together = folk_ward_of_curve(apertures, passing)

    for run, one in enumerate(passing):
        alone = folk_ward_of_curve(apertures, one)
        np.testing.assert_allclose(together.mean_phi[run], alone.mean_phi, rtol=1e-12)
        np.testing.assert_allclose(together.kurtosis[run], alone.kurtosis, rtol=1e-12)


def test_fine_tail_beyond_the_nest_leaves_measures_unknown_and_says_why():
    nest, passing = [1000, 500, 250, 125], [1.0, 0.7, 0.3, 0.1]

    result = folk_ward_of_curve(nest, passing)

    assert np.isfinite(result.mean_phi)
    assert np.isnan([result.sorting_phi, result.skewness, result.kurtosis]).all()
    assert folk_ward_gaps(nest, passing) == ("95 % coarser lies below the finest sieve, 125 µm.",)
    assert folk_ward_words(result).sorting == ""


def test_coarse_tail_beyond_the_nest_is_explained():
    assert folk_ward_gaps([500, 250], [0.9, 0.0]) == (
        "5 % coarser lies above the coarsest sieve, 500 µm.",
    )


def test_gaps_of_an_incomplete_run_are_refused():
    with pytest.raises(NotDeterminable):
        folk_ward_gaps([500, 250], [1.0, np.nan])


def test_missing_weighing_leaves_all_graphic_measures_of_that_run_unknown():
    passing = [[1.0, 0.5, np.nan, 0.0], [1.0, 0.5, 0.2, 0.0]]

    result = folk_ward_of_curve([1000, 500, 250, 125], passing)

    assert np.isnan(result.mean_phi).tolist() == [True, False]


def test_all_on_one_size_has_no_kurtosis():
    result = folk_ward(np.full(7, 2.0))

    assert float(result.sorting_phi) == 0
    assert np.isnan(result.kurtosis)
    assert np.isnan(result.skewness)


@pytest.mark.parametrize("phi", [[1.0, 2.0], [7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0]])
def test_percentiles_that_cannot_be_are_refused(phi):
    with pytest.raises(OutOfRange):
        folk_ward(phi)


@given(
    st.lists(
        st.tuples(st.floats(-5, 8), st.integers(1, 40)),
        min_size=2,
        max_size=8,
        unique_by=lambda pair: round(pair[0], 1),
    )
)
def test_moments_equal_those_of_scipy_on_repeated_grains(pairs):
    midpoints, counts = (np.array(side) for side in zip(*pairs, strict=True))
    grains = np.repeat(midpoints, counts)

    mean, deviation, skewness, kurtosis = moments_of_midpoints(midpoints, counts)

    assert float(mean) == pytest.approx(np.mean(grains), abs=1e-12)
    assert float(deviation) == pytest.approx(np.std(grains), rel=1e-10)
    assert float(skewness) == pytest.approx(stats.skew(grains), rel=1e-6, abs=1e-9)
    assert float(kurtosis) == pytest.approx(stats.kurtosis(grains, fisher=False), rel=1e-6)


def test_log_normal_material_has_its_own_moments_in_phi():
    passing = stats.norm(1.0, 0.7).sf(um_to_phi(PHI_NEST))
    classes = size_classes(PHI_NEST, passing, OpenEnds(phi_to_um(5.25), phi_to_um(-3.25)))

    result = moment_measures(classes)

    # grouping into quarter-phi classes adds h²/12 to the variance (Sheppard)
    assert float(result.mean) == pytest.approx(1.0, abs=1e-6)
    assert float(result.standard_deviation) ** 2 == pytest.approx(0.49 + 0.25**2 / 12, abs=1e-5)
    assert float(result.skewness) == pytest.approx(0, abs=1e-4)
    assert moment_words(result).sorting == "moderately well sorted"


@given(curves(runs=3))
def test_geometric_and_phi_moments_say_the_same(curve):
    apertures, passing = curve
    classes = size_classes(apertures, passing, OpenEnds(10.0, 2e6))

    phi = moment_measures(classes, Scale.PHI)
    geometric = moment_measures(classes, Scale.GEOMETRIC)

    np.testing.assert_allclose(geometric.mean, phi_to_um(phi.mean), rtol=1e-9)
    np.testing.assert_allclose(
        geometric.standard_deviation, np.exp2(phi.standard_deviation), rtol=1e-9
    )
    np.testing.assert_allclose(geometric.skewness, -phi.skewness, atol=1e-6)
    np.testing.assert_allclose(geometric.kurtosis, phi.kurtosis, rtol=1e-6)


def test_arithmetic_moments_by_hand():
    classes = SizeClasses(np.array([200.0, 100.0]), np.array([400.0, 200.0]), np.array([0.5, 0.5]))

    result = moment_measures(classes, Scale.ARITHMETIC)  # midpoints 300 and 150, half each

    assert float(result.mean) == 225
    assert float(result.standard_deviation) == 75
    assert float(result.skewness) == 0
    assert float(result.kurtosis) == 1


def test_one_class_has_no_skewness():
    classes = SizeClasses(np.array([200.0]), np.array([400.0]), np.array([1.0]))

    result = moment_measures(classes)

    assert float(result.standard_deviation) == 0
    assert np.isnan(result.skewness)
    assert moment_words(result).skewness == ""


def test_no_mass_at_all_has_no_moments():
    assert all(np.isnan(value) for value in moments_of_midpoints([1.0, 2.0], [0.0, 0.0]))


@pytest.mark.parametrize("amounts", [[1.0], [1.0, -1.0]])
def test_amounts_that_cannot_be_are_refused(amounts):
    with pytest.raises(OutOfRange):
        moments_of_midpoints([1.0, 2.0], amounts)


@pytest.mark.parametrize("scale", [Scale.GEOMETRIC, Scale.PHI])
def test_pan_down_to_zero_has_no_log_moments(scale):
    classes = size_classes([200.0, 100.0], [1.0, 0.5], OpenEnds(pan_lower_um=0.0))

    with pytest.raises(NotDeterminable, match="no logarithm"):
        moment_measures(classes, scale)


@pytest.mark.parametrize(
    ("skewness", "word"),
    [(-0.3, "tail of coarse grains"), (0.0, "symmetrical"), (0.3, "tail of fines")],
)
def test_moment_skewness_is_told_by_its_sign(skewness, word):
    measures = moment_measures(SizeClasses(np.array([500.0]), np.array([1000.0]), np.array([1.0])))
    told = type(measures)(
        measures.mean, measures.mean, np.array(skewness), np.array(3.0), Scale.PHI, ()
    )

    assert moment_words(told).skewness == word
    assert moment_words(told).kurtosis == "as normal"


def test_words_are_for_one_run_on_the_right_scale():
    two = folk_ward(np.tile(np.arange(7.0), (2, 1)))
    arithmetic = moment_measures(
        SizeClasses(np.array([500.0]), np.array([1000.0]), np.array([1.0])), Scale.ARITHMETIC
    )

    with pytest.raises(OutOfRange):
        folk_ward_words(two)
    with pytest.raises(OutOfRange):
        moment_words(arithmetic)
    with pytest.raises(OutOfRange):
        grain_word("roundness", 0.5)


def test_binary_noise_does_not_move_a_value_across_a_class_limit():
    assert grain_word("sorting", 0.5 - 1e-15) == grain_word("sorting", 0.5)


@given(st.floats(-1, 1))
def test_skewness_words_mirror(value):
    mirrored = grain_word("skewness", -value).replace("coarse", "fine")

    assert grain_word("skewness", value).replace("coarse", "fine") == mirrored


def test_mean_and_sorting_are_given_as_sizes_too():
    measures = FolkWard(np.array(2.0), np.array(1.0), np.array(0.0), np.array(1.0))

    assert float(measures.mean_um) == 250
    assert float(measures.geometric_sorting) == 2
