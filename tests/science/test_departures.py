"""Departures of one sieve from its sisters, worked by hand."""

from math import erfc, sqrt

import numpy as np
import pytest

from gradation.science.departures import Compared, departure
from gradation.science.errors import NotDeterminable, OutOfRange

SISTERS = (48, 49, 50, 51, 52)  # median 50; absolute deviations 2 1 0 1 2, their median 1


def test_difference_uncertainty_and_z_are_those_worked_by_hand():
    found = departure([Compared(own=(52, 53, 54, 55, 56), sisters=SISTERS)])

    # Departures 2..6: median 4, spread 1.483 on either side, five values each.
    u = sqrt(2 * (1.25 * 1.483) ** 2 / 5)
    assert (found.own_runs, found.sister_runs, found.materials) == (5, 5, 1)
    assert found.median_difference == 4
    assert found.standard == pytest.approx(u, rel=1e-12)
    assert found.z == pytest.approx(4 / u, rel=1e-12)
    assert found.p == pytest.approx(erfc(4 / u / sqrt(2)), rel=1e-12)


def test_each_material_is_compared_with_its_own_centre():
    fine = Compared(own=(92, 93, 94), sisters=(88, 89, 90, 91, 92))
    coarse = Compared(own=(12, 13, 14), sisters=(8, 9, 10, 11, 12))

    found = departure([fine, coarse])

    # Departures 2 3 4 2 3 4: median 3; the level of the material cancels.
    assert (found.median_difference, found.materials, found.own_runs) == (3, 2, 6)


def test_like_sieves_do_not_depart():
    found = departure([Compared(own=SISTERS, sisters=SISTERS)])

    assert (found.median_difference, found.z, found.p) == (0, 0, 1)


def test_one_odd_run_does_not_make_a_sieve_suspect():
    odd = departure([Compared(own=(48, 49, 50, 51, 99), sisters=SISTERS)])

    assert odd.median_difference == 0


def test_nothing_scattering_is_certain_or_no_departure():
    same = Compared(own=[50.0] * 5, sisters=[50.0] * 5)
    other = Compared(own=[51.0] * 5, sisters=[50.0] * 5)

    assert departure([same]).z == 0
    assert (departure([other]).z, departure([other]).p) == (np.inf, 0)


def test_more_than_half_alike_still_scatter():
    found = departure([Compared(own=(50, 50, 50, 50, 55), sisters=SISTERS)])

    assert found.standard > 1.25 * 1.483 / sqrt(5)


@pytest.mark.parametrize(
    "compared",
    [
        Compared(own=(50, 51, 52, 53), sisters=SISTERS),  # four runs of its own
        Compared(own=(50, 51, 52, 53, 54), sisters=(50, 51, 52, 53)),  # four of its sisters
        Compared(own=(), sisters=SISTERS),
    ],
)
def test_too_few_runs_are_refused(compared):
    with pytest.raises(NotDeterminable, match="Too few runs"):
        departure([compared])


def test_a_missing_result_is_refused():
    with pytest.raises(NotDeterminable, match="not a number"):
        departure([Compared(own=(50, 51, 52, 53, np.nan), sisters=SISTERS)])


def test_a_comparison_of_single_runs_is_refused():
    with pytest.raises(OutOfRange):
        departure([], least_runs=1)
