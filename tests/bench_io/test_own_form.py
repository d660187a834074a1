"""An own line: read as it is written, and never a trap for the computer."""

import contextlib
import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.bench_io import NotAReading, Unstable, read_line
from gradation.bench_io.own_form import OwnPatternFault, marks_in, own_form


@pytest.mark.parametrize(
    ("pattern", "line", "mass_g"),
    [
        ("N {number} {unit}", "N     + 12.340 g  ", "12.340"),
        ("W:{number}{unit};{any}", "W:0.1234kg;17", "123.4"),
        ("{any} {number}", "0007 -3,5", "-3.5"),
        ("[{number}]", "[12]", "12"),
        ("(a+)+ {number}", "(a+)+ 5", "5"),  # every sign stands for itself
    ],
)
def test_a_line_is_read_where_the_pattern_says(pattern, line, mass_g):
    assert str(read_line(line, own_form(pattern)).mass_g) == mass_g


def test_marks_say_what_is_settled():
    form = own_form("{mark} {number} {unit}", stable_marks=["ok"], unstable_marks=["mv"])

    assert read_line("OK 1.5 g", form).mass_g == Decimal("1.5")
    with pytest.raises(Unstable):
        read_line("mv 1.5 g", form)
    with pytest.raises(NotAReading, match="does not say"):
        read_line("xx 1.5 g", form)


@pytest.mark.parametrize(
    "pattern",
    ["", " ", "no number", "{number}{number}", "{weight}", "{number}{unit}{unit}", "{number}" * 40,
     "{any}{any}{any}{number}"],
)  # fmt: skip
def test_a_pattern_that_says_nothing_is_refused_with_the_reason(pattern):
    with pytest.raises(OwnPatternFault, match=r"\{|signs"):
        own_form(pattern)


def test_an_unknown_unit_is_refused():
    with pytest.raises(OwnPatternFault, match="kg"):
        own_form("{number}", default_unit="stone")


def test_marks_come_with_commas_or_spaces():
    assert marks_in(" st, US;sd  ") == {"ST", "US", "SD"}


@given(st.text(alphabet="{numberitkay} :*+()[]\\^$.|?", max_size=60), st.text(max_size=80))
def test_no_pattern_and_no_line_keep_the_computer_busy(pattern, line):
    try:
        form = own_form(pattern + "{number}")
    except OwnPatternFault:
        return
    began = time.perf_counter()
    with contextlib.suppress(NotAReading):
        read_line(line, form)
    assert time.perf_counter() - began < 0.5
