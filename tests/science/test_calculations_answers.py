"""What the calculations answer where no publication does: hand working beside each figure."""

from __future__ import annotations

from statistics import NormalDist
from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.worksheet import WorksheetFaults
from tests.science.calculation_samples import CELLS, sample


def computed(name: str, **fields: Any) -> dict[str, Any]:
    return compute({"calculation": name, **fields})


def paths(name: str, **fields: Any) -> list[str]:
    with pytest.raises(WorksheetFaults) as refusal:
        computed(name, **fields)
    return [fault.path for fault in refusal.value.faults]


def test_sieve_inside_its_tolerance_but_not_by_its_uncertainty() -> None:
    # ASTM E11-17, 125 µm: Y = 5.8 µm. Mean 130.0: 0.8 µm inside; U = 1.96 x 1 = 1.96 µm.
    cloth = {"count": 1, "mean_um": 130, "largest_um": 130}
    asked = {"nominal_um": 125, "edition": "astm_e11_17", "warp": cloth, "weft": cloth, "u_um": 1}

    plain = computed("sieve_conformity", **asked)
    guarded = computed("sieve_conformity", **asked, decision={"rule": "guard_band"})

    assert plain["outcome"] == "conforms"
    assert guarded["outcome"] == "not_decidable"
    mean = next(each for each in guarded["findings"] if each["criterion"] == "mean")
    assert mean["expanded_uncertainty_um"] == pytest.approx(1.96, abs=1e-4)


def test_sieve_worn_on_a_line_leaves_its_limit_where_the_line_does() -> None:
    # 1 µm in 100 uses from 125 µm: 130 µm after 500, at 2 uses a day 150 days after use 200
    checks = [{"uses": uses, "value": 125 + uses / 100} for uses in (0, 100, 200)]

    found = computed(
        "sieve_wear", checks=checks, upper=130, uses_now=200, uses_per_day=2, today="2026-01-01"
    )

    assert found["trend"]["per_use"] == pytest.approx(0.01)
    assert found["forecast"]["uses"] == pytest.approx(500)
    assert found["dates"]["expected"] in {"2026-05-30", "2026-05-31"}  # cut to whole days


def test_share_outside_the_certificate_has_null_and_a_reason() -> None:
    found = compute(sample("effective_aperture"))["apertures"][1]

    assert found["aperture_um"] is None
    assert "more of the material" in found["reason"]


def test_run_rules_count_points_from_one() -> None:
    found = computed("control_chart", chart="individuals", base=[10, 12, 10, 12], values=[11, 30])

    assert found["outside"] == [2]
    assert found["signals"][0]["point"] == 2
    assert found["signals"][0]["rule"] == "beyond_three_sigma"


def test_chart_with_memory_may_take_its_limits_from_a_base() -> None:
    # base mean 11, moving ranges 2: sigma = 2 / 1.128379
    base = [10, 12, 10, 12]
    found = computed("control_chart", chart="moving_average", base=base, values=[11, 13], span=2)

    assert found["centre"] == 11
    assert found["sigma"] == pytest.approx(2 / 1.128379, rel=1e-6)
    assert found["points"] == pytest.approx([11, 12])


def test_too_few_laboratories_for_consistency_say_so() -> None:
    found = computed("precision_study", levels=[{"name": "Sand", "cells": CELLS[:2]}])["levels"][0]

    assert found["precision"]["laboratories"] == 2
    assert found["consistency"] is None
    assert "three laboratories" in found["consistency_reason"]


def test_critical_values_from_memory_are_marked() -> None:
    assert compute(sample("precision_study"))["unconfirmed"][0]["table"] == "grubbs_double"
    assert compute(sample("replicate_gradations"))["unconfirmed"][0]["rule"] == "fine"
    assert computed("replicates", values=[1, 2])["unconfirmed"] == []


