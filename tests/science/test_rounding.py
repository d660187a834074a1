"""Where figures lose digits: once, by rule, with ties as ties."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.rounding import (
    FURTHER_THAN_PASSING,
    FinerRule,
    Rounding,
    RoundingMode,
    reported_passing,
    round_reported,
    round_significant,
    round_uncertainty,
    uncertainty_beside,
)

EVEN, UP = RoundingMode.HALF_EVEN, RoundingMode.HALF_UP
FINER = FinerRule(Decimal(75), Decimal(10), 1)


@pytest.mark.parametrize(
    ("value", "decimals", "even", "up"),
    [
        (16.5, 0, "16", "17"),
        (17.5, 0, "18", "18"),
        (16.4993, 0, "16", "16"),
        (16.499999999999996, 0, "16", "17"),
        (100 * 0.165, 0, "16", "17"),
        (0.5, 0, "0", "1"),
        (-0.5, 0, "0", "-1"),
        (-0.04, 1, "0.0", "0.0"),
        (2.25, 1, "2.2", "2.3"),
        (100.0, 0, "100", "100"),
        (5.0, 2, "5.00", "5.00"),
    ],
)
def test_ties_by_both_rules(value: float, decimals: int, even: str, up: str) -> None:
    """Half to even as in the examples of ASTM E29, 6.4; half up as taught at school."""
    assert str(round_reported(value, decimals, EVEN)) == even
    assert str(round_reported(value, decimals, UP)) == up


def test_unknown_values_and_absurd_decimals_are_refused() -> None:
    with pytest.raises(NotDeterminable):
        round_reported(float("nan"), 0)
    with pytest.raises(NotDeterminable):
        round_reported(Decimal("Infinity"), 0)
    with pytest.raises(OutOfRange):
        round_reported(1.0, 7)
    with pytest.raises(OutOfRange):
        round_significant(1.0, 0)


@pytest.mark.parametrize(
    ("passing_pct", "aperture_um", "reported"),
    [
        (5.48, 75, "5.5"),
        (9.94, 75, "9.9"),
        (9.95, 75, "10"),
        (9.96, 75, "10"),
        (10.4, 75, "10"),
        (5.48, 150, "5"),
        (5.48, None, "5"),
        (0.0, 75, "0.0"),
    ],
)
def test_fines_are_reported_finer_below_ten_percent(
    passing_pct: float, aperture_um: int | None, reported: str
) -> None:
    """ASTM C136, 10.2: 75 µm below 10 % to 0.1 %."""
    assert str(reported_passing(passing_pct, Rounding(finer=(FINER,)), aperture_um)) == reported


@pytest.mark.parametrize(
    ("value", "digits", "rounded"),
    [(189.06, 3, "189"), (1234.0, 3, "1230"), (0.0012345, 3, "0.00123"), (99.96, 3, "100"),
     (0.0, 3, "0"), (-1.005, 3, "-1.00")],
)  # fmt: skip
def test_significant_figures(value: float, digits: int, rounded: str) -> None:
    assert round_significant(value, digits) == Decimal(rounded)


@given(st.decimals(min_value=0, max_value=100, places=5), st.integers(0, 3))
def test_binary_floats_round_like_the_decimals_they_stand_for(
    exact: Decimal, decimals: int
) -> None:
    step = Decimal(1).scaleb(-decimals)

    assert round_reported(float(exact), decimals, EVEN) == exact.quantize(step, ROUND_HALF_EVEN)
    assert round_reported(float(exact), decimals, UP) == exact.quantize(step, ROUND_HALF_UP)


@given(st.floats(0, 100), st.integers(0, 3), st.sampled_from(RoundingMode))
def test_rounding_moves_a_value_by_half_a_unit_at_most(
    value: float, decimals: int, mode: RoundingMode
) -> None:
    moved = abs(float(round_reported(value, decimals, mode)) - value)

    assert moved <= 0.5 * 10**-decimals + 1e-10


@given(st.floats(0, 100), st.floats(0, 100))
def test_rounding_keeps_the_order(one: float, other: float) -> None:
    low, high = sorted((one, other))

    assert round_reported(low, 0) <= round_reported(high, 0)


@pytest.mark.parametrize(
    ("exact_pct", "written"),
    [
        (0, "0"), (0.1736, "0.17"), (1.26, "1.3"), (12.4, "12"), (0.0742, "0.08"), (0.08, "0.08"),
        (0.0030, "0.01"), (0.000001, "0.01"),
    ],
)  # fmt: skip
def test_uncertainty_has_two_digits_and_never_vanishes(exact_pct, written):
    """By hand after JCGM 100:2008, 7.2.6; nothing finer than a passing is ever reported."""
    assert f"{round_uncertainty(exact_pct):f}" == written


@pytest.mark.parametrize(
    ("exact", "decimals", "written"),
    [(0.0091, 1, "0.1"), (0.31, 1, "0.4"), (1.26, 1, "1.3"), (1.26, 0, "2"), (12.4, 0, "12"),
     (0.0173, 3, "0.017"), (0.00004, 3, "0.001")],
)  # fmt: skip
def test_uncertainty_is_written_no_finer_than_the_result_beside_it(exact, decimals, written):
    """By hand after JCGM 100:2008, 7.2.6."""
    assert f"{round_uncertainty(exact, decimals):f}" == written


@pytest.mark.parametrize(
    ("exact", "result", "written"),
    [(0.1736, "38", "1"), (1.26, "38", "2"), (12.4, "100", "12"), (0.1736, "38.4", "0.2"),
     (0.1736, "38.42", "0.17"), (0.000001, "0", "1"), (0.0173, "11.8", "0.1")],
)  # fmt: skip
def test_uncertainty_follows_the_result_as_it_is_printed(exact, result, written):
    """By hand after JCGM 100:2008, 7.2.6: never finer than the result, and never 0."""
    assert f"{uncertainty_beside(exact, result):f}" == written


@pytest.mark.parametrize(
    ("exact", "passing", "written"),
    [(0.1736, "38", "0.2"), (1.26, "38", "1.3"), (0.04, "2", "0.1"), (0.0173, "1.9", "0.02")],
)
def test_uncertainty_of_a_passing_goes_one_place_further(exact, passing, written):
    """By hand after JCGM 100:2008, 7.2.6: an additional digit, and never 0."""
    assert f"{uncertainty_beside(exact, passing, FURTHER_THAN_PASSING):f}" == written


@pytest.mark.parametrize("result", ["", "n.d.", "nan"])
def test_beside_what_is_no_number_no_uncertainty_is_written(result):
    with pytest.raises(NotDeterminable, match="no number"):
        uncertainty_beside(0.1, result)


@pytest.mark.parametrize("decimals", [-1, 7])
def test_uncertainty_refuses_decimals_that_no_result_has(decimals):
    with pytest.raises(OutOfRange, match="0 to 6 decimals"):
        round_uncertainty(0.1, decimals)
