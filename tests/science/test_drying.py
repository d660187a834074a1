"""Moist and dry masses."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.drying import constant_after, dry_mass_g, mass_changes_pct, moisture_pct
from gradation.science.errors import Impossible


def test_dry_mass_by_hand() -> None:
    """10 % of the dry mass: 550 g moist are 500 g dry."""
    assert dry_mass_g(Decimal(550), Decimal(10)) == 500
    assert moisture_pct(Decimal(550), Decimal(500)) == 10


@given(st.decimals(1, 5000, places=1), st.decimals(0, 200, places=2))
def test_moisture_of_the_dry_mass_found_is_the_moisture_given(
    moist_g: Decimal, moisture: Decimal
) -> None:
    found = moisture_pct(moist_g, dry_mass_g(moist_g, moisture))

    assert abs(found - moisture) < Decimal("1e-20")


@pytest.mark.parametrize(
    ("call", "values"),
    [
        (moisture_pct, (500, 0)),
        (moisture_pct, (500, 501)),
        (dry_mass_g, (0, 5)),
        (dry_mass_g, (500, -1)),
    ],
)
def test_impossible_moistures_are_refused(call, values: tuple[int, int]) -> None:
    with pytest.raises(Impossible):
        call(*map(Decimal, values))


def test_constant_mass_is_reached_on_the_limit_and_not_before() -> None:
    masses_g = [Decimal(each) for each in ("1000", "998", "997.002", "997")]

    assert constant_after(masses_g[:2], Decimal("0.1")) is None
    assert constant_after(masses_g, Decimal("0.1")) == 3
    assert constant_after(masses_g[:1], Decimal("0.1")) is None


def test_a_gain_while_drying_is_a_change_too() -> None:
    assert mass_changes_pct([Decimal(100), Decimal(101)]) == (Decimal(-1),)
    assert constant_after([Decimal(100), Decimal(101)], Decimal("0.1")) is None
    with pytest.raises(Impossible):
        mass_changes_pct([Decimal(0), Decimal(1)])
