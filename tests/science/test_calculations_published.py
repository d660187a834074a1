"""Published worked examples through the calculations; sources stand with each example.

Tolerances are the examples' own; where ours is wider, the reason stands beside it.
"""

from __future__ import annotations

from typing import Any

import pytest

from gradation.science.computing import compute
from tests.published.examples import Example, example

G = 9.80665  # m/s2, by definition


def computed(name: str, **fields: Any) -> dict[str, Any]:
    return compute({"calculation": name, **fields})


def near(ours: Any, printed: Any, tolerance: Any) -> None:
    """Ours is the printed figure, within one tolerance or one for each value."""
    many = printed if isinstance(printed, list) else [printed]
    found = ours if isinstance(printed, list) else [ours]
    limits = tolerance if isinstance(tolerance, list) else [tolerance] * len(many)
    for mine, theirs, limit in zip(found, many, limits, strict=True):
        assert mine == pytest.approx(theirs, abs=limit + 1e-9)


def chart(case: Example, kind: str, **fields: Any) -> dict[str, Any]:
    return computed("control_chart", chart=kind, **fields)


def test_permitted_deviations_of_the_table() -> None:
    case = example("conformity", "permitted_deviations_of_cloth")

    found = [
        computed("sieve_conformity", nominal_um=size, edition="astm_e11_17")["permitted"]
        for size in case.inputs["nominal_um"]
    ]

    near([each["mean_y_um"] for each in found], case.outputs["Y_table_um"], case.tolerance["Y"])
    near([each["single_x_um"] for each in found], case.outputs["X_table_um"], case.tolerance["X"])


def test_effective_aperture_from_beads() -> None:
    case = example("conformity", "effective_aperture_from_beads")
    given = case.inputs
    table = given["certificate"]

    found = computed(
        "effective_aperture",
        certificate=[
            {"diameter_um": size, "passing_pct": share}
            for size, share in zip(table["diameter_um"], table["percent_finer"], strict=True)
        ],
        observed_pct=given["observed_percent_passing"],
        nominal_um=given["nominal_um"],
    )

    sizes = [each["aperture_um"] for each in found["apertures"]]
    near(sizes, case.outputs["effective_aperture_um"], case.tolerance["um"])
    within = [each["is_within"] for each in found["apertures"]]
    assert within == case.outputs["within_tolerance"]


def test_individuals_chart_of_the_handbook() -> None:
    case = example("control_charts", "individuals_and_moving_range")

    found = chart(case, "individuals", values=case.inputs["values"])

    limits, out = found["limits"], case.outputs
    near(limits["centre"], out["mean"], case.tolerance["abs"])
    near(limits["spread_centre"], out["mean_moving_range"], case.tolerance["abs"])
    near([limits["upper"], limits["lower"]], [out["UCL"], out["LCL"]], 0.0022)  # d2 as 1.128
    near(limits["spread_upper"], out["UCL_moving_range"], case.tolerance["ucl_mr"])
    assert found["signals"] == out["signals"]
    assert found["spread"][0] is None


def test_mean_and_range_chart_from_a_summary() -> None:
    case = example("control_charts", "xbar_r_from_summary")
    given, out = case.inputs, case.outputs

    limits = chart(
        case,
        "xbar_r",
        summary={
            "grand_mean": given["grand_mean"],
            "mean_spread": given["mean_range"],
            "subgroup_size": given["n"],
            "subgroups": given["samples"],
        },
    )["limits"]
    process = computed(
        "capability",
        summary={"mean": limits["centre"], "sd": limits["sigma"]},
        lower=given["LSL"],
        upper=given["USL"],
    )

    near(
        [limits["upper"], limits["lower"], limits["sigma"]],
        [out["UCL_x"], out["LCL_x"], out["sigma"]],
        case.tolerance["limits"],
    )
    near(limits["spread_upper"], out["UCL_R"], 0.0003)  # D4 as 2.114
    near(process["cp"], out["Cp"], case.tolerance["Cp"])
    near(
        process["expected_outside_pct"] / 100,
        out["fraction_nonconforming"],
        case.tolerance["fraction"],
    )


def test_mean_and_range_chart_from_readings() -> None:
    case = example("control_charts", "xbar_r_from_readings")
    out, within = case.outputs, case.tolerance["abs"]

    found = chart(case, "xbar_r", subgroups=case.inputs["samples"])

    near(found["points"], out["means"], within)
    near(found["spread"], out["ranges"], within)
    near(found["limits"]["upper"], out["UCL_x"], within + 0.0014)  # A2 as 0.577
    near(found["limits"]["spread_upper"], out["UCL_R"], 0.0045)  # D4 as 2.115


