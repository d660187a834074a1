"""Checks of instruments: exact at the limit, worst figure first, nothing judged that is missing."""

from decimal import Decimal

import pytest

from gradation.science.errors import Impossible, OutOfRange
from gradation.science.instrument_checks import (
    CheckWeight,
    ShakerFigures,
    check_against_master,
    check_halves,
    check_shaker,
    check_temperature,
    check_visual,
    check_weights,
)


def weight(nominal, reading, limit="0.02"):
    return CheckWeight(Decimal(nominal), Decimal(reading), Decimal(limit))


@pytest.mark.parametrize(
    ("reading", "passed"),
    [("200.02", True), ("199.98", True), ("200.03", False), ("199.97", False)],
)
def test_weight_exactly_at_its_limit_is_inside(reading, passed):
    assert check_weights([weight("200", reading)]).passed is passed


def test_decimals_that_binary_numbers_miss_do_not_move_the_verdict():
    """0.1 + 0.2 is 0.3 in decimals; in binary it is a little more."""
    assert check_weights([weight("0.2", "0.3", "0.1")]).passed


def test_greatest_relative_error_is_told_with_its_sign():
    """-0.02 of 50 g is -0.04 %; +0.05 of 500 g is +0.01 %."""
    verdict = check_weights([weight("500", "500.05", "0.1"), weight("50", "49.98", "0.1")])

    assert verdict.error_pct == Decimal("-0.04")


def test_sentence_names_what_is_outside_only():
    verdict = check_weights([weight("50", "50.00"), weight("500", "500.05")])

    assert "500.05" in verdict.sentence
    assert "50.00 g" not in verdict.sentence
    assert [finding.ok for finding in verdict.findings] == [True, False]


@pytest.mark.parametrize("bad", [weight("0", "1"), weight("1", "1", "-1")])
def test_weight_without_mass_and_limit_below_zero_are_refused(bad):
    with pytest.raises(OutOfRange):
        check_weights([bad])


def test_balance_without_a_check_weight_is_not_judged():
    with pytest.raises(Impossible, match="No check-weight was put on"):
        check_weights([])


@pytest.mark.parametrize("place", range(3))
def test_figures_of_a_shaker_below_zero_are_refused(place):
    texts = ["1.5", "1.5", "0.1"]
    texts[place] = f"-{texts[place]}"

    with pytest.raises(OutOfRange, match="amplitude and its limit cannot be negative"):
        check_shaker(ShakerFigures(*(Decimal(text) for text in texts)))


def test_limits_below_zero_are_refused():
    below = Decimal("-0.1")

    with pytest.raises(OutOfRange, match="tolerance cannot be negative"):
        check_temperature(Decimal(110), Decimal(110), below)
    with pytest.raises(OutOfRange, match="halves and their limit cannot be negative"):
        check_halves(Decimal(500), Decimal(500), below)
    with pytest.raises(OutOfRange, match="permitted difference cannot be negative"):
        check_against_master(Decimal(50), Decimal(50), below)


@pytest.mark.parametrize("halves_g", [("-500", "500"), ("500", "-500")])
def test_half_of_a_sample_has_no_mass_below_zero(halves_g):
    with pytest.raises(OutOfRange, match="Masses of the halves"):
        check_halves(*map(Decimal, halves_g), Decimal(4))


def test_timer_alone_can_be_checked_but_a_pair_is_whole():
    alone = ShakerFigures(timer_s=Decimal(601), reference_s=Decimal(600), timer_limit_s=Decimal(2))

    assert check_shaker(alone).passed
    with pytest.raises(Impossible, match="three figures"):
        check_shaker(ShakerFigures(amplitude_mm=Decimal(1), set_amplitude_mm=Decimal(1)))
    with pytest.raises(Impossible, match="Neither"):
        check_shaker(ShakerFigures())


def test_amplitude_and_timer_must_both_be_in_order():
    figures = ShakerFigures(*(Decimal(text) for text in ("1.7", "1.5", "0.1", "600", "600", "2")))

    verdict = check_shaker(figures)

    assert not verdict.passed
    assert [finding.ok for finding in verdict.findings] == [False, True]


@pytest.mark.parametrize(("found", "passed"), [("105", True), ("115", True), ("115.1", False)])
def test_oven_is_within_110_plus_minus_5(found, passed):
    assert check_temperature(Decimal(110), Decimal(found), Decimal(5)).passed is passed


def test_halves_are_compared_with_their_mean():
    """1020 and 980 g: 40 g of 1000 g are 4 %."""
    halves = Decimal(1020), Decimal(980)

    assert check_halves(*halves, Decimal(4)).passed
    assert not check_halves(*halves, Decimal("3.99")).passed
    with pytest.raises(Impossible):
        check_halves(Decimal(0), Decimal(0), Decimal(1))


def test_difference_to_the_master_counts_in_either_direction():
    limit = Decimal("1.5")

    verdicts = [
        check_against_master(Decimal(text), Decimal(50), limit).passed
        for text in ("51.5", "48.5", "51.6", "48.4")
    ]

    assert verdicts == [True, True, False, False]
    with pytest.raises(OutOfRange, match="between 0 and 100"):
        check_against_master(Decimal(101), Decimal(50), limit)


def test_every_item_of_a_look_must_be_in_order():
    assert check_visual({"a": True, "b": True}).passed
    assert not check_visual({"a": True, "b": False}).passed
    with pytest.raises(Impossible):
        check_visual({})
