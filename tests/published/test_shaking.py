"""Worked examples of shaking: `examples/shaking.json`, each with its source."""

from __future__ import annotations

from gradation.science import shaking
from tests.published.agreement import agrees
from tests.published.examples import example


def test_flight_fractions():
    case = example("shaking", "flight_fraction")

    found = shaking.flight_periods(case.inputs["throw_number"])

    agrees(case, "flight_fraction", found, case.tolerance["abs"])


def test_peak_accelerations():
    case = example("shaking", "peak_acceleration")
    amplitudes = [setting["pp_mm"] for setting in case.inputs["cases"]]
    frequencies = [setting["f_Hz"] for setting in case.inputs["cases"]]

    found = shaking.peak_acceleration_m_s2(amplitudes, frequencies)

    relative = case.tolerance["relative"]
    assert case.inputs["g"] == shaking.STANDARD_GRAVITY_M_S2
    agrees(case, "a_m_s2", found, relative=relative)
    agrees(case, "a_over_g", shaking.acceleration_in_g(found), relative=relative)


def test_throw_number_of_an_inclined_deck():
    case = example("shaking", "throw_number_of_inclined_deck")
    given = case.inputs

    found = shaking.throw_number(
        shaking.peak_acceleration_m_s2(given["pp_mm"], given["f_Hz"]),
        stroke_to_deck_deg=given["stroke_angle_to_deck_deg"],
        deck_incline_deg=given["deck_incline_deg"],
    )

    agrees(case, "throw_number", found, case.tolerance["abs"])
    agrees(case, "leaves_deck", bool(found > 1))