def test_counts_chart() -> None:
    case = example("control_charts", "counts_chart")

    found = chart(case, "counts", values=case.inputs["counts"], rules="none")

    limits, out = found["limits"], case.outputs
    assert [limits["centre"], limits["upper"], limits["lower"]] == [
        out["c_bar"], out["UCL"], out["LCL"],
    ]  # fmt: skip
    assert found["outside"] == out["outside"]
    assert limits["spread_upper"] is None


def test_weighted_means_of_the_handbook() -> None:
    case = example("control_charts", "weighted_means")
    given, out = case.inputs, case.outputs

    found = chart(
        case,
        "ewma",
        values=given["values"],
        centre=given["target"],
        sigma=given["s"],
        weight=given["weight"],
    )

    near(found["points"], out["weighted_means"], case.tolerance["mean"])
    near(found["upper"][-1], out["UCL"], case.tolerance["limit"])
    assert found["outside"] == out["outside"]


def test_cumulative_sums_of_the_handbook() -> None:
    case = example("control_charts", "two_sided_cusum")
    given, out = case.inputs, case.outputs

    found = chart(
        case,
        "cusum",
        values=given["values"],
        centre=given["target"],
        allowance=given["k"],
        decision=given["h"],
    )

    near(found["high"], out["S_hi"], case.tolerance["abs"])
    near(found["low"], out["S_lo"], case.tolerance["abs"])
    assert found["outside"][0] == out["first_signal_group"]


def test_capability_indices_of_the_handbook() -> None:
    case = example("control_charts", "capability_indices")
    given, within = case.inputs, case.tolerance["abs"]
    summary = {"mean": given["mean"], "sd": given["s"]}

    found = computed("capability", summary=summary, lower=given["LSL"], upper=given["USL"])
    upper_only = computed("capability", summary=summary, upper=given["USL"])

    near([found["cp"], found["cpk"]], [case.outputs["Cp"], case.outputs["Cpk"]], within)
    near(upper_only["cpk"], case.outputs["Cpu"], within)
    assert upper_only["cp"] is None
    assert upper_only["not_determinable"] == {"cp": "This index needs both limits."}


def test_precision_of_the_standard_with_unequal_replicates() -> None:
    case = example("precision", "unequal_replicates")
    laboratories = case.inputs["results_by_lab_then_level"].values()
    levels = [{"cells": [lab[level] for lab in laboratories]} for level in range(4)]

    found = [each["precision"] for each in computed("precision_study", levels=levels)["levels"]]

    for name, printed in (("mean", "mean"), ("repeatability_sd", "s_r"),
                          ("reproducibility_sd", "s_R")):  # fmt: skip
        near([each[name] for each in found], case.outputs[printed], case.tolerance["abs"])


def test_limits_and_coefficients_of_variation() -> None:
    case = example("precision", "limits_and_variation_coefficients")
    given = case.inputs

    for name in ("r", "R"):
        found = computed(
            "precision_limits",
            sd=given[f"s_{name}"],
            mean=given["mean_percent"],
            factor=given["factor"],
        )
        near(found["limits"], case.outputs[name], case.tolerance["limits"])
        printed = case.outputs[f"CV_{name}_percent"]
        near(found["coefficient_of_variation_pct"], printed, case.tolerance["cv"])


def test_robust_scores_of_thirty_laboratories() -> None:
    case = example("precision", "robust_z_scores_30_laboratories")

    found = computed("scores", results=case.inputs["values"], estimate="quartiles")

    near(found["assigned"], case.outputs["median"], case.tolerance["abs"])
    near(found["sd"], case.outputs["nIQR"], case.tolerance["abs"])
    near(found["scores"][26], case.outputs["z_lab27"], case.tolerance["z"])
    bad = [i + 1 for i, said in enumerate(found["verdicts"]) if said == "unsatisfactory"]
    assert bad == case.outputs["unsatisfactory_labs"]


def test_functional_precision_of_sieving() -> None:
    case = example("precision", "functional_precision_of_sieving")

    found = computed("sieving_precision", passing_pct=case.inputs["percent_passing"])

    bound = found["reproducibility_sd_below_pct"]
    near(bound, case.outputs["sR_bound"], case.tolerance["sR"])
    near(found["tolerance_above_pct"], case.outputs["minimum_tolerance"], case.tolerance["T"])


