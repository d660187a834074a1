"""Uncertainty of what the lines of a specification look at."""

from decimal import Decimal
from math import sqrt

import pytest

from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.interpolation import Interpolation
from gradation.science.line_uncertainty import line_standards
from gradation.science.uncertainty import Balance, Weighings, passing_uncertainty
from tests.builders import make_gradation

SAND = passing_uncertainty(make_gradation(), Weighings(Balance(0.1)))
"""500 g of sand: 24 % passing 300 µm, 10 % passing 150 µm; each mass read to 0.1 g."""
READING = 2 * 0.1**2 / 12  # variance of a net mass: two rectangular readings


def standard(line, values_of=lambda curve: {}):
    return line_standards(SAND, [line], Interpolation.LOG_LINEAR, values_of)[0]


def characteristic(name):
    return EnvelopeLine(LineKind.CHARACTERISTIC, characteristic=name, maximum=Decimal(300))


def test_line_at_a_sieve_has_the_uncertainty_of_its_passing():
    # u^2(Q) = v (k + C^2)/M^2: five fractions above 300 µm, 76 % of 500 g.
    expected = 100 * sqrt(READING * (5 + 0.76**2)) / 500

    found = standard(EnvelopeLine(aperture_um=Decimal(300), maximum=Decimal(30)))

    assert found == pytest.approx(expected, rel=1e-9)


def test_what_lies_between_two_sieves_has_the_uncertainty_of_its_own_mass():
    # 70 g of 500 g between 300 and 150 µm: one net mass over the dry mass,
    # u^2 = v (1 + 0.14^2)/M^2; the masses above cancel.
    expected = 100 * sqrt(READING * (1 + 0.14**2)) / 500

    found = standard(
        EnvelopeLine(LineKind.BETWEEN, Decimal(300), Decimal(150), maximum=Decimal(20))
    )

    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("values", [{}, {"d5": None}])
def test_value_that_is_not_determined_has_no_uncertainty(values):
    assert standard(characteristic("d5"), lambda curve: values) is None


def test_value_that_leaves_the_range_on_one_side_is_moved_to_the_other():
    # A value 1000 times the passing at 75 µm that is not determined above 4 % moves by 1000 u(Q)
    # all the same: the downward half of the difference is left.
    def scaled(curve):
        passing = float(curve.passing[-1])
        return {"scaled": None if passing > 0.04 + 1e-9 else 1000 * passing}

    u_passing_pct = standard(EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5)))

    assert standard(characteristic("scaled"), scaled) == pytest.approx(10 * u_passing_pct, rel=1e-6)