def test_published_repeatability_judges_each_aperture() -> None:
    # 97.5 and 42.5 % of a fine aggregate; 42.5: 1s = 0.83, f(2) = 2.77: 1 < 2.3 (C136 table 2)
    found = compute(sample("replicate_gradations"))

    assert found["repeatability_sd_pct"][1] == 0.83
    assert found["apertures"][1]["mean"] == 42.5
    assert found["apertures"][1]["is_repeatable"] is True


def test_scores_by_hand() -> None:
    # z' = 2 / sqrt(0.6^2 + 0.8^2) = 2; En = 3 / sqrt(1.8^2 + 2.4^2) = 1
    z = computed("scores", results=[52], assigned=50, sd="0.6", u_assigned="0.8")
    en = compute(sample("scores_en"))

    assert z["scores"] == pytest.approx([2])
    assert z["verdicts"] == ["satisfactory"]
    assert en["scores"] == pytest.approx([1, 0])
    assert en["verdicts"] == ["unsatisfactory", "satisfactory"]


def test_constant_offset_between_methods() -> None:
    found = computed("method_comparison", first=[10, 20, 30, 40], second=[12, 22, 32, 42])

    assert found["deming"]["slope"]["value"] == pytest.approx(1)
    assert found["deming"]["intercept"]["value"] == pytest.approx(2)
    assert found["agreement"]["bias"]["value"] == pytest.approx(2)


def test_blend_with_the_largest_margin() -> None:
    # shares a of coarse, 1 - a of fine: 100 - 70 a between 55 and 75, equal room at a = 0.5;
    # fines 10 (1 - a) = 5 between 2 and 8: 3 points of room
    found = compute(sample("blend"))

    shares = {each["name"]: each["share_pct"] for each in found["shares_pct"]}
    assert shares == {"Coarse": pytest.approx(50, abs=1e-4), "Fine": pytest.approx(50, abs=1e-4)}
    assert found["margin_pct"] == pytest.approx(3, abs=1e-4)
    assert found["departure_pct"] is None


def test_blend_nearest_to_a_target() -> None:
    # 100 - 70 a = 60 at a = 4/7
    found = compute(sample("blend_target"))

    assert found["shares_pct"][0]["share_pct"] == pytest.approx(400 / 7, abs=1e-4)


def test_trial_outside_the_envelope_names_the_aperture() -> None:
    found = compute(sample("blend_trial") | {"shares_pct": [80, 20]})

    # 100 - 56 = 44 % passing 4.75 mm, at least 55 asked for; 2 % fines are on their limit
    assert found["outside_um"] == [4750]
    assert found["meets_envelope"] is False


def test_decision_of_several_values_is_the_worst_of_them() -> None:
    found = compute(sample("decision"))

    # 7.1 with u = 0.4 against 7: Phi(-0.25); 5 exactly known above 4
    probabilities = [each["probability"] for each in found["values"]]
    assert probabilities == pytest.approx([NormalDist().cdf(-0.25), 1.0])
    assert found["outcome"] == "not_decidable"


def test_unlimited_freedom_is_null_with_its_reason() -> None:
    found = computed("expanded_uncertainty", contributions=[{"u": 3}, {"u": 4}])

    assert found["u"] == 5
    assert found["degrees_of_freedom"] is None
    assert "degrees_of_freedom" in found["not_determinable"]
    assert found["coverage_factor"] == pytest.approx(NormalDist().inv_cdf(0.975))


def test_numbers_of_a_program_may_have_all_their_digits() -> None:
    found = computed("precision_limits", sd=[0.1 + 0.2], factor=1)

    assert found["limits"] == [0.1 + 0.2]
    assert paths("precision_limits", sd=["0.30000000000000004"]) == ["$.sd[0]"]
    assert paths("precision_limits", sd=[float("nan"), 1e300]) == ["$.sd[0]", "$.sd[1]"]


