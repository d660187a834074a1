"""Motion of the deck and flight of the grains."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from gradation.science import shaking
from gradation.science.errors import OutOfRange

amplitudes = st.floats(0.01, 50.0)
frequencies = st.floats(1.0, 200.0)


def flight_by_walking(K: float) -> float:
    """Landing found by walking along the grain's height over the deck: no transformation."""
    start = np.arcsin(1 / K)

    def height(T: float) -> float:
        return np.sin(start) + T * np.cos(start) - T * T / (2 * K) - np.sin(start + T)

    steps = np.linspace(1e-3, 4 * np.pi * K, 200_001)
    heights = height(steps)
    landing = np.flatnonzero((heights[:-1] > 0) & (heights[1:] <= 0))[0]
    return brentq(height, steps[landing], steps[landing + 1], xtol=1e-14) / (2 * np.pi)


@given(amplitudes, frequencies)
def test_amplitude_and_acceleration_invert_each_other(amplitude, frequency):
    acceleration = shaking.peak_acceleration_m_s2(amplitude, frequency)

    back = shaking.amplitude_pp_mm(acceleration, frequency)

    assert float(back) == pytest.approx(amplitude, rel=1e-14)


def test_sixty_hertz_accelerates_one_point_four_four_times_as_much():
    at_50, at_60 = shaking.peak_acceleration_m_s2(1.5, [50.0, 60.0])

    assert at_60 / at_50 == pytest.approx(float(Fraction(60, 50) ** 2), rel=1e-15)


@given(amplitudes, frequencies, frequencies)
def test_equal_acceleration_amplitude_gives_equal_acceleration(amplitude, first, second):
    other = shaking.equal_acceleration_amplitude_mm(amplitude, first, second)

    assert shaking.peak_acceleration_m_s2(other, second) == pytest.approx(
        shaking.peak_acceleration_m_s2(amplitude, first), rel=1e-13
    )


@pytest.mark.parametrize("K", [1.05, 1.5, 2.0, 2.5, 3.0, 3.2969, 4.0, 5.0, 8.0, 20.0])
def test_flight_agrees_with_walking_along_the_parabola(K):
    assert float(shaking.flight_periods(K)) == pytest.approx(flight_by_walking(K), abs=1e-10)


@pytest.mark.parametrize("K", [0.0, 0.5, 1.0])
def test_nothing_flies_up_to_a_throw_number_of_one(K):
    assert float(shaking.flight_periods(K)) == 0.0


def test_flight_just_above_one_is_short_and_accurate():
    # T -> 4 sqrt(K^2 - 1) for small T, first term of the series of F(T)
    K = 1 + 1e-9

    assert float(shaking.flight_periods(K)) * 2 * np.pi == pytest.approx(
        4 * np.sqrt(K * K - 1), rel=1e-4
    )


@given(st.lists(st.floats(0.0, 60.0), min_size=2, max_size=30))
def test_flight_never_shortens_as_throw_rises(throws):
    flights = shaking.flight_periods(sorted(throws))

    assert np.all(np.diff(flights) >= -1e-12)


@pytest.mark.parametrize("periods", [1, 2, 3, 7])
def test_flight_at_a_resonance_lasts_whole_periods(periods):
    K = shaking.resonance_throw_number(periods)

    assert float(shaking.flight_periods(K)) == pytest.approx(periods, abs=1e-6)


def test_first_resonance_is_the_root_of_one_plus_pi_squared():
    # pi^2 = 9.8696044, root of 10.8696044 = 3.2969083 (tables of square roots)
    assert shaking.resonance_throw_number(1) == pytest.approx(3.2969083, abs=5e-8)


@pytest.mark.parametrize(("K", "periods"), [(0.5, 1), (3.3, 1), (4.7, 1), (4.9, 2), (9.4, 3)])
def test_nearest_resonance(K, periods):
    # resonances 3.297, 6.362, 9.478: halfway points 4.830 and 7.920
    found = shaking.nearest_resonance(K)

    assert found.periods == periods
    assert found.departure == pytest.approx(K - np.hypot(1, periods * np.pi))


def test_inclined_stroke_and_deck_each_change_the_throw():
    level = float(shaking.throw_number(19.6133))
    slanted = float(shaking.throw_number(19.6133, stroke_to_deck_deg=30.0))
    inclined = float(shaking.throw_number(19.6133, deck_incline_deg=60.0))

    assert (level, slanted, inclined) == pytest.approx((2.0, 1.0, 4.0), rel=1e-14)


def test_batch_equals_one_by_one():
    throws = np.array([[0.5, 1.5], [3.0, 6.0]])

    batch = shaking.flight_periods(throws)

    assert batch.shape == throws.shape
    assert [float(shaking.flight_periods(K)) for K in throws.ravel()] == batch.ravel().tolist()


@pytest.mark.parametrize(
    "refused",
    [
        lambda: shaking.peak_acceleration_m_s2(-1.0, 50.0),
        lambda: shaking.peak_acceleration_m_s2(1.0, 0.0),
        lambda: shaking.peak_acceleration_m_s2(float("nan"), 50.0),
        lambda: shaking.amplitude_pp_mm(-1.0, 50.0),
        lambda: shaking.equal_acceleration_amplitude_mm(1.0, 50.0, 0.0),
        lambda: shaking.acceleration_in_g(float("inf")),
        lambda: shaking.throw_number(10.0, stroke_to_deck_deg=0.0),
        lambda: shaking.throw_number(10.0, stroke_to_deck_deg=91.0),
        lambda: shaking.throw_number(10.0, deck_incline_deg=90.0),
        lambda: shaking.flight_periods(-0.1),
        lambda: shaking.resonance_throw_number(0),
    ],
)
def test_settings_no_shaker_can_have_are_refused(refused):
    with pytest.raises(OutOfRange):
        refused()
