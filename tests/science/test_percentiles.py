"""Sizes at a passing and passings at a size: five rules, edges, outside the range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.gradation import gradation
from gradation.science.percentiles import (
    Interpolation,
    passing_at_size,
    percentile_name,
    percentiles,
    size_at_passing,
)
from tests.builders import from_passing, make_gradation

RULES = list(Interpolation)
APERTURES = np.asarray([4000.0, 2000.0, 1000.0, 500.0, 250.0, 125.0])


@st.composite
def curves(draw: st.DrawFn) -> np.ndarray:
    """A falling curve on six sieves, with level stretches and ends of 0 and 100 %."""
    steps = draw(st.lists(st.integers(0, 400), min_size=7, max_size=7).filter(any))
    return 1 - np.cumsum(steps[:-1]) / sum(steps)


def test_straight_on_log_aperture_by_hand() -> None:
    """Half way from 40 to 80 % between 100 and 400 µm lies at sqrt(100 x 400) = 200 µm."""
    assert size_at_passing([400, 100], [0.8, 0.4], 0.6).size_um == pytest.approx(200, rel=1e-14)


def test_straight_on_aperture_by_hand() -> None:
    found = size_at_passing([400, 100], [0.8, 0.4], 0.6, Interpolation.LINEAR)

    assert found.size_um == pytest.approx(250, rel=1e-14)


def test_straight_on_probability_paper_finds_the_median_of_a_log_normal() -> None:
    """16 % and 84 % (one deviation each way, 0.158655) lie evenly about the median."""
    share = 0.15865525393145707  # normal distribution at -1, from tables

    found = size_at_passing([400, 100], [1 - share, share], 0.5, Interpolation.LOG_PROBABILITY)

    assert found.size_um == pytest.approx(200, rel=1e-12)


def test_straight_on_rrsb_paper_reads_back_an_rrsb_curve() -> None:
    """Q = 1 - exp(-(x/x')^n) is a straight line there: any D follows in closed form."""
    x_prime, n = 300.0, 1.4
    passing = 1 - np.exp(-((APERTURES / x_prime) ** n))

    found = size_at_passing(APERTURES, passing, [0.3, 0.5, 0.8], Interpolation.RRSB).size_um

    exact = x_prime * (-np.log1p(-np.asarray([0.3, 0.5, 0.8]))) ** (1 / n)
    np.testing.assert_allclose(found, exact, rtol=1e-11)


@given(curves(), st.lists(st.floats(125, 4000), min_size=1, max_size=6))
def test_monotone_cubic_equals_a_general_library(curve: np.ndarray, sizes: list[float]) -> None:
    reference = PchipInterpolator(np.log(APERTURES[::-1]), curve[::-1])

    found = passing_at_size(APERTURES, curve, sizes, Interpolation.PCHIP_LOG)

    np.testing.assert_allclose(found, reference(np.log(sizes)), rtol=0, atol=1e-12)


@pytest.mark.parametrize("rule", RULES)
def test_a_passing_of_a_sieve_gives_its_aperture_exactly(rule: Interpolation) -> None:
    passing = [0.98, 0.9, 0.7, 0.46, 0.24, 0.1]

    found = size_at_passing(APERTURES, passing, passing, rule)

    np.testing.assert_array_equal(found.size_um, APERTURES)


@given(curves(), st.floats(0.001, 1), st.sampled_from(RULES))
def test_size_at_passing_inverts_the_curve(
    curve: np.ndarray, share: float, rule: Interpolation
) -> None:
    found = size_at_passing(APERTURES, curve, share, rule)

    if np.isnan(found.size_um):
        assert found.is_below != found.is_above
        assert share < curve[-1] if found.is_below else share > curve[0]
    else:
        back = passing_at_size(APERTURES, curve, float(found.size_um), rule)
        # a size is known to 1e-16 of itself; the steepest curve here turns that into 1e-11
        assert back == pytest.approx(share, rel=0, abs=1e-9)


@given(curves(), st.lists(st.floats(0.001, 1), min_size=2, max_size=2), st.sampled_from(RULES))
def test_more_passing_never_means_a_smaller_size(
    curve: np.ndarray, shares: list[float], rule: Interpolation
) -> None:
    low, high = size_at_passing(APERTURES, curve, sorted(shares), rule).size_um

    assert np.isnan(low) or np.isnan(high) or low <= high * (1 + 1e-12)


@given(curves(), st.floats(100, 5000), st.sampled_from(RULES))
def test_interpolated_passing_lies_between_its_neighbours(
    curve: np.ndarray, size_um: float, rule: Interpolation
) -> None:
    found = passing_at_size(APERTURES, curve, size_um, rule)

    if 125 <= size_um <= 4000:
        finer = curve[size_um >= APERTURES].max()
        coarser = curve[size_um <= APERTURES].min()
        assert finer - 1e-12 <= found <= coarser + 1e-12


@given(st.lists(curves(), min_size=1, max_size=4), st.sampled_from(RULES))
def test_a_batch_of_curves_equals_them_one_by_one(
    several: list[np.ndarray], rule: Interpolation
) -> None:
    shares = [0.1, 0.5, 0.9]
    sizes = [100.0, 300.0, 1000.0, 5000.0]

    batch = size_at_passing(APERTURES, several, shares, rule)
    passings = passing_at_size(APERTURES, several, sizes, rule)

    for number, curve in enumerate(several):
        one = size_at_passing(APERTURES, curve, shares, rule)
        np.testing.assert_array_equal(batch.size_um[number], one.size_um)
        np.testing.assert_array_equal(batch.is_below[number], one.is_below)
        np.testing.assert_array_equal(batch.is_above[number], one.is_above)
        np.testing.assert_array_equal(batch.is_straight[number], one.is_straight)
        np.testing.assert_array_equal(
            passings[number], passing_at_size(APERTURES, curve, sizes, rule)
        )


@pytest.mark.parametrize("rule", RULES)
def test_outside_the_sieves_there_is_a_flag_and_no_size(rule: Interpolation) -> None:
    found = size_at_passing([400, 100], [0.8, 0.4], [0.1, 0.6, 0.9], rule)

    assert np.isnan(found.size_um).tolist() == [True, False, True]
    assert found.is_below.tolist() == [True, False, False]
    assert found.is_above.tolist() == [False, False, True]


@pytest.mark.parametrize("rule", RULES)
def test_level_stretch_gives_its_finer_end(rule: Interpolation) -> None:
    """50 % pass both 400 and 200 µm: D50 is the smallest size that half the mass passes."""
    found = size_at_passing([800, 400, 200, 100], [1, 0.5, 0.5, 0.1], 0.5, rule)

    assert found.size_um == 200


@pytest.mark.parametrize("rule", RULES)
def test_d100_is_the_smallest_sieve_that_passes_everything(rule: Interpolation) -> None:
    assert size_at_passing([800, 400, 200], [1, 1, 0.5], 1.0, rule).size_um == 400


def test_all_on_one_sieve_and_all_in_the_pan() -> None:
    on_one = gradation([400, 200, 100], [0.0, 50.0, 0.0, 0.0], 50.0)
    in_pan = gradation([400, 200, 100], [0.0, 0.0, 0.0, 50.0], 50.0)
    on_top = gradation([400, 200, 100], [50.0, 0.0, 0.0, 0.0], 50.0)

    half = size_at_passing(on_one.apertures_um, on_one.passing, 0.5)
    assert half.size_um == pytest.approx(np.sqrt(400 * 200), rel=1e-14)
    assert size_at_passing(in_pan.apertures_um, in_pan.passing, 0.5).is_below
    assert size_at_passing(on_top.apertures_um, on_top.passing, 0.5).is_above


def test_single_sieve_tells_only_its_own_passing() -> None:
    assert size_at_passing([75], [0.2], 0.2).size_um == 75
    assert size_at_passing([75], [0.2], 0.1).is_below
    assert size_at_passing([75], [0.2], 0.3).is_above
    assert passing_at_size([75], [0.2], 75.0) == 0.2
    assert np.isnan(passing_at_size([75], [0.2], 80.0))


@pytest.mark.parametrize("rule", [Interpolation.LOG_PROBABILITY, Interpolation.RRSB])
def test_papers_without_0_and_100_percent_say_that_log_aperture_was_used(
    rule: Interpolation,
) -> None:
    apertures, passing = [800, 400, 200, 100], [1, 0.6, 0.2, 0]
    plain = Interpolation.LOG_LINEAR

    found = size_at_passing(apertures, passing, [0.1, 0.4, 0.8, 0.6], rule)

    assert found.is_straight.tolist() == [True, False, True, False]
    straight = size_at_passing(apertures, passing, [0.1, 0.8], plain).size_um
    np.testing.assert_allclose(found.size_um[[0, 2]], straight, rtol=1e-14)


def test_certain_ends_are_known_beyond_the_sieves() -> None:
    found = passing_at_size([800, 400, 200], [1, 0.5, 0], [1000, 800, 200, 100])
    unsure = passing_at_size([800, 400, 200], [0.99, 0.5, 0.01], [1000, 100])

    assert found.tolist() == [1, 1, 0, 0]
    assert np.isnan(unsure).all()


@pytest.mark.parametrize("share", [0.0, -0.1, 1.01, float("nan")])
def test_only_shares_above_nothing_and_up_to_all_have_a_size(share: float) -> None:
    with pytest.raises(OutOfRange):
        size_at_passing([400, 100], [0.8, 0.4], share)


def test_what_is_no_cumulative_curve_is_refused() -> None:
    with pytest.raises(Impossible, match="rises"):
        size_at_passing([400, 100], [0.4, 0.8], 0.5)
    with pytest.raises(Impossible, match="coarse to fine"):
        size_at_passing([100, 400], [0.8, 0.4], 0.5)
    with pytest.raises(Impossible, match="as many"):
        passing_at_size([400, 100], [0.8], 200.0)
    with pytest.raises(OutOfRange):
        passing_at_size([400, 100], [0.8, 0.4], 0.0)


def test_texts_say_where_an_unmeasured_size_lies() -> None:
    texts = [each.text for each in percentiles(make_gradation(), [0.02, 0.5, 0.99])]

    assert texts[0] == "< 75 µm"
    assert texts[2] == "> 4.75 mm"
    # 50 % lies 4/24 of the way from 600 to 1180 µm on the log axis: 600 x (1180/600)^(1/6)
    assert texts[1] == "672 µm"


@pytest.mark.parametrize("rule", RULES)
def test_where_no_share_is_asked_for_there_is_no_size(rule: Interpolation) -> None:
    found = size_at_passing(APERTURES, [1.0, 0.9, 0.7, 0.4, 0.2, 0.1], [], rule)

    assert found.size_um.shape == (0,)
    assert percentiles(make_gradation(), [], rule) == ()


def test_names_of_percentiles() -> None:
    assert percentile_name(0.5) == "d50"
    assert percentile_name(0.025) == "d2.5"
    assert percentiles(from_passing([400, 100], [80, 40]), [0.6])[0].name == "d60"


def test_texts_are_for_one_run() -> None:
    batch = gradation([400, 100], [[1.0, 1.0, 1.0]] * 2, [3.0, 3.0])

    with pytest.raises(NotDeterminable):
        percentiles(batch, [0.5])


@pytest.mark.parametrize("interpolation", Interpolation)
@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("share", [0.1, 0.5, 0.62, 0.9])
def test_a_run_with_an_unknown_passing_has_no_sizes(interpolation, place, share):
    passing = np.array([0.95, 0.8, 0.4, 0.05])
    known = size_at_passing([8000.0, 4000.0, 2000.0, 1000.0], passing, share, interpolation)
    passing[place] = np.nan

    found = size_at_passing([8000.0, 4000.0, 2000.0, 1000.0], passing, share, interpolation)

    assert np.isfinite(known.size_um)
    assert np.isnan(found.size_um)
    assert not any((found.is_below, found.is_above, found.is_straight))


def test_an_unknown_passing_leaves_the_other_runs_of_a_batch_alone():
    curves = np.array([[0.9, np.nan], [0.9, 0.3], [np.nan, np.nan]])

    found = size_at_passing([2000.0, 1000.0], curves, [0.1, 0.6])

    assert np.isnan(found.size_um).tolist() == [[True, True], [True, False], [True, True]]
    assert found.is_below.tolist() == [[False, False], [True, False], [False, False]]
