"""What may be typed as a number, and what may not."""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.errors import GradationError
from gradation.science.quantities import NotANumber, as_typed, parse_decimal, parse_mass_g


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("512.4", "512.4"),
        ("512,4", "512.4"),
        ("  0 ", "0"),
        ("\u00a012.30\u00a0", "12.30"),
        ("-3", "-3"),
        ("+3", "3"),
        (".5", "0.5"),
        ("1,234", "1.234"),
        ("123456789012", "123456789012"),
    ],
)
def test_plain_numbers_are_read_exactly(typed: str, meant: str) -> None:
    number = parse_decimal(typed)

    assert number == Decimal(meant)
    assert as_typed(number) == meant


@pytest.mark.parametrize(
    "typed",
    [
        "", "   ", "1.2.3", "1,2,3", "1.234,5", "1e5", "1E-3", "NaN", "nan", "Infinity", "inf",
        "+-3", "--1", "12 g", "12g", "abc", "0x10", "1_000", "1 000", "5.", "٣", "\uff11\uff12",
        "½", "1/2", "1234567890123", "0.1234567890123", "12\n13", "12\x00", "−5", "'5",
    ],
)  # fmt: skip
def test_everything_else_is_refused(typed: str) -> None:
    with pytest.raises(NotANumber):
        parse_decimal(typed)


def test_refusal_shows_what_was_typed_and_what_to_do() -> None:
    with pytest.raises(NotANumber, match=r"'1\.2\.3' is not a number.*512\.4"):
        parse_decimal("1.2.3")


def test_long_nonsense_is_cut_in_the_message() -> None:
    with pytest.raises(NotANumber) as refusal:
        parse_decimal("x" * 10_000)

    assert len(str(refusal.value)) < 200


def test_mass_below_zero_is_refused_and_zero_is_not() -> None:
    assert parse_mass_g("0,0") == 0
    assert as_typed(parse_mass_g("-0.0")) == "0.0"
    with pytest.raises(NotANumber, match="negative"):
        parse_mass_g("-0.1")


def test_numbers_without_a_finite_value_cannot_be_written() -> None:
    with pytest.raises(GradationError):
        as_typed(Decimal("NaN"))


@given(st.decimals(min_value=-99999, max_value=99999, places=4))
def test_what_is_written_reads_back_the_same(number: Decimal) -> None:
    assert parse_decimal(as_typed(number)) == number
    assert parse_decimal(as_typed(number).replace(".", ",")) == number


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_never_broken(typed: str) -> None:
    with suppress(NotANumber):
        assert parse_decimal(typed).is_finite()
