"""Worked examples of control charts, capability, precision and scores.

From `examples/control_charts.json` and `examples/precision.json`; the source of any further
one stands beside it.
"""

from __future__ import annotations

import numpy as np
import pytest

from gradation.science.quality.capability import (
    ProcessLimits,
    expected_outside,
    indices_from_summary,
)
from gradation.science.quality.comparison import agreement
from gradation.science.quality.control_charts import (
    Spread,
    counts_limits,
    individuals_chart,
    limits_from_summary,
    subgroup_chart,
)
from gradation.science.quality.outliers import End, grubbs_critical, grubbs_single
from gradation.science.quality.precision import (
    limit_from_deviation,
    precision,
    sieving_reproducibility_bound,
)
from gradation.science.quality.run_rules import signals
from gradation.science.quality.scores import (
    ScoreVerdict,
    quartile_estimate,
    verdict_of_z,
    z_scores,
)
from gradation.science.quality.weighted_charts import cumulative_sum_chart, weighted_mean_chart
from tests.published.agreement import agrees
from tests.published.examples import example


def test_individuals_and_moving_range():
    case = example("control_charts", "individuals_and_moving_range")

    chart = individuals_chart(case.inputs["values"])

    limits, tolerance = chart.limits, case.tolerance
    agrees(case, "mean", limits.centre, tolerance["abs"])
    agrees(case, "mean_moving_range", limits.spread_centre, tolerance["abs"])
    # the source rounds d2 to 1.128: 3 x 1.8778 x (1/1.128 - 1/1.128379) = 0.0017
    agrees(case, "UCL", limits.upper, 0.0022)
    agrees(case, "LCL", limits.lower, 0.0022)
    agrees(case, "UCL_moving_range", limits.spread_upper, tolerance["ucl_mr"])
    agrees(case, "signals", [s.position for s in signals(chart.standardised)])


def test_cumulative_sums():
    case = example("control_charts", "two_sided_cusum")
    given = case.inputs

    chart = cumulative_sum_chart(
        given["values"], given["target"], allowance=given["k"], decision=given["h"]
    )

    agrees(case, "S_hi", chart.high, case.tolerance["abs"])
    agrees(case, "S_lo", chart.low, case.tolerance["abs"])
    agrees(case, "first_signal_group", chart.outside[0] + 1)


def test_capability_indices():
    case = example("control_charts", "capability_indices")
    given, tolerance = case.inputs, case.tolerance["abs"]

    cp, cpk = indices_from_summary(
        ProcessLimits(given["LSL"], given["USL"]), given["mean"], given["s"]
    )

    agrees(case, "Cp", cp, tolerance)
    agrees(case, "Cpk", cpk, tolerance)
    agrees(case, "k", 1 - cpk / cp, tolerance)
    one_sided = {
        "Cpu": ProcessLimits(upper=given["USL"]),
        "Cpl": ProcessLimits(lower=given["LSL"]),
    }
    for name, limits in one_sided.items():
        found = indices_from_summary(limits, given["mean"], given["s"])[1]
        agrees(case, name, found, tolerance)


def test_mean_and_range_limits_from_summary():
    case = example("control_charts", "xbar_r_from_summary")
    given = case.inputs

    limits = limits_from_summary(
        given["grand_mean"], given["mean_range"], given["n"], Spread.RANGE, given["samples"]
    )
    process = ProcessLimits(given["LSL"], given["USL"])

    agrees(case, "UCL_x", limits.upper, case.tolerance["limits"])
    agrees(case, "LCL_x", limits.lower, case.tolerance["limits"])
    # the source takes D4 as 2.114, here 2.1145: 0.0005 x 0.32521 = 0.00016
    agrees(case, "UCL_R", limits.spread_upper, 0.0003)
    agrees(case, "LCL_R", limits.spread_lower)
    agrees(case, "sigma", limits.sigma, case.tolerance["limits"])
    agrees(
        case,
        "Cp",
        indices_from_summary(process, limits.centre, limits.sigma)[0],
        case.tolerance["Cp"],
    )
    agrees(
        case,
        "fraction_nonconforming",
        expected_outside(process, limits.centre, limits.sigma),
        case.tolerance["fraction"],
    )


def test_mean_and_range_chart_from_readings():
    case = example("control_charts", "xbar_r_from_readings")
    tolerance = case.tolerance["abs"]

    chart = subgroup_chart(case.inputs["samples"])

    agrees(case, "means", chart.points, tolerance)
    agrees(case, "ranges", chart.spread, tolerance)
    agrees(case, "grand_mean", chart.limits.centre, tolerance)
    agrees(case, "mean_range", chart.limits.spread_centre, tolerance)
    # the source rounds A2 to 0.577: 0.00018 x 7.667 = 0.0014 more
    agrees(case, "UCL_x", chart.limits.upper, tolerance + 0.0014)
    agrees(case, "LCL_x", chart.limits.lower, tolerance + 0.0014)
    # the source takes D4 as 2.115, here 2.1145: 0.0005 x 7.667 = 0.0038
    agrees(case, "UCL_R", chart.limits.spread_upper, 0.0045)
    agrees(case, "LCL_R", chart.limits.spread_lower)


