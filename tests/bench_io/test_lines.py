"""Lines from balances: read by form, in grams, with the balance's digits; never guessed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.bench_io import (
    FORMS,
    LineForm,
    LineStream,
    NotAReading,
    Overloaded,
    Unstable,
    form_named,
    read_line,
)


@pytest.mark.parametrize(
    ("form", "line", "mass_g"),
    [
        ("number", " 123.40 ", "123.40"),
        ("number", "+ 0,5", "0.5"),
        ("number", "-12", "-12"),
        ("number_unit", "  123.45 g", "123.45"),
        ("number_unit", "0.1234kg", "123.4"),
        ("number_unit", "0.12345 kg", "123.45"),
        ("number_unit", "1234.5 mg", "1.2345"),
        ("number_unit", "1.00 lb", "453.5924"),  # 453.59237 g, to four decimals
        ("number_unit", "1.0 ct", "0.20"),
        ("mark_number_unit", "ST,GS,+00123.45 g", "123.45"),
        ("mark_number_unit", "S S     12.3 g", "12.3"),
        ("number_unit_mark", "12.3 g", "12.3"),
    ],
)
def test_r48_line_is_read_in_grams_with_its_digits(form, line, mass_g):
    reading = read_line(line, form_named(form))

    assert str(reading.mass_g) == mass_g
    assert reading.text == line.strip()


@pytest.mark.parametrize(
    ("form", "line"),
    [
        ("mark_number_unit", "US,GS,+00123.45 g"),
        ("mark_number_unit", "S D   12.3 g"),
        ("number_unit_mark", "12.3 g ?"),
    ],
)
def test_unsettled_reading_is_refused(form, line):
    with pytest.raises(Unstable, match="not settled"):
        read_line(line, form_named(form))


@pytest.mark.parametrize("line", ["OL", "  ------ ", "ST,OL", "UL", "^^^^^^"])
def test_overload_is_told_from_noise(line):
    with pytest.raises(Overloaded, match="overloaded"):
        read_line(line, form_named("number_unit"))


@pytest.mark.parametrize(
    ("form", "line"),
    [
        ("number_unit", "12.3"),  # the unit is missing while it has not settled
        ("number", "12.3.4"),
        ("number", "1e3"),
        ("number_unit", "12.3 pcs"),
        ("mark_number_unit", "XX 12.3 g"),
        ("mark_number_unit", "12.3 g"),
        ("number", "\x00\x0112.3"),
        ("number", "1" * 100),
        ("number", "١٢"),
    ],
)
def test_line_of_another_form_is_refused_never_guessed(form, line):
    with pytest.raises(NotAReading):
        read_line(line, form_named(form))


def test_unknown_form_lists_those_there_are():
    with pytest.raises(ValueError, match="number_unit_mark"):
        form_named("fax")


def test_own_pattern_needs_a_number():
    with pytest.raises(ValueError, match="group named number"):
        LineForm("own", "own", r"^x$")


def test_own_pattern_is_taken():
    form = LineForm("own", "tagged net mass", r"^NET:(?P<number>[0-9.]+)$")

    assert read_line("NET:7.50", form).mass_g == Decimal("7.50")


@given(st.binary(max_size=300), st.lists(st.integers(1, 40), max_size=20))
def test_lines_do_not_depend_on_the_pieces_they_come_in(data, sizes):
    whole = list(LineStream().feed(data + b"\n"))
    stream, pieces, at = LineStream(), [], 0
    for size in [*sizes, len(data) + 1]:
        pieces += stream.feed((data + b"\n")[at : at + size])
        at += size

    longest = max((len(part) for part in data.replace(b"\r", b"\n").split(b"\n")), default=0)
    assert pieces == whole or longest > LineStream().longest


@given(st.text(max_size=60), st.sampled_from(FORMS))
def test_no_line_is_a_fault_of_the_program(line, form):
    try:
        reading = read_line(line, form)
    except NotAReading:
        return
    assert reading.mass_g.is_finite()


def test_noise_without_an_end_is_dropped_and_the_next_line_is_whole():
    stream = LineStream(longest=20)

    lines = [*stream.feed(b"\xff" * 50), *stream.feed(b"\xff\r\n  12.3 g\r\n")]

    assert lines == ["  12.3 g"]
