"""Uncertainty and Monte Carlo check through the worksheet, against hand working."""

from __future__ import annotations

from math import erf, log, sqrt
from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.worksheet import WorksheetFaults
from gradation.science.worksheet_form import Fault
from gradation.science.worksheet_refusals import answered

READABLE = {"balance": {"readability_g": "0.1"}}


def run(**changes: Any) -> dict[str, Any]:
    """500 g on 1 mm and 500 µm: passing 80 and 50 %."""
    sheet: dict[str, Any] = {
        "dry_mass_g": "500.0",
        "fractions": [
            {"aperture_um": 1000, "mass_g": "100.0"},
            {"aperture_um": 500, "mass_g": "150.0"},
        ],
        "pan_g": "250.0",
        "percentiles": [65],
        "describe": [],
    }
    return sheet | changes


def uncertainty(budget: dict[str, Any], **changes: Any) -> dict[str, Any]:
    found = compute(run(uncertainty=budget, **changes))["uncertainty"]
    assert found is not None
    return found


def test_readings_alone_give_what_the_guide_gives_by_hand() -> None:
    # u^2(m) of a net mass = 2 d^2 / 12; Q = 1 - C/M: u^2(Q) = 2 d^2/12 (k + (C/M)^2) / M^2
    # with k fractions above: (1 + 0.2^2) and (2 + 0.5^2).
    reading = 2 * 0.1**2 / 12
    expected = [100 * sqrt(reading * (k + share**2)) / 500 for k, share in ((1, 0.2), (2, 0.5))]

    found = uncertainty(READABLE)

    assert [row["u_pct"] for row in found["rows"]] == pytest.approx(expected, rel=1e-9)
    assert [row["U_pct"] for row in found["rows"]] == pytest.approx(
        [2 * each for each in expected], rel=1e-9
    )
    # covariance: the first fraction is in both: (1 + 0.2 x 0.5), over the two deviations
    r = 1.1 / sqrt(1.04 * 2.25)
    assert found["correlation"][0][1] == pytest.approx(r, rel=1e-9)


def test_aperture_moves_its_own_point_by_the_slope() -> None:
    # 30 % over one octave: slope 0.3 / ln 2 for each unit of ln x, at 1 mm over 1000 µm.
    budget = {"balance": {"readability_g": 0}, "apertures": [{"aperture_um": 1000, "u_um": 10}]}

    rows = uncertainty(budget)["rows"]

    assert rows[0]["u_pct"] == pytest.approx(100 * 0.3 / log(2) / 1000 * 10, rel=1e-9)
    assert rows[0]["sources_pct"]["apertures"] == rows[0]["u_pct"]
    assert rows[1]["u_pct"] == 0


def test_stated_dry_mass_and_repeatability_add_in_squares() -> None:
    # dQ/dM = C / M^2: 250/500^2 x 2 g = 0.2 %; with 0.5 % of repeatability: sqrt(0.29) %.
    budget = {
        "balance": {"readability_g": 0},
        "dry_mass_u_g": 2,
        "repeatability": [{"aperture_um": 500, "sd_pct": "0.5"}],
        "coverage_factor": 3,
    }

    row = uncertainty(budget)["rows"][1]

    assert row["u_pct"] == pytest.approx(sqrt(0.2**2 + 0.5**2), rel=1e-9)
    assert row["U_pct"] == pytest.approx(3 * sqrt(0.29), rel=1e-9)


def test_calibration_of_the_balance_counts_with_each_reading() -> None:
    only = uncertainty({"balance": {"readability_g": 0, "calibration_u_g": "0.1"}})["rows"][0]

    assert only["u_pct"] == pytest.approx(100 * sqrt(2 * 0.01 * 1.04) / 500, rel=1e-9)


def test_scale_of_the_one_balance_cancels() -> None:
    row = uncertainty({"balance": {"readability_g": 0, "scale_u_pct": 1}})["rows"][0]

    assert row["u_pct"] == pytest.approx(0, abs=1e-9)


