"""Size classes, density and modes; expected values by exact arithmetic shown beside each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from gradation.science.density import OpenEnds, checked_curve, density, modes, size_classes
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange

NEST = np.array([4000.0, 2000.0, 1000.0, 500.0])


@st.composite
def curves(draw, least=2, most=9, runs=None):
    """Apertures coarse to fine, and one or several curves over them."""
    count = draw(st.integers(least, most))
    steps = draw(hnp.arrays(float, count, elements=st.floats(1.1, 3.0)))
    apertures = 50.0 * np.cumprod(steps)[::-1]
    shape = (count + 1,) if runs is None else (runs, count + 1)
    masses = draw(hnp.arrays(float, shape, elements=st.integers(0, 50).map(float)))
    masses[..., 0] += 1.0
    passing = 1 - np.cumsum(masses, axis=-1)[..., :-1] / masses.sum(axis=-1, keepdims=True)
    return apertures, np.clip(passing, 0, 1)


def test_shares_of_classes_are_differences_of_passing():
    classes = size_classes(NEST, [1.0, 0.75, 0.25, 0.0])

    assert classes.share.tolist() == [0.25, 0.5, 0.25]
    assert classes.upper_um.tolist() == [4000, 2000, 1000]
    assert classes.lower_um.tolist() == [2000, 1000, 500]


def test_stated_ends_close_the_open_classes_and_are_told():
    classes = size_classes(NEST, [0.9, 0.5, 0.2, 0.1], OpenEnds(0.0, 8000.0))

    np.testing.assert_allclose(classes.share, [0.1, 0.4, 0.3, 0.1, 0.1], rtol=1e-14)
    assert classes.assumptions == (
        "Nothing on the coarsest sieve is taken as larger than 8000 µm.",
        "The pan is taken to reach down to 0 µm.",
    )


@pytest.mark.parametrize(
    ("passing", "word"),
    [
        ([0.9, 0.5, 0.2, 0.0], "coarsest sieve, 4000 µm"),
        ([1.0, 0.5, 0.2, 0.1], "finest sieve, 500"),
    ],
)
def test_mass_in_an_open_class_without_stated_end_is_refused(passing, word):
    with pytest.raises(NotDeterminable, match=word):
        size_classes(NEST, passing)


@pytest.mark.parametrize(
    ("apertures", "passing"),
    [
        ([500.0, 1000.0], [0.5, 0.2]),
        ([500.0, 500.0], [0.5, 0.2]),
        ([500.0, 0.0], [0.5, 0.2]),
        ([500.0, np.nan], [0.5, 0.2]),
        ([500.0, 250.0], [0.5, 0.6]),
        ([500.0, 250.0], [1.1, 0.6]),
        ([500.0, 250.0], [0.5, -0.1]),
        ([500.0, 250.0], [0.5]),
        ([], []),
    ],
)
def test_numbers_that_make_no_curve_are_refused(apertures, passing):
    with pytest.raises(Impossible):
        checked_curve(apertures, passing)


@pytest.mark.parametrize("ends", [OpenEnds(500.0), OpenEnds(-1.0), OpenEnds(None, 4000.0)])
def test_an_end_inside_the_nest_is_refused(ends):
    with pytest.raises(OutOfRange):
        size_classes(NEST, [1.0, 0.5, 0.2, 0.0], ends)


def test_density_is_share_over_width_and_over_log_width():
    result = density([400.0, 200.0, 100.0], [1.0, 0.4, 0.1])

    np.testing.assert_allclose(result.q3_per_um, [0.6 / 200, 0.3 / 100], rtol=1e-14)
    np.testing.assert_allclose(result.q3_log, [0.6 / np.log(2), 0.3 / np.log(2)], rtol=1e-14)


def test_class_down_to_zero_has_no_density_over_log_size():
    result = density([400.0, 200.0], [1.0, 0.4], OpenEnds(pan_lower_um=0.0))

    assert np.isnan(result.q3_log[-1])
    assert result.q3_per_um[-1] == pytest.approx(0.4 / 200, rel=1e-14)


@given(curves(runs=3))
def test_density_integrates_to_the_mass_between_the_sieves(curve):
    apertures, passing = curve

    result = density(apertures, passing)

    widths, logs = result.upper_um - result.lower_um, np.log(result.upper_um / result.lower_um)
    inside = passing[:, 0] - passing[:, -1]
    np.testing.assert_allclose((result.q3_per_um * widths).sum(axis=-1), inside, atol=1e-12)
    np.testing.assert_allclose((result.q3_log * logs).sum(axis=-1), inside, atol=1e-12)


@given(curves(runs=3))
def test_batch_of_densities_equals_run_by_run(curve):
    apertures, passing = curve

    together = density(apertures, passing)

    for run, one in enumerate(passing):
        np.testing.assert_array_equal(together.q3_log[run], density(apertures, one).q3_log)


def test_missing_weighing_makes_only_its_own_classes_unknown():
    result = density(NEST, [1.0, 0.75, np.nan, 0.0])

    assert np.isnan(result.q3_per_um).tolist() == [False, True, True]


def test_bimodal_mixture_shows_both_modes_highest_first():
    nest = [8000, 4000, 2000, 1000, 500, 250]  # steps of two, so masses compare like q3*

    found = modes(nest, [1.0, 0.9, 0.5, 0.4, 0.15, 0.0])  # 10 40 10 25 15 %

    assert [(mode.lower_um, mode.upper_um) for mode in found] == [(2000, 4000), (500, 1000)]
    assert found[1].relative_height == pytest.approx(25 / 40, rel=1e-12)
    assert found[0].size_um == pytest.approx(np.sqrt(8e6), rel=1e-14)
    assert not any(mode.is_at_edge for mode in found)


def test_wide_class_does_not_make_a_false_mode():
    # 40 % over 2000-500 (two octaves) is lower per octave than 30 % over 4000-2000
    [mode] = modes([8000, 4000, 2000, 500, 250], [1.0, 0.9, 0.6, 0.2, 0.0])

    assert (mode.lower_um, mode.upper_um) == (2000, 4000)


def test_level_top_is_one_mode_over_all_its_classes():
    [mode] = modes([4000, 2000, 1000, 500, 250], [1.0, 0.9, 0.5, 0.1, 0.0])

    assert (mode.lower_um, mode.upper_um) == (500, 2000)
    assert mode.size_um == pytest.approx(1000, rel=1e-14)


def test_mode_next_to_a_full_pan_is_marked():
    [mode] = modes([1000, 500, 250], [1.0, 0.8, 0.3])

    assert mode.is_at_edge


def test_nothing_between_the_sieves_has_no_mode():
    assert modes([1000, 500], [1.0, 1.0]) == ()


@pytest.mark.parametrize(
    ("apertures", "passing"), [([500], [0.5]), ([1000, 500], [1.0, np.nan]), (NEST, [[1, 1, 0, 0]])]
)
def test_mode_of_an_incomplete_run_is_refused(apertures, passing):
    with pytest.raises(NotDeterminable):
        modes(apertures, passing)
