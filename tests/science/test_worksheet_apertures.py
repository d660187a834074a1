"""Effective apertures and sensitivity through the worksheet, against hand working."""

from __future__ import annotations

from math import exp, log
from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.worksheet import WorksheetFaults


def run(**changes: Any) -> dict[str, Any]:
    """100 g on 400, 200 and 100 µm: passing 90, 50 and 10 %."""
    sheet: dict[str, Any] = {
        "dry_mass_g": "100.0",
        "fractions": [
            {"aperture_um": 400, "mass_g": "10.0"},
            {"aperture_um": 200, "mass_g": "40.0"},
            {"aperture_um": 100, "mass_g": "40.0"},
        ],
        "pan_g": "10.0",
        "percentiles": [50],
        "describe": [],
    }
    return sheet | changes


def test_recorded_passing_belongs_to_the_apertures_found() -> None:
    found = [
        {"aperture_um": 400, "mean_um": 404},
        {"aperture_um": 200, "mean_um": 206},
        {"aperture_um": 100, "mean_um": 101},
    ]

    effective = compute(run(apertures_found=found))["effective"]

    assert effective["sizes"]["d50"] == {
        "nominal_um": pytest.approx(200),
        "effective_um": pytest.approx(206),
    }


def test_passing_at_nominal_is_read_between_the_measured_apertures() -> None:
    effective = compute(run(apertures_found=[{"aperture_um": 200, "mean_um": 210}]))["effective"]

    # the curve goes through 50 % at 210 µm and 10 % at 100 µm; at 200 µm it is
    at_200 = 10 + 40 * log(200 / 100) / log(210 / 100)
    rows = effective["rows"]
    assert [row["passing_at_nominal_pct"] for row in rows] == pytest.approx([90, at_200, 10])
    assert [row["is_measured"] for row in rows] == [False, True, False]
    assert not any(row["is_extended"] for row in rows)


@pytest.mark.parametrize(("minimum", "is_flipped"), [(46, False), (48, True)])
def test_verdict_is_said_to_flip_exactly_when_it_would_be_another(
    minimum: int, is_flipped: bool
) -> None:
    # 50 % recorded, 47.4 % at the nominal aperture
    sheet = run(
        apertures_found=[{"aperture_um": 200, "mean_um": 210}],
        envelope=[{"aperture_um": 200, "min": minimum}],
    )

    assessment = compute(sheet)["effective"]["assessment"]

    assert assessment["outcome"] == "conforms"
    assert assessment["is_flipped"] is is_flipped
    assert assessment["lines"][0]["margin_if_so"] == str(47 - minimum)


def test_error_of_one_sieve_moves_its_own_point_the_d_value_and_the_margin() -> None:
    sheet = run(
        sensitivity=[{"aperture_um": 200, "error_um": 10}],
        envelope=[{"aperture_um": 200, "max": 60}, {"aperture_um": 100, "max": 12}],
        compare="unrounded",
    )

    [found] = compute(sheet)["sensitivity"]

    at_200 = 10 + 40 * log(2) / log(2.1)
    assert [row["change_pct"] for row in found["rows"]] == pytest.approx([0, at_200 - 50, 0])
    d50 = exp(log(200) + log(2) * (50 - at_200) / (90 - at_200))
    assert found["sizes"]["d50"]["change_um"] == pytest.approx(d50 - 200)
    margins = [float(line["margin_if_so"]) for line in found["assessment"]["lines"]]
    assert margins == pytest.approx([60 - at_200, 2])
    assert "too much passing" in found["sentence"]


def test_undersize_sieve_lands_the_other_way() -> None:
    [found] = compute(run(sensitivity=[{"aperture_um": 200, "error_um": -10}]))["sensitivity"]

    assert found["rows"][1]["change_pct"] > 0
    assert "too little passing" in found["sentence"]


def test_characteristic_values_follow_the_corrected_curve() -> None:
    sheet = run(
        sensitivity=[{"aperture_um": 100, "error_um": 10}],
        envelope=[{"kind": "characteristic", "characteristic": "fines", "max": "9.9"}],
    )

    [line] = compute(sheet)["sensitivity"][0]["assessment"]["lines"]

    # 10 % at 110 µm and 50 % at 200 µm, prolonged to 100 µm
    expected = 10 - 40 * log(110 / 100) / log(200 / 110)
    assert line["value_if_so"] == pytest.approx(expected)
    assert line["is_flipped"]


@pytest.mark.parametrize(
    ("changes", "path", "says"),
    [
        ({"sensitivity": [{"aperture_um": 200, "error_um": 200}]}, "$.sensitivity[0].error_um",
         "fall from coarse to fine"),
        ({"sensitivity": [{"aperture_um": 200, "error_um": 0}]}, "$.sensitivity[0].error_um",
         "moves nothing"),
        ({"sensitivity": [{"aperture_um": 75, "error_um": 1}]}, "$.sensitivity[0].aperture_um",
         "no sieve"),
        ({"apertures_found": [{"aperture_um": 200, "mean_um": 90}]}, "$.apertures_found",
         "fall from coarse to fine"),
        ({"apertures_found": [{"aperture_um": 200}]}, "$.apertures_found[0].mean_um", "missing"),
        ({"apertures_found": [{"aperture_um": 200, "mean_um": 201}] * 2},
         "$.apertures_found[1].aperture_um", "twice"),
    ],
)  # fmt: skip
def test_apertures_that_cannot_be_are_faults(changes: dict[str, Any], path: str, says: str) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute(run(**changes))

    [fault] = refusal.value.faults
    assert fault.path == path
    assert says in fault.message


def test_single_sieve_gives_the_reason_instead() -> None:
    one = {"fractions": [{"aperture_um": 200, "mass_g": "90.0"}]}
    sheet = run(**one, sensitivity=[{"aperture_um": 200, "error_um": 5}])

    assert "slope" in compute(sheet)["sensitivity"][0]["reason"]
