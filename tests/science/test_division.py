"""Dividing a sample: mass of the portion, size a table is read by, width of the chutes."""

from decimal import Decimal

import pytest

from gradation.science.division import (
    Band,
    Place,
    least_chute_width_mm,
    place_in_band,
    size_basis,
)
from gradation.science.errors import OutOfRange, UnknownName

FINE_G = Band(Decimal(300), Decimal(900))


@pytest.mark.parametrize(
    ("mass_g", "place"),
    [
        ("299.9", Place.BELOW),
        ("300", Place.INSIDE),
        ("900", Place.INSIDE),
        ("900.1", Place.ABOVE),
    ],
)
def test_portion_at_either_limit_still_lies_in_its_band(mass_g, place):
    assert place_in_band(Decimal(mass_g), FINE_G) is place


@pytest.mark.parametrize("mass_g", ["0.1", "300", "100000"])
def test_portion_without_limits_is_never_outside(mass_g):
    assert place_in_band(Decimal(mass_g), Band()) is Place.INSIDE


def test_least_mass_alone_does_not_hold_a_heavy_portion_back():
    assert place_in_band(Decimal(100_000), Band(least_g=Decimal(300))) is Place.INSIDE


def test_largest_mass_alone_does_not_hold_a_light_portion_back():
    assert place_in_band(Decimal("0.1"), Band(most_g=Decimal(900))) is Place.INSIDE


@pytest.mark.parametrize("mass_g", ["0", "-212"])
def test_portion_without_mass_has_no_place_in_a_band(mass_g):
    with pytest.raises(OutOfRange, match="mass of the portion must be above zero"):
        place_in_band(Decimal(mass_g), FINE_G)


@pytest.mark.parametrize(
    ("table", "basis"),
    [
        ("astm_c136_coarse", "nominal maximum size"),  # ASTM C136, 7.4: mass by nominal maximum
        ("en_933_1", "D (upper aggregate size)"),  # EN 933-1, table 1: mass by D
        ("astm_c136_fine", ""),  # ASTM C136, 7.3: 300 g, whatever the size
    ],
)
def test_table_of_portions_says_by_which_size_it_is_read(table, basis):
    assert size_basis(table) == basis


def test_unknown_table_of_portions_is_named_in_the_refusal():
    with pytest.raises(UnknownName, match="no table 'by_eye' of test portions"):
        size_basis("by_eye")


def test_chutes_are_half_wider_than_the_largest_grains():
    # ASTM C702, by hand: 19.0 mm x 1.5 = 28.5 mm.
    assert least_chute_width_mm(Decimal(19_000)) == Decimal("28.5")


@pytest.mark.parametrize("top_size_um", [0, -19_000])
def test_grains_without_size_ask_for_no_chute(top_size_um):
    with pytest.raises(OutOfRange, match="size of the largest grains must be above zero"):
        least_chute_width_mm(Decimal(top_size_um))


def test_unknown_rule_for_chutes_is_named_in_the_refusal():
    with pytest.raises(UnknownName, match="no rule 'by_eye' for the chutes of a divider"):
        least_chute_width_mm(Decimal(19_000), rule="by_eye")