def test_outlier_among_replicates() -> None:
    case = example("precision", "grubbs_mass_spectrometer")
    values = case.inputs["values"]

    found = computed("replicates", values=values)["outlier_tests"][0]

    near(found["statistic"], case.outputs["statistic"], case.tolerance["abs"])
    assert values[found["positions"][0] - 1] == case.outputs["outlier"]


def test_agreement_of_two_flow_meters() -> None:
    case = example("precision", "agreement_of_two_flow_meters")
    given, out = case.inputs, case.outputs

    found = computed("method_comparison", first=given["small_meter"], second=given["large_meter"])

    near(found["agreement"]["bias"]["value"], out["mean_difference"], case.tolerance["abs"])
    near(found["agreement"]["standard_deviation"], out["s"], case.tolerance["abs"])


def two_aggregates(name: str, limits: Any, apertures: list[float]) -> dict[str, Any]:
    given = example("blend", name).inputs
    return {
        "apertures_um": apertures,
        "stockpiles": [{"name": pile, "passing_pct": given[pile]} for pile in ("A", "B")],
        "lower_pct": limits[0],
        "upper_pct": limits[1],
    }


def test_trial_blend_on_its_limit_meets_the_band() -> None:
    case = example("blend", "two_aggregates_50_50")
    limits = case.inputs["target_low"], case.inputs["target_high"]
    apertures = [12500, 9500, 4750, 2360, 1180, 600, 300, 150, 75]

    found = computed(
        "blend",
        goal="trial",
        shares_pct=[50, 50],
        **two_aggregates(case.name, limits, apertures),
    )

    near(found["passing_pct"], case.outputs["blend"], case.tolerance["percent"])
    assert found["meets_envelope"] is case.outputs["meets_target"]


@pytest.mark.parametrize("goal", ["range", "margin"])
def test_feasible_shares_and_the_misprint(goal: str) -> None:
    case = example("blend", "feasible_shares_and_misprint")
    apertures = [1000 * size for size in case.inputs["sieve_mm"]]
    right, wrong = (
        computed("blend", goal=goal, **two_aggregates(case.name, case.inputs[key], apertures))
        for key in ("limits_original", "limits_as_reposted")
    )

    assert right["exists"]
    assert not wrong["exists"]
    low, high = (100 * share for share in case.outputs["share_A_range_original"])
    if goal == "range":
        found = right["ranges"][0]
        near(
            [found["smallest_pct"], found["largest_pct"]], [low, high], 100 * case.tolerance["abs"]
        )
        assert wrong["ranges"][0]["smallest_pct"] is None
    else:
        assert low <= right["shares_pct"][0]["share_pct"] <= high
        assert "No blend" in wrong["sentence"]
        assert wrong["shares_pct"] is None


def test_three_aggregates() -> None:
    case = example("blend", "three_aggregates_15_25_60")
    given = case.inputs

    found = computed(
        "blend",
        goal="trial",
        apertures_um=[1000 * size for size in given["sieve_mm"]],
        stockpiles=[{"name": pile, "passing_pct": given[pile]} for pile in "ABC"],
        shares_pct=[100 * share for share in given["shares"]],
    )

    near(found["passing_pct"], case.outputs["blend"], case.tolerance["percent"])


def test_increments_count_by_their_mass() -> None:
    case = example("blend", "mass_weighted_increments")
    rows = [
        {"mass_g": each["mass"], "passing_pct": each["passing"]}
        for each in case.inputs["increments"]
    ]

    found = computed("increments", increments=rows)

    near(found["weighted_mean_pct"], case.outputs["weighted_mean"], case.tolerance["percent"])
    near(found["plain_mean_pct"], case.outputs["plain_mean"], case.tolerance["percent"])


def test_peak_accelerations() -> None:
    case = example("shaking", "peak_acceleration")
    for given, a, in_g in zip(
        case.inputs["cases"], case.outputs["a_m_s2"], case.outputs["a_over_g"], strict=True
    ):
        setting = {
            "drive": "vertical_throw", "amplitude_pp_mm": given["pp_mm"],
            "frequency_hz": given["f_Hz"],
        }  # fmt: skip

        motion = computed("shaking", actual=setting)["actual"]["motion"]

        relative = case.tolerance["relative"]
        assert motion["acceleration_m_s2"] == pytest.approx(a, rel=relative)
        assert motion["acceleration_g"] == pytest.approx(in_g, rel=relative)


