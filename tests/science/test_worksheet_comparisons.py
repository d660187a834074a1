"""Power lines and shaking through the worksheet, against hand working."""

from __future__ import annotations

from math import pi
from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.worksheet import WorksheetFaults, as_json

G = 9.80665  # m/s2, by definition


def run(**changes: Any) -> dict[str, Any]:
    """100 g on 400 and 100 µm: passing 100 and 60 %."""
    return {
        "dry_mass_g": "100.0",
        "fractions": [
            {"aperture_um": 400, "mass_g": 0},
            {"aperture_um": 100, "mass_g": "40.0"},
        ],
        "pan_g": "60.0",
        "describe": [],
    } | changes


def test_departure_from_the_fuller_parabola() -> None:
    # (100 / 400)^0.5 = 50 %, found 60 %
    [line] = compute(run(power_lines=[{"exponent": "0.5"}]))["power_lines"]

    assert line["largest_um"] == 400
    assert [row["line_pct"] for row in line["rows"]] == pytest.approx([100, 50])
    assert line["largest_departure_pct"] == pytest.approx(10)
    assert line["largest_departure_at_um"] == 100


def test_line_may_end_at_a_stated_size() -> None:
    # (100 / 1600)^0.5 = 25 %
    [line] = compute(run(power_lines=[{"exponent": "0.5", "largest_um": 1600}]))["power_lines"]

    assert [row["departure_pct"] for row in line["rows"]] == pytest.approx([50, 35])


def test_line_without_an_end_says_why_there_is_none() -> None:
    fractions = [{"aperture_um": 400, "mass_g": 10}, {"aperture_um": 100, "mass_g": "30.0"}]

    [line] = compute(run(fractions=fractions, power_lines=[{"exponent": 1}]))["power_lines"]

    assert "coarsest sieve" in line["reason"]


def test_line_that_ends_below_the_nest_is_a_fault() -> None:
    with pytest.raises(WorksheetFaults, match=r"power_lines\[0\].*below the largest size"):
        compute(run(power_lines=[{"exponent": 1, "largest_um": 50}]))


def shaken(**settings: Any) -> dict[str, Any]:
    return dict(compute(run(shaking=settings))["shaking"])


def test_motion_of_one_millimetre_on_fifty_hertz() -> None:
    actual = {"drive": "vertical_throw", "amplitude_pp_mm": 1, "mains_hz": 50}

    motion = shaken(actual=actual)["actual"]["motion"]

    a = (2 * pi * 50) ** 2 * 0.0005
    assert motion["acceleration_m_s2"] == pytest.approx(a)
    assert motion["throw_number"] == pytest.approx(a / G)
    # nearest of sqrt(1 + (n pi)^2) to 5.03: 6.36 for two periods
    assert motion["resonance"]["periods"] == 2
    equal = motion["equal_acceleration_pp_mm_at_hz"]
    assert equal == {"50": pytest.approx(1), "60": pytest.approx(1 / 1.44)}


def test_inclined_stroke_throws_less() -> None:
    actual = {
        "drive": "vertical_throw", "acceleration_m_s2": str(2 * G), "stroke_to_deck_deg": 30,
    }  # fmt: skip

    # 2 g x sin 30 degrees: grains just stay on the deck
    motion = shaken(actual=actual)["actual"]["motion"]

    assert motion["throw_number"] == pytest.approx(1)
    assert motion["flight_periods"] == pytest.approx(0, abs=1e-3)


def test_same_amplitude_on_other_mains_is_not_comparable() -> None:
    planned = {"drive": "vertical_throw", "amplitude_pp_mm": 1, "mains_hz": 50, "duration_s": 600}

    found = shaken(planned=planned, actual=planned | {"mains_hz": 60})["comparison"]

    assert found["comparable"] is False
    assert any("50 Hz" in reason and "60 Hz" in reason for reason in found["reasons"])


def test_wider_tolerance_makes_them_comparable() -> None:
    planned = {"drive": "vertical_throw", "amplitude_pp_mm": 1, "mains_hz": 50, "duration_s": 600}
    actual = planned | {"duration_s": 660}

    assert shaken(planned=planned, actual=actual)["comparison"]["comparable"] is False
    # 60 s of 660 s are 9.1 %
    found = shaken(planned=planned, actual=actual, tolerance_pct=10)["comparison"]
    assert found["comparable"] is True


def test_amplitude_without_a_frequency_says_nothing() -> None:
    found = shaken(actual={"drive": "vertical_throw", "amplitude_pp_mm": 1})

    assert found["actual"]["motion"] is None
    assert "frequency" in found["actual"]["reason"]
    assert found["comparison"] is None


@pytest.mark.parametrize(
    ("shaking", "path"),
    [
        ({}, "$.shaking.actual"),
        ({"actual": {}}, "$.shaking.actual.drive"),
        ({"actual": {"drive": "magic"}}, "$.shaking.actual.drive"),
        ({"actual": {"drive": "sonic", "frequency_hz": 0}}, "$.shaking.actual.frequency_hz"),
        ({"actual": {"drive": "sonic", "stroke_to_deck_deg": 91}},
         "$.shaking.actual.stroke_to_deck_deg"),
        ({"actual": {"drive": "sonic", "deck_incline_deg": 90}},
         "$.shaking.actual.deck_incline_deg"),
        ({"actual": {"drive": "sonic"}, "tolerance_pct": 100}, "$.shaking.tolerance_pct"),
    ],
)  # fmt: skip
def test_settings_no_shaker_can_have_are_faults(shaking: dict[str, Any], path: str) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute(run(shaking=shaking))

    assert [fault.path for fault in refusal.value.faults] == [path]


def test_open_worksheet_has_no_answers_yet() -> None:
    from gradation.science.worksheet import evaluate, parse_worksheet

    data = run(shaking={"actual": {"drive": "sonic"}}, plausibility=True)
    del data["pan_g"]

    found = as_json(evaluate(parse_worksheet(data, partial=True), partial=True))

    assert found["shaking"] is None
    assert found["plausibility"] is None
