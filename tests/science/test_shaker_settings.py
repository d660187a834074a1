"""Two runs shaken alike or not, and why."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gradation.science.errors import OutOfRange
from gradation.science.shaker_settings import (
    Drive,
    SettingTolerances,
    ShakerSettings,
    compare_settings,
    describe_motion,
)

THROWN = ShakerSettings(
    Drive.VERTICAL_THROW, amplitude_pp_mm=1.44, frequency_hz=50.0, duration_s=600.0
)
TAPPED = ShakerSettings(Drive.HORIZONTAL_AND_TAPPING, duration_s=600.0, taps_per_min=150.0)


def test_same_settings_are_comparable():
    found = compare_settings(THROWN, THROWN)

    assert found.comparable is True
    assert "acceleration" in found.reasons[0]


def test_same_amplitude_on_other_mains_is_not_comparable_and_says_why():
    found = compare_settings(THROWN, replace(THROWN, frequency_hz=60.0))

    assert found.comparable is False
    assert "50 Hz and 60 Hz" in " ".join(found.reasons)


def test_amplitude_corrected_for_mains_is_comparable():
    # 1.44 mm at 50 Hz accelerates as 1.44 / 1.44 = 1 mm does at 60 Hz
    found = compare_settings(THROWN, replace(THROWN, amplitude_pp_mm=1.0, frequency_hz=60.0))

    assert found.comparable is True


def test_shaker_set_by_acceleration_compares_with_one_set_by_amplitude():
    # (2 pi 50)^2 x 0.72 mm = 71.06 m/s2
    by_acceleration = ShakerSettings(
        Drive.VERTICAL_THROW, acceleration_m_s2=71.06, duration_s=600.0
    )

    assert compare_settings(THROWN, by_acceleration).comparable is True


def test_other_drive_is_never_comparable():
    found = compare_settings(THROWN, TAPPED)

    assert found.comparable is False
    assert "horizontal and tapping" in found.reasons[0]


def test_amplitude_without_frequency_leaves_it_open():
    found = compare_settings(THROWN, replace(THROWN, frequency_hz=None))

    assert found.comparable is None
    assert "second run" in found.reasons[0]


def test_a_difference_settles_it_even_when_something_is_missing():
    found = compare_settings(THROWN, replace(THROWN, frequency_hz=None, duration_s=300.0))

    assert found.comparable is False
    assert len(found.reasons) == 2


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"duration_s": 700.0}, "Time shaken"),
        ({"interval_s": 10.0}, "pauses"),
    ],
)
def test_thrown_runs_differ_in_time_or_pauses(change, word):
    found = compare_settings(THROWN, replace(THROWN, **change))

    assert found.comparable is False
    assert word in found.reasons[0]


def test_different_intervals_between_pauses_are_named():
    found = compare_settings(replace(THROWN, interval_s=10.0), replace(THROWN, interval_s=20.0))

    assert "interval" in found.reasons[0]


def test_same_interval_between_pauses_keeps_runs_comparable():
    paused = replace(THROWN, interval_s=10.0)

    assert compare_settings(paused, paused).comparable is True


def test_taps_are_compared_and_missed():
    assert compare_settings(TAPPED, replace(TAPPED, taps_per_min=100.0)).comparable is False
    assert compare_settings(TAPPED, replace(TAPPED, taps_per_min=None)).comparable is None
    assert compare_settings(TAPPED, TAPPED).comparable is True


def test_tolerance_belongs_to_the_same():
    # 600 s and 570 s differ by exactly 5 % of the larger
    at_edge = compare_settings(THROWN, replace(THROWN, duration_s=570.0))
    beyond = compare_settings(THROWN, replace(THROWN, duration_s=569.0))

    assert (at_edge.comparable, beyond.comparable) == (True, False)


def test_grains_not_thrown_is_said():
    gentle = replace(THROWN, amplitude_pp_mm=0.1)  # 4.93 m/s2, half of gravity

    found = compare_settings(THROWN, gentle)

    assert "not thrown" in found.reasons[0]


def test_missing_duration_is_said():
    found = compare_settings(replace(THROWN, duration_s=None), THROWN)

    assert found.comparable is None
    assert "time shaken of the first run" in found.reasons[0]


def test_senseless_tolerance_is_refused():
    with pytest.raises(OutOfRange, match=r"0\.05"):
        compare_settings(THROWN, THROWN, SettingTolerances(duration=1.5))


def test_motion_puts_the_figures_side_by_side():
    # (2 pi 25)^2 x 1.5 mm = 37.011 m/s2 = 3.774 g (kinematics)
    motion = describe_motion(3.0, 25.0)

    assert motion.acceleration_m_s2 == pytest.approx(37.011, abs=5e-4)
    assert motion.throw_number == pytest.approx(3.774, abs=5e-4)
    assert motion.leaves_deck
    assert motion.resonance.periods == 1
    assert motion.resonance.departure == pytest.approx(3.774 - 3.297, abs=1e-3)
