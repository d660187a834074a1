"""The verdict sentence: figures as reported, the unit of the trade, one full stop."""

import pytest

from gradation.queries.verdicts import verdict_sentence


def line(characteristic, value, **changes):
    """Give a line on a characteristic value as the calculation records it."""
    filled = {
        "kind": "characteristic",
        "aperture_um": None,
        "finer_um": None,
        "characteristic": characteristic,
        "min": None,
        "max": None,
        "value": value,
        "reported": str(value),
        "margin": "1",
        "nearer_limit": "minimum",
        "is_inside": True,
        "is_interpolated": False,
        "is_moved_by_rounding": False,
        "reason": None,
    }
    return filled | changes


def passing(aperture_um, reported, **changes):
    """Give a line on the percentage passing a sieve."""
    found = line("", float(reported), reported=reported, **changes)
    return found | {"kind": "passing", "characteristic": None, "aperture_um": aperture_um}


def sentence(*lines, outcome="conforms", specification="GS-01"):
    return verdict_sentence({"outcome": outcome, "lines": list(lines)}, specification)


def outside(*lines):
    return sentence(*lines, outcome="does_not_conform")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (
            line("grain_fineness_number", 48.7161749746, min="54", is_inside=False),
            "AFS grain fineness number 48.7, below the limit 54",
        ),
        (
            line("d50", 243.8123, max="240", is_inside=False),
            "d50 244 µm, above the limit 240 µm",
        ),
        (
            line("d50", 1254.9, max="1200", is_inside=False),
            "d50 1.25 mm, above the limit 1.2 mm",
        ),
        (
            line("fines", 3.4567, max="3", is_inside=False),
            "fines 3.5 %, above the limit 3 %",
        ),
    ],
)
def test_a_value_outside_is_given_as_reported_with_its_unit(found, said):
    assert outside(found) == f"Outside GS-01: {said}."


def test_a_value_just_beyond_its_limit_keeps_the_digits_that_show_it():
    found = line("grain_fineness_number", 54.04, max="54", is_inside=False)

    assert "54.04, above the limit 54" in outside(found)


def test_a_value_rounded_to_its_limits_decimals_is_given_as_it_was_compared():
    # 2.46 is rounded to 2.5, as the limit is written, and then lies on it (ASTM E29).
    found = line("fineness_modulus", 2.46, reported="2.5", min="2.5", margin="0")

    assert "fineness modulus (2.5, limit 2.5), margin 0.0" in sentence(found)


def test_a_value_on_a_limit_that_does_not_count_as_inside_is_said_so():
    found = line("fineness_modulus", 2.5, reported="2.5", max="2.5", is_inside=False)

    assert outside(found) == "Outside GS-01: fineness modulus 2.5, not below the limit 2.5."


def test_margin_of_a_value_is_the_difference_of_the_figures_beside_it():
    found = line("grain_fineness_number", 57.2838250254, min="54", margin="3.2838250254")

    assert "(57.3, limit 54), margin 3.3" in sentence(found)


def test_a_percentage_is_nearest_before_an_index_whatever_the_numbers():
    index = line("fineness_modulus", 2.7, min="2.3", max="3.1", margin="0.4")
    found = passing(300, "28", max="30", margin="2", nearer_limit="maximum")

    assert sentence(index, found).endswith("nearest limit 300 µm (28 %, limit 30 %), margin 2 %.")


@pytest.mark.parametrize("name", ["GS-01 washed sand.", "GS-01 washed sand", "GS-01 washed sand. "])
def test_a_sentence_ends_in_one_full_stop(name):
    assert sentence(specification=name) == "Within GS-01 washed sand."