def test_empty_sieve_was_not_weighed_and_adds_nothing() -> None:
    fractions = [{"aperture_um": 2000, "mass_g": 0}, *run()["fractions"]]

    rows = uncertainty(READABLE, fractions=fractions)["rows"]

    assert rows[0]["u_pct"] == 0
    assert rows[1]["u_pct"] == pytest.approx(uncertainty(READABLE)["rows"][0]["u_pct"], rel=1e-9)


def test_split_adds_its_weighings_and_how_well_the_part_stands_for_the_whole() -> None:
    # Below 1 mm 400 g passed and 200 g were sieved on: the 150 g are 75 g twice over.
    split = {
        "fractions": [
            {"aperture_um": 1000, "mass_g": "100.0"},
            {"aperture_um": 500, "mass_g": "75.0"},
        ],
        "pan_g": "125.0",
        "splits": [{"below_um": 1000, "passing_g": "400.0", "reduced_g": "200.0"}],
    }
    stated = {"balance": {"readability_g": 0}, "splits": [{"below_um": 1000, "u_pct": 1}]}

    by_stating = uncertainty(stated, **split)["rows"][1]
    by_weighing = uncertainty(READABLE, **split)["rows"][1]["sources_pct"]["splits"]

    # 150 g x 1 % of 500 g
    assert by_stating["u_pct"] == pytest.approx(0.3, rel=1e-9)
    reading = 2 * 0.1**2 / 12
    relative = sqrt(reading / 400**2 + reading / 200**2)
    assert by_weighing == pytest.approx(100 * relative * 150 / 500, rel=1e-9)


def test_cumulative_masses_depend_on_one_reading_each() -> None:
    # Q2 = 1 - (reading - tare) / M: two readings whatever lies above it.
    cumulative = [
        {"aperture_um": 1000, "mass_g": "100.0"},
        {"aperture_um": 500, "mass_g": "250.0"},
    ]

    row = uncertainty(READABLE, entry="cumulative", fractions=cumulative)["rows"][1]

    assert row["u_pct"] == pytest.approx(100 * sqrt(2 * 0.01 / 12 * 1.25) / 500, rel=1e-9)


def test_size_between_two_sieves_has_the_uncertainty_of_both() -> None:
    # D65 = 500 x 2^((0.65 - b) / (a - b)), a = 0.8, b = 0.5: half-way on log aperture, so
    # dD/da = dD/db = -D ln 2 x 0.5 / 0.3; independent sd of 1 % at each would give sqrt(2),
    # the correlation of counts r = sqrt(0.5 x 0.2 / (0.8 x 0.5)) = 0.5 makes it sqrt(3).
    budget = {"balance": {"readability_g": 0}, "repeatability_sd_pct": 1}

    found = uncertainty(budget)["sizes"]["d65"]

    slope = 500 * sqrt(2) * log(2) * 0.5 / 0.3
    assert found["size_um"] == pytest.approx(500 * sqrt(2), rel=1e-9)
    assert found["u_um"] == pytest.approx(slope * 0.01 * sqrt(3), rel=1e-4)


def test_size_outside_the_sieves_has_null_and_a_reason() -> None:
    found = uncertainty(READABLE, percentiles=[10, 100])["sizes"]

    assert found["d10"]["u_um"] is None
    assert "outside the sieves" in found["d10"]["reason"]
    assert "d100" not in found


def test_single_sieve_with_an_uncertain_aperture_says_why_there_is_none() -> None:
    one = [{"aperture_um": 500, "mass_g": "250.0"}]
    budget = {"balance": {"readability_g": 0}, "apertures": [{"aperture_um": 500, "u_um": 5}]}

    found = compute(
        run(fractions=one, uncertainty=budget, envelope=[{"aperture_um": 500, "max": 60}])
    )

    assert "slope" in found["uncertainty"]["reason"]
    assert found["assessment"]["outcome"] == "conforms"