@pytest.mark.parametrize(
    ("name", "fields", "path"),
    [
        ("sieve_conformity", {"nominal_um": 125, "edition": "astm_e11_17",
                              "warp": {"readings_um": [125]}}, "$.weft"),
        ("sieve_wear", {"checks": [], "uses_now": 0}, "$.upper"),
        ("sieve_wear", {"checks": [], "uses_now": 0, "upper": 1, "today": "2026-01-01"},
         "$.uses_per_day"),
        ("sieve_wear", {"checks": [], "uses_now": 0, "upper": 1, "uses_per_day": 1,
                        "today": "2026-02-30"}, "$.today"),
        ("control_chart", {"chart": "xbar_r"}, "$.subgroups"),
        ("control_chart", {"chart": "ewma", "values": [1]}, "$.base"),
        ("control_chart", {"chart": "cusum", "values": [1]}, "$.centre"),
        ("control_chart", {"chart": "individuals", "values": [1], "weight": 1}, "$.weight"),
        ("capability", {"values": [1, 2, 3]}, "$.upper"),
        ("capability", {"upper": 3}, "$.values"),
        ("precision_limits", {"sd": [1, 2], "mean": [1]}, "$.mean"),
        ("scores", {"results": [1], "score": "z", "assigned": 1}, "$.sd"),
        ("scores", {"results": [1], "score": "en", "assigned": 1, "U_results": [1, 2],
                    "U_assigned": 1}, "$.U_results"),
        ("method_comparison", {"first": [1, 2, 3], "second": [1]}, "$.second"),
        ("replicates", {}, "$.values"),
        ("replicates", {"passing_pct": [[1], [2]], "published": {"aggregate": "medium"}},
         "$.published.aggregate"),
        ("blend", {"apertures_um": [75, 4750], "stockpiles": [], "lower_pct": [0, 0]},
         "$.apertures_um"),
        ("blend", {"apertures_um": [75], "stockpiles": [{"name": "A", "passing_pct": [1, 2]}],
                   "lower_pct": [0]}, "$.stockpiles[0].passing_pct"),
        ("blend", {"apertures_um": [75], "stockpiles": [], "lower_pct": [101]}, "$.lower_pct[0]"),
        ("blend", {"apertures_um": [75], "stockpiles": [], "goal": "trial"}, "$.shares_pct"),
        ("increments", {"increments": [{"mass_g": 1, "passing_pct": [1]},
                                       {"mass_g": 1, "passing_pct": [1, 2]}]},
         "$.increments[1].passing_pct"),
        ("decision", {"values": [{"value": 1, "u": 1}], "decision": {"rule": "plain"}},
         "$.values[0].upper"),
        ("expanded_uncertainty", {"contributions": [{"u": 1, "degrees_of_freedom": 0}]},
         "$.contributions[0].degrees_of_freedom"),
        ("calibration_line", {"x": [1, 2, 3], "y": [1, 2]}, "$.y"),
        ("shaking", {}, "$.actual"),
    ],
)  # fmt: skip
def test_what_a_calculation_cannot_do_without_is_named(
    name: str, fields: dict[str, Any], path: str
) -> None:
    assert path in paths(name, **fields)


def test_zeta_score_is_the_difference_over_both_uncertainties() -> None:
    # ISO 13528, 9.6: (53 - 50)/sqrt(0.9^2 + 1.2^2) = 3/1.5 = 2; without an uncertainty of the
    # assigned value 3/0.9 = 3.3333.
    asked = {"results": [53], "score": "zeta", "assigned": 50, "u_results": ["0.9"]}

    with_both = computed("scores", **asked, u_assigned="1.2")
    with_one = computed("scores", **asked, u_assigned=0)

    assert with_both["scores"] == pytest.approx([2.0])
    assert with_one["scores"] == pytest.approx([3 / 0.9])


def test_wear_without_a_rate_of_use_has_no_dates() -> None:
    checks = [{"uses": uses, "value": 125 + uses / 100} for uses in (0, 100, 200)]

    found = computed("sieve_wear", checks=checks, upper=130, uses_now=200)

    assert found["dates"] is None
    assert found["forecast"]["uses"] == pytest.approx(500)  # 1 µm in 100 uses, 5 µm of room
