"""What a worksheet is warned about, and what it has too little for."""

from __future__ import annotations

from typing import Any

import pytest

from gradation.science.worksheet import as_json, evaluate, parse_worksheet
from gradation.science.worksheet_checks import WorksheetWarning
from tests.builders import make_worksheet, worksheet_data


def shaken_again(passed_g: str) -> dict[str, Any]:
    """At most 1 % of the 100 g that lay on 1.18 mm before."""
    return {
        "limit_pct": 1,
        "of": "sieve",
        "before": [{"aperture_um": 1180, "mass_g": 100}],
        "passed": [{"aperture_um": 1180, "mass_g": passed_g}],
    }


def warnings(**changes: Any) -> tuple[WorksheetWarning, ...]:
    return evaluate(make_worksheet(**changes)).warnings


def test_shaking_again_names_by_how_much_the_mass_changed() -> None:
    # 100 g before the further shaking: 1.2 g of it are beyond 1 % of the sieve.
    [found] = warnings(end_point=shaken_again("1.2"))

    assert found.code == "end_point_not_reached"
    assert "The mass on 1.18 mm changed by 1.2 g in the further shaking" in found.sentence


def test_change_in_the_further_shaking_that_is_at_the_limit_has_no_word() -> None:
    assert warnings(end_point=shaken_again("1.0")) == ()


def test_preview_has_no_end_point_of_a_sieve_before_it_is_weighed() -> None:
    # 5 g of the 30 g on 75 µm are 17 % of the sieve, once it is weighed.
    check = {"limit_pct": 1, "of": "sieve", "passed": [{"aperture_um": 75, "mass_g": "5"}]}
    data = worksheet_data(pan_g=None, end_point=check)
    data["fractions"][-1]["mass_g"] = None

    open_run = evaluate(parse_worksheet(data, partial=True), partial=True)

    assert open_run.warnings == ()
    assert [each.code for each in warnings(end_point=check)] == ["end_point_not_reached"]


def test_load_of_an_empty_sieve_is_not_asked_about() -> None:
    # Without the diameter of the frame no load can be told; only the sieve that held some asks.
    rows = [{"aperture_um": 600, "mass_g": 0}, {"aperture_um": 300, "mass_g": 400}]

    found = warnings(fractions=rows, pan_g=100, overload={"rule": "astm_c136"})

    assert [(each.code, each.aperture_um) for each in found] == [("overload_not_determinable", 300)]


def test_run_within_one_class_has_a_mean_but_no_words_on_its_spread() -> None:
    # By hand: all between 500 and 250 µm, at phi 1 to 2: mean 1.5 phi, deviation nothing.
    rows = [{"aperture_um": 500, "mass_g": 0}, {"aperture_um": 250, "mass_g": 500}]

    found = as_json(evaluate(make_worksheet(fractions=rows, pan_g=0, describe=["moments"])))

    assert found["characteristics"]["moment_mean_phi"] == pytest.approx(1.5)
    assert found["characteristics"]["moment_standard_deviation_phi"] == 0
    assert found["characteristics"]["moment_skewness"] is None
    assert "no spread" in found["not_determinable"]["moment_skewness"]
    assert found["descriptions"]["moment_words"] == {}