def test_drawn_uncertainty_confirms_the_first_order_one() -> None:
    budget = {"balance": {"readability_g": "0.1"}, "repeatability_sd_pct": "0.5"}

    found = uncertainty(budget, cross_check={"seed": 7, "draws": 100_000})

    check = found["cross_check"]
    assert check["confidence"] == pytest.approx(erf(2 / sqrt(2)))
    for row, drawn in zip(found["rows"], check["rows"], strict=True):
        assert drawn["u_drawn"] == pytest.approx(row["u_pct"], rel=0.01)  # 4 sigma of 100 000
        assert drawn["low"] < row["passing_pct"] < drawn["high"]
    assert check["sizes_um"]["d65"]["u_drawn"] == pytest.approx(
        found["sizes"]["d65"]["u_um"], rel=0.02
    )


def test_same_seed_draws_the_same() -> None:
    asked = {"budget": READABLE, "cross_check": {"seed": 3, "draws": 1000}}

    assert uncertainty(**asked) == uncertainty(**asked)


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"cross_check": {"seed": 1, "draws": 1000}}, "$.uncertainty"),
        ({"uncertainty": READABLE, "cross_check": {"seed": 1, "draws": 99}}, "$.cross_check.draws"),
        ({"uncertainty": READABLE, "cross_check": {"draws": 1000}}, "$.cross_check.seed"),
        ({"uncertainty": {}}, "$.uncertainty.balance"),
        (
            {"uncertainty": {"balance": {"readability_g": -1}}},
            "$.uncertainty.balance.readability_g",
        ),
        (
            {"uncertainty": READABLE | {"apertures": [{"aperture_um": 75, "u_um": 1}]}},
            "$.uncertainty.apertures[0].aperture_um",
        ),
        (
            {"uncertainty": READABLE | {"dry_mass_u_g": 1, "dry_balance": {"readability_g": 1}}},
            "$.uncertainty.dry_mass_u_g",
        ),
    ],
)
def test_what_is_wrong_with_the_request_is_named_by_its_path(
    changes: dict[str, Any], path: str
) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute(run(**changes))

    assert path in [fault.path for fault in refusal.value.faults]


def test_draws_are_limited_by_memory() -> None:
    fractions = [{"aperture_um": size, "mass_g": 1} for size in range(1, 101)]

    with pytest.raises(WorksheetFaults, match="too many"):
        compute(
            run(
                fractions=fractions,
                uncertainty=READABLE,
                cross_check={"seed": 1, "draws": 200_000},
            )
        )


def test_without_a_size_asked_for_there_is_no_uncertainty_of_one() -> None:
    found = uncertainty(READABLE, percentiles=[])

    assert found["sizes"] == {}


def test_run_without_any_uncertainty_is_confirmed_as_that() -> None:
    # Every draw of values without uncertainty is the value: 80 and 50 % passing.
    found = uncertainty(
        {"balance": {"readability_g": 0}}, percentiles=[], cross_check={"seed": 1, "draws": 500}
    )

    rows = found["cross_check"]["rows"]
    assert [(row["u_drawn"], row["confirmed"]) for row in rows] == [(0, True), (0, True)]
    assert [row["low"] for row in rows] == pytest.approx([80, 50], abs=1e-9)
    assert [row["high"] for row in rows] == pytest.approx([80, 50], abs=1e-9)


def test_repeatability_is_given_once() -> None:
    twice = READABLE | {
        "repeatability_sd_pct": "0.5",
        "repeatability": [{"aperture_um": 500, "sd_pct": "0.5"}],
    }

    with pytest.raises(WorksheetFaults) as refusal:
        compute(run(uncertainty=twice))

    [fault] = refusal.value.faults
    assert fault.path == "$.uncertainty.repeatability"
    assert "either repeatability_sd_pct or repeatability" in fault.message


def test_fault_found_while_answering_keeps_its_own_path() -> None:
    def refuse() -> dict[str, Any]:
        raise WorksheetFaults([Fault("$.apertures_found[1]", "is not above zero.")])

    with pytest.raises(WorksheetFaults) as refusal:
        answered("$.uncertainty", refuse)

    assert [fault.path for fault in refusal.value.faults] == ["$.apertures_found[1]"]