def test_flight_fractions() -> None:
    case = example("shaking", "flight_fraction")
    settings = [
        {"drive": "vertical_throw", "acceleration_m_s2": round(throw * G, 6)}
        for throw in case.inputs["throw_number"]
    ]

    found = [computed("shaking", actual=each)["actual"]["motion"] for each in settings]

    flights = [each["flight_periods"] for each in found]
    near(flights, case.outputs["flight_fraction"], case.tolerance["abs"])


def test_throw_number_of_an_inclined_deck() -> None:
    case = example("shaking", "throw_number_of_inclined_deck")
    given = case.inputs
    setting = {
        "drive": "vertical_throw",
        "amplitude_pp_mm": given["pp_mm"],
        "frequency_hz": given["f_Hz"],
        "stroke_to_deck_deg": given["stroke_angle_to_deck_deg"],
        "deck_incline_deg": given["deck_incline_deg"],
    }

    motion = computed("shaking", actual=setting)["actual"]["motion"]

    near(motion["throw_number"], case.outputs["throw_number"], case.tolerance["abs"])
    assert motion["leaves_deck"] is case.outputs["leaves_deck"]


def test_breakdown_voltage_of_a_diode() -> None:
    case = example("uncertainty", "conformance_probability_one_limit")
    given = case.inputs
    value = {"value": given["estimate"], "u": given["u"], "upper": given["upper_limit"]}

    found = computed("decision", values=[value], decision={"rule": "probability"})

    near(found["values"][0]["probability"], case.outputs["p_conform"], case.tolerance["p"])
    assert found["outcome"] == "not_decidable"  # 0.92 does not reach 0.95


def test_correlated_readings_of_the_guide() -> None:
    # JCGM 100:2008, table H.2 prints the means, their standard deviations and correlations.
    given = example("uncertainty", "correlated_inputs_several_outputs").inputs
    rows = [list(each) for each in zip(given["V"], given["I_mA"], given["phi_rad"], strict=True)]

    found = computed("repeated_observations", observations=rows)

    near(found["means"], [4.9990, 19.6610, 1.04446], [5e-5, 5e-5, 5e-6])
    near(found["u"], [0.0032, 0.0095, 0.00075], [5e-5, 5e-5, 5e-6])
    r = found["correlation"]
    near([r[0][1], r[0][2], r[1][2]], [-0.36, 0.86, -0.65], 0.006)


def test_calibration_line_of_a_thermometer() -> None:
    case = example("uncertainty", "straight_line_calibration")
    given, out, within = case.inputs, case.outputs, case.tolerance

    found = computed(
        "calibration_line",
        x=given["t_C"],
        y=given["correction_C"],
        reference=given["t0"],
        predict=[given["predict_at"]],
    )

    near([found["intercept"], found["u_intercept"]], [out["y1"], out["s_y1"]], within["y1"])
    near([found["slope"], found["u_slope"]], [out["y2"], out["s_y2"]], within["y2"])
    near(found["correlation"], out["r"], within["r"])
    near(found["residual_sd"], out["s"], within["s"])
    [read] = found["predictions"]
    near([read["value"], read["u"]], [out["b30"], out["u_b30"]], within["y1"])


def test_confidence_limits_of_a_mean() -> None:
    case = example("uncertainty", "confidence_limits_of_mean")
    given, out = case.inputs, case.outputs
    u = given["s"] / given["N"] ** 0.5

    found = computed(
        "expanded_uncertainty",
        contributions=[{"u": u, "degrees_of_freedom": given["N"] - 1}],
        confidence=given["confidence"],
    )

    near(found["coverage_factor"], out["t"], case.tolerance["t"])
    ends = [given["mean"] - found["U"], given["mean"] + found["U"]]
    near(ends, [out["lower"], out["upper"]], case.tolerance["limits"])


@pytest.mark.parametrize("place", range(5))
def test_coverage_factors_of_table_g2(place: int) -> None:
    case = example("uncertainty", "coverage_factors")
    freedom = case.inputs["degrees_of_freedom"][place]
    limited = {} if freedom == "inf" else {"degrees_of_freedom": freedom}

    found = computed(
        "expanded_uncertainty",
        contributions=[{"u": 1, **limited}],
        confidence=case.inputs["confidence"][place],
    )

    near(found["coverage_factor"], case.outputs["t"][place], case.tolerance["t"])