def test_counts_chart():
    case = example("control_charts", "counts_chart")
    counts = case.inputs["counts"]

    limits = counts_limits(counts)
    chart = individuals_chart(counts, limits)

    agrees(case, "total", sum(counts))
    agrees(case, "c_bar", limits.centre)
    agrees(case, "UCL", limits.upper)
    agrees(case, "LCL", limits.lower)
    agrees(case, "outside", [i + 1 for i in chart.outside])
    on_limit = [i + 1 for i, count in enumerate(counts) if count == limits.upper]
    agrees(case, "on_limit", on_limit)


def test_weighted_means_of_the_handbook():
    case = example("control_charts", "weighted_means")
    given, within = case.inputs, case.tolerance

    chart = weighted_mean_chart(
        given["values"], given["target"], given["s"], weight=given["weight"]
    )

    agrees(case, "weighted_means", chart.points, within["mean"])
    # the source rounds sqrt(0.3 / 1.7) to 0.4201 and draws the settled limits throughout
    agrees(case, "UCL", chart.upper[-1], within["limit"])
    agrees(case, "LCL", chart.lower[-1], within["limit"])
    agrees(case, "outside", list(chart.outside))


@pytest.mark.parametrize("level", range(4))
def test_precision_with_unequal_replicates(level):
    case = example("precision", "unequal_replicates")
    cells = tuple(lab[level] for lab in case.inputs["results_by_lab_then_level"].values())

    found = precision(cells)

    tolerance = case.tolerance["abs"]
    agrees(case, f"mean/{level}", found.mean, tolerance)
    agrees(case, f"s_r/{level}", found.repeatability_sd, tolerance)
    agrees(case, f"s_R/{level}", found.reproducibility_sd, tolerance)


def test_limits_and_coefficients_of_variation():
    case = example("precision", "limits_and_variation_coefficients")
    given, tolerance = case.inputs, case.tolerance
    means = np.array(given["mean_percent"])

    for name in ("r", "R"):
        deviations = np.array(given[f"s_{name}"])
        limits = limit_from_deviation(deviations, given["factor"])

        agrees(case, name, limits, tolerance["limits"])
        # the deviations are given to 0.001 only: 0.0005 / 0.539 = 0.09 %
        agrees(case, f"CV_{name}_percent", 100 * deviations / means, tolerance["cv"])


def test_robust_z_scores():
    case = example("precision", "robust_z_scores_30_laboratories")
    values = case.inputs["values"]

    found = quartile_estimate(values)
    z = z_scores(values, found.mean, found.standard_deviation)

    agrees(case, "median", found.mean, case.tolerance["abs"])
    agrees(case, "nIQR", found.standard_deviation, case.tolerance["abs"])
    for name in ("z_lab27", "z_lab5", "z_lab4"):
        laboratory = int(name.removeprefix("z_lab"))
        agrees(case, name, z[laboratory - 1], case.tolerance["z"])
    verdicts = [verdict_of_z(float(score)) for score in z]
    for verdict, name in (
        (ScoreVerdict.UNSATISFACTORY, "unsatisfactory_labs"),
        (ScoreVerdict.QUESTIONABLE, "questionable_labs"),
    ):
        agrees(case, name, [i + 1 for i, each in enumerate(verdicts) if each is verdict])


def test_functional_precision_of_sieving():
    case = example("precision", "functional_precision_of_sieving")

    bound, tolerance = sieving_reproducibility_bound(np.array(case.inputs["percent_passing"]) / 100)

    agrees(case, "sR_bound", 100 * bound, case.tolerance["sR"])
    agrees(case, "minimum_tolerance", 100 * tolerance, case.tolerance["T"])


def test_grubbs_of_mass_spectrometer_readings():
    case = example("precision", "grubbs_mass_spectrometer")
    given, within = case.inputs, case.tolerance["abs"]

    found = grubbs_single(given["values"], End.LARGEST)

    agrees(case, "statistic", found.statistic, within)
    critical = grubbs_critical(len(given["values"]), 2 * given["one_sided_risk"])
    agrees(case, "critical_value", critical, within)
    agrees(case, "outlier", given["values"][found.positions[0]])


def test_agreement_of_two_flow_meters():
    case = example("precision", "agreement_of_two_flow_meters")
    given, within = case.inputs, case.tolerance

    found = agreement(given["small_meter"], given["large_meter"])

    agrees(case, "mean_difference", found.bias.value, within["abs"])
    agrees(case, "s", found.standard_deviation, within["abs"])
    # printed with 2 s; here 1.96 s, which lies 0.04 x 38.8 = 1.55 nearer to the mean
    nearer = (2 - 1.96) * found.standard_deviation
    agrees(case, "lower_limit", found.lower_limit.value - nearer, within["limits"])
    agrees(case, "upper_limit", found.upper_limit.value + nearer, within["limits"])
