"""Power lines and departure from them; expected values by hand."""

import numpy as np
import pytest
from hypothesis import given

from gradation.science.errors import OutOfRange
from gradation.science.power_lines import (
    FULLER_EXPONENT,
    PowerLine,
    departure,
    power_abscissa,
)
from tests.science.test_density import curves


def test_fuller_parabola_by_hand():
    line = PowerLine(16000.0, FULLER_EXPONENT)

    assert line.passing([32000, 16000, 4000, 1000, 0]).tolist() == [1, 1, 0.5, 0.25, 0]


def test_line_is_straight_on_its_own_chart():
    line, sizes = PowerLine(19000.0), np.array([19000.0, 4750.0, 600.0, 75.0])

    slope = line.passing(sizes) / power_abscissa(sizes)

    np.testing.assert_allclose(slope, slope[0], rtol=1e-13)


def test_departure_by_hand():
    result = departure([16000, 4000, 1000], [1.0, 0.6, 0.05], PowerLine(16000, 0.5))

    np.testing.assert_allclose(result.difference, [0, 0.1, -0.2], atol=1e-15)
    assert float(result.largest) == pytest.approx(-0.2, rel=1e-12)
    assert float(result.largest_at_um) == 1000
    assert float(result.mean) == pytest.approx(-0.05, rel=1e-12)
    assert float(result.root_mean_square) == pytest.approx(np.sqrt(0.025), rel=1e-12)


@given(curves(runs=3))
def test_batch_of_departures_equals_run_by_run(curve):
    apertures, passing = curve
    line = PowerLine(float(apertures[0]))

    together = departure(apertures, passing, line)

    for run, one in enumerate(passing):
        alone = departure(apertures, one, line)
        assert together.largest[run] == alone.largest
        assert together.largest_at_um[run] == alone.largest_at_um
        assert together.root_mean_square[run] == pytest.approx(alone.root_mean_square, rel=1e-12)


def test_missing_weighing_leaves_the_summary_of_that_run_unknown():
    result = departure([16000, 4000, 1000], [1.0, np.nan, 0.05], PowerLine(16000, 0.5))

    assert np.isnan([result.largest, result.largest_at_um, result.mean]).all()
    assert np.isfinite(result.difference[2])


@pytest.mark.parametrize(("largest", "exponent"), [(0.0, 0.5), (1.0, 0.0), (np.inf, 0.5)])
def test_line_that_cannot_be_is_refused(largest, exponent):
    with pytest.raises(OutOfRange):
        PowerLine(largest, exponent)


def test_sizes_outside_their_range_are_refused():
    with pytest.raises(OutOfRange):
        PowerLine(100.0).passing(-1.0)
    with pytest.raises(OutOfRange):
        power_abscissa([-1.0])
    with pytest.raises(OutOfRange):
        departure([500, 250], [0.5, 0.2], PowerLine(250.0))
