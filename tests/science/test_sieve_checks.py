"""Checks of a sieve's aperture: the edition's limits or stated ones, with the standing of both."""

import math

import pytest

from gradation.science.conformity import Edition, permitted_deviations
from gradation.science.effective_apertures import ReferenceCertificate
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.sieve_checks import (
    MeasuredApertures,
    StatedLimits,
    judge_effective,
    judge_measured,
    tolerance_source,
)

#: ASTM E11-17 at 75 µm, printed: Y 4.1 µm, X 29 µm, standard deviation 10.23 µm.
ASTM_75 = permitted_deviations(75, Edition.ASTM_E11_17)
PLATE = StatedLimits(8000.0, 80.0, 160.0, "maker's certificate")


def cloth(*readings_um, **values):
    return MeasuredApertures(readings_um, readings_um, **values)


@pytest.mark.parametrize(("mean_um", "passed"), [(79.1, True), (79.2, False), (70.8, False)])
def test_mean_keeps_y_to_either_side(mean_um, passed):
    assert judge_measured(cloth(mean_um, mean_um), ASTM_75).passed is passed


def test_one_direction_beyond_its_limit_fails_though_the_mean_of_both_is_true():
    measured = MeasuredApertures((80.0, 80.0), (70.0, 70.0))

    verdict = judge_measured(measured, ASTM_75)

    assert verdict.aperture_um == 75.0
    assert not verdict.passed


@pytest.mark.parametrize(("largest_um", "passed"), [(104.0, True), (104.1, False)])
def test_largest_opening_found_anywhere_keeps_x(largest_um, passed):
    assert judge_measured(cloth(75.0, 75.0, largest_um=largest_um), ASTM_75).passed is passed


def test_largest_reading_counts_when_none_larger_was_found():
    verdict = judge_measured(cloth(45.0, 105.0, largest_um=80.0), ASTM_75)

    assert verdict.warp.largest_um == 105.0


def test_uncertainty_is_of_the_means_and_the_resolution():
    """s = 2 of 4 readings in each direction: u^2 = (4/4 + 4/4) / 4 + 1.2^2 / 12 = 0.5 + 0.12."""
    readings = (73.0, 75.0, 75.0, 77.0)
    spread = math.sqrt(((2**2) * 2) / 3)

    verdict = judge_measured(cloth(*readings, resolution_um=1.2), ASTM_75)

    expected = math.sqrt((spread**2 / 4 * 2) / 4 + 1.2**2 / 12)
    assert verdict.standard_um == pytest.approx(expected, rel=1e-12)


def test_stated_limits_name_their_source_and_are_not_marked_unconfirmed():
    verdict = judge_measured(cloth(8080.0, largest_um=8160.0), PLATE)

    assert verdict.passed
    assert "maker's certificate" in verdict.sentence
    assert "confirm" not in verdict.sentence
    assert not judge_measured(cloth(8080.0, largest_um=8160.5), PLATE).passed
    assert not judge_measured(cloth(8080.5), PLATE).passed


@pytest.mark.parametrize(("mean", "single", "source"), [(0, 1, "x"), (1, -1, "x"), (1, 1, " ")])
def test_stated_limits_are_above_zero_and_have_a_source(mean, single, source):
    with pytest.raises(OutOfRange):
        StatedLimits(100.0, mean, single, source)


def test_limits_from_one_source_or_from_formulae_are_marked():
    by_table = judge_measured(cloth(75.0), ASTM_75)
    by_formula = judge_measured(cloth(77.0), permitted_deviations(77, Edition.ASTM_E11_17))

    assert "(Limits from one source: confirm" in by_table.sentence
    assert "(Limits from memory: confirm" in by_formula.sentence
    assert tolerance_source(77, Edition.ASTM_E11_17)[1] == "from memory"


def test_effective_aperture_is_held_against_y():
    """Between 50 % at 150 µm and 70 % at 160 µm: 62 % is 156 µm, 66 % is 158 µm; Y is 6.6 µm."""
    beads = ReferenceCertificate((125, 140, 150, 160, 180), (0.1, 0.3, 0.5, 0.7, 0.9))
    limits = permitted_deviations(150, Edition.ASTM_E11_17)

    inside, outside = (judge_effective(beads, share, 0.0, limits) for share in (0.62, 0.66))

    assert (inside.passed, outside.passed) == (True, False)
    assert outside.aperture_um == pytest.approx(158.0, rel=1e-12)


def test_share_beyond_the_certified_range_tells_nothing():
    beads = ReferenceCertificate((125, 180), (0.1, 0.9))

    with pytest.raises(NotDeterminable, match="certified from 10 to 90 %"):
        judge_effective(beads, 0.95, 0.0, permitted_deviations(150, Edition.ASTM_E11_17))
    with pytest.raises(OutOfRange):
        judge_effective(beads, 1.2, 0.0, permitted_deviations(150, Edition.ASTM_E11_17))


@pytest.mark.parametrize("resolution_um", [-0.1, float("nan")])
def test_instrument_without_a_sound_resolution_is_refused(resolution_um):
    with pytest.raises(OutOfRange, match="resolution of the measuring instrument"):
        judge_measured(cloth(75.0, resolution_um=resolution_um), ASTM_75)
