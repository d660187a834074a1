"""One load, one reading, however often a balance sends it; two loads, two readings."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.bench_io import form_named
from gradation.bench_io.settling import Settler, Settling, What

STREAM = Settling(streams=True)


def taken(lines, form="number_unit", rule=STREAM, last_g=None, every_s=0.1):
    """Give the masses that were judged new loads."""
    settler = Settler(form_named(form), rule, last_g)
    seen = [settler.take(line, number * every_s) for number, line in enumerate(lines)]
    return [str(one.reading.mass_g) for one in seen if one.what == What.NEW]


def test_a_resting_load_that_is_sent_a_thousand_times_is_one_reading():
    assert taken(["12.34 g"] * 1000) == ["12.34"]


def test_a_load_must_rest_before_it_is_taken():
    rising = ["0.00 g", "3.10 g", "3.10 g", "9.87 g", "12.34 g", "12.34 g"]

    assert taken(rising) == []
    assert taken([*rising, "12.34 g"]) == ["12.34"]


def test_the_next_load_is_taken_also_when_it_weighs_the_same():
    one = ["12.34 g"] * 5

    assert taken([*one, "0.00 g", *one]) == ["12.34", "12.34"]
    assert taken([*one, "-3.10 g", *one]) == ["12.34", "12.34"]  # the pan was lifted off
    assert taken([*one, "88.00 g", *one]) == ["12.34", "12.34"]  # another was there between


def test_material_added_to_a_load_is_another_reading():
    assert taken(["12.34 g"] * 3 + ["20.01 g"] * 3) == ["12.34", "20.01"]


def test_a_bump_or_a_draught_is_no_new_load():
    bump = ["12.34 g"] * 3 + ["12.35"] * 4 + ["12.34 g"] * 3  # without unit: not settled
    draught = ["12.34 g"] * 3 + ["12.36 g"] * 5 + ["12.33 g"] * 5

    assert taken(bump) == ["12.34"]
    assert taken(draught) == ["12.34"]


def test_a_moving_balance_that_marks_it_is_followed():
    lines = ["ST,GS,12.3 g"] * 3 + ["US,GS,40.0 g", "US,GS,13.0 g"] + ["ST,GS,12.3 g"] * 3

    assert taken(lines, form="mark_number_unit") == ["12.3", "12.3"]


def test_noise_between_does_not_make_a_new_load():
    assert taken(["12.34 g"] * 3 + ["\\xff\\x02", "1g2.34"] + ["12.34 g"] * 9) == ["12.34"]


def test_overload_and_then_the_same_load_is_a_new_one():
    assert taken(["12.34 g"] * 3 + ["OL"] + ["12.34 g"] * 3) == ["12.34", "12.34"]


def test_after_a_restart_the_load_that_still_stands_there_is_not_taken_again():
    assert taken(["12.34 g"] * 9, last_g=Decimal("12.34")) == []
    assert taken(["56.78 g"] * 9, last_g=Decimal("12.34")) == ["56.78"]


@pytest.mark.parametrize(("every_s", "count"), [(0.01, 1), (0.99, 1), (1.5, 3)])
def test_each_press_of_the_key_is_a_reading_but_a_doubled_line_is_not(every_s, count):
    assert len(taken(["0.00 g"] * 3, rule=Settling(), every_s=every_s)) == count


def test_different_lines_at_the_key_are_all_taken_at_any_speed():
    assert taken(["1.0 g", "2.0 g", "1.0 g"], rule=Settling(), every_s=0.01) == [
        "1.0",
        "2.0",
        "1.0",
    ]


@given(
    st.lists(st.integers(1, 900), min_size=1, max_size=12),
    st.integers(3, 6),
    st.integers(1, 3),
)
def test_every_load_is_taken_exactly_once_whatever_the_loads(loads, repeats, empties):
    lines = []
    for load in loads:
        lines += [f"{load / 3:.2f} g", *[f"{load}.00 g"] * repeats, *["0.00 g"] * empties]

    assert taken(lines) == [f"{load}.00" for load in loads]
