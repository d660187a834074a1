"""Published sieve analyses: every intermediate value, within each example's own tolerance."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from gradation.science.acceptance import OverloadRule, Verdict, against_limit, overload_limit_g
from gradation.science.drying import constant_after, dry_mass_g, mass_changes_pct, moisture_pct
from gradation.science.gradation import (
    Basis,
    Gradation,
    Split,
    combine_splits,
    gradation,
    individual_from_cumulative,
)
from gradation.science.percentiles import size_at_passing
from gradation.science.rounding import (
    FinerRule,
    Rounding,
    RoundingMode,
    reported_passing,
    round_reported,
)
from tests.published.agreement import agrees
from tests.published.examples import Example, example


def sieved(given: dict[str, Any]) -> Gradation:
    """The gradation of an example without a dry mass of its own."""
    masses = [*given["mass_retained_g"], given["pan_g"]]
    apertures_um = np.asarray(given["sieve_mm"]) * 1000
    return gradation(apertures_um, masses, basis=Basis.SUM_OF_FRACTIONS)


@pytest.fixture(scope="module")
def washed() -> tuple[Example, Gradation]:
    found = example("gradation", "washed_whole_sample")
    given = found.inputs
    return found, gradation(
        np.asarray(given["sieve_mm"]) * 1000,
        [*given["mass_retained_g"], given["pan_g"]],
        given["dry_mass_before_wash_g"],
        given["dry_mass_after_wash_g"],
    )


def test_washed_sample_masses(washed: tuple[Example, Gradation]) -> None:
    found, curve = washed
    within = found.tolerance["mass_g"]

    agrees(found, "washed_out_minus_75um_g", curve.wash_loss_g, within)
    agrees(found, "mass_after_sieving_g", curve.retained_g.sum(), within)
    agrees(found, "cumulative_mass_retained_g", curve.retained_g[:-1].cumsum(), within)


def test_washed_sample_percentages(washed: tuple[Example, Gradation]) -> None:
    found, curve = washed
    within = found.tolerance["percent"]

    agrees(found, "percent_retained", 100 * curve.retained[:-1], within)
    agrees(found, "cumulative_percent_retained", 100 * curve.cumulative_retained, within)
    agrees(found, "percent_passing_0_1", 100 * curve.passing, within)


def test_washed_sample_cumulative_form_gives_the_same(washed: tuple[Example, Gradation]) -> None:
    found, curve = washed

    individual = individual_from_cumulative(found.outputs["cumulative_mass_retained_g"])

    within = found.tolerance["mass_g"]
    np.testing.assert_allclose(individual, curve.retained_g[:-1], rtol=0, atol=within)


def test_washed_sample_mass_balance_is_accepted(washed: tuple[Example, Gradation]) -> None:
    found, curve = washed

    agrees(found, "check_sum_percent", 100 * curve.loss, found.tolerance["percent"])
    verdict = against_limit(100 * float(curve.loss), found.inputs["loss_limit_percent"])
    agrees(found, "sieving_accepted", verdict is Verdict.WITHIN)


def test_washed_sample_is_rounded_once_and_not_twice(washed: tuple[Example, Gradation]) -> None:
    found, curve = washed
    rule = FinerRule(Decimal(75), Decimal(10), 1)
    # 16.4993 % is 16 by either rule; 17 needs two roundings
    printed = [
        16 if value == "16 or 17" else value for value in found.outputs["reported_percent_passing"]
    ]

    for mode in RoundingMode:
        reported = [
            reported_passing(100 * share, Rounding(0, mode, (rule,)), aperture_um)
            for share, aperture_um in zip(curve.passing, curve.apertures_um, strict=True)
        ]
        assert [str(each) for each in reported] == [str(each) for each in printed]
        figures = [float(each) for each in reported]
        agrees(found, "reported_percent_passing", figures, published=printed)


def test_fine_aggregate_of_446_g() -> None:
    found = example("gradation", "fine_aggregate_446_g")
    curve = sieved(found.inputs)
    within = found.tolerance["percent"]

    agrees(found, "total_g", curve.base_g, 1e-9)
    agrees(found, "percent_retained", 100 * curve.retained[:-1], within)
    agrees(found, "pan_percent", 100 * curve.retained[-1], within)
    agrees(found, "percent_passing", 100 * curve.passing, within)


def test_soil_percent_finer() -> None:
    found = example("gradation", "soil_percent_finer")
    curve = sieved(found.inputs)

    agrees(found, "total_g", curve.base_g, 1e-9)
    agrees(found, "percent_finer", 100 * curve.passing, found.tolerance["percent"])


def test_one_sieve_check_of_a_large_sample() -> None:
    found = example("gradation", "one_sieve_coarse_portion")
    given = found.inputs
    held = given["cumulative_mass_retained_g"]
    whole = given["initial_total_mass_g"]

    curve = gradation([given["sieve_mm"] * 1000], [held, whole - held], whole)

    within = found.tolerance["percent"]
    agrees(found, "percent_retained", 100 * curve.retained[0], within)
    agrees(found, "percent_passing", 100 * curve.passing[0], within)
    assert against_limit(100 * float(curve.loss), given["loss_limit_percent"]) is Verdict.WITHIN


def test_washed_soil_adds_the_pan_to_what_was_washed_out() -> None:
    found = example("gradation", "washed_soil_with_pan_fines")
    given = found.inputs

    curve = gradation(
        np.asarray(given["sieve_mm"]) * 1000,
        [*given["mass_retained_g"], given["pan_g"]],
        given["dry_mass_before_wash_g"],
        given["dry_mass_after_wash_g"],
    )

    within = found.tolerance["percent"]
    agrees(found, "check_sum_g", curve.retained_g.sum(), 1e-9)
    agrees(found, "percent_passing", 100 * curve.passing, within)
    agrees(found, "fines_percent", 100 * curve.fines, within)


def test_sand_with_a_whole_percent_column() -> None:
    found = example("gradation", "sand_with_whole_percent_column")
    curve = sieved(found.inputs)
    within = found.tolerance["percent"]

    agrees(found, "total_g", curve.base_g, 1e-9)
    agrees(found, "percent_retained", 100 * curve.retained[:-1], within)
    agrees(found, "pan_percent", 100 * curve.retained[-1], within)
    agrees(found, "percent_passing", 100 * curve.passing, within)
    agrees(found, "cumulative_percent_retained_whole", 100 * curve.cumulative_retained, 0.5)


def test_reduced_and_washed_fine_portion() -> None:
    found = example("splits", "reduced_fine_portion_washed")
    given, within = found.inputs, found.tolerance["percent"]
    apertures_um = np.asarray([*given["coarse_sieve_mm"], *given["fine_sieve_mm"]]) * 1000
    fine_g = given["fine_cumulative_mass_g"]
    weighed_g = [
        *individual_from_cumulative(given["coarse_cumulative_mass_g"]),
        *individual_from_cumulative(fine_g),
        given["fine_total_with_pan_g"] - fine_g[-1],
    ]
    split = Split(
        below_um=4750,
        passing_g=given["minus_4_75_g"],
        reduced_g=given["fine_portion_before_wash_g"],
        washed_reduced_g=given["fine_portion_after_wash_g"],
    )

    whole = combine_splits(apertures_um, weighed_g, [split])
    dry_g = given["total_dry_mass_g"]
    curve = gradation(apertures_um, whole.retained_g, dry_g, dry_g - whole.wash_loss_g)
    portion = gradation(
        apertures_um[4:],
        weighed_g[4:],
        given["fine_portion_before_wash_g"],
        given["fine_portion_after_wash_g"],
    )

    agrees(found, "coarse_percent_passing", 100 * curve.passing[:4], within)
    agrees(found, "fine_portion_percent_retained", 100 * portion.cumulative_retained, within)
    agrees(found, "fine_portion_percent_passing", 100 * portion.passing, within)
    agrees(found, "total_percent_passing_fine_sieves", 100 * curve.passing[4:], within)


def test_drying_to_constant_mass() -> None:
    found = example("moisture", "drying_to_constant_mass")
    given, within = found.inputs, found.tolerance["percent"]
    container_g = Decimal(str(given["container_g"]))
    wet_g = Decimal(str(given["container_plus_wet_g"])) - container_g
    dried_g = [
        Decimal(str(each)) - container_g for each in given["container_plus_dry_after_each_cycle_g"]
    ]

    agrees(found, "wet_mass_g", float(wet_g))
    agrees(found, "dry_mass_after_each_cycle_g", [float(each) for each in dried_g])
    changes = [float(each) for each in mass_changes_pct(dried_g)]
    agrees(found, "percent_change", changes, within)
    limit = Decimal(str(given["constant_mass_limit_percent"]))
    agrees(found, "constant_after_cycle", constant_after(dried_g, limit))
    moisture = moisture_pct(wet_g, dried_g[-1])
    agrees(found, "moisture_percent", moisture, within)
    agrees(found, "reported_moisture_percent", float(round_reported(moisture, 1)))


def test_dry_mass_from_moisture_of_the_dry_mass() -> None:
    found = example("moisture", "dry_mass_from_moisture")
    wet_g = Decimal(str(found.inputs["wet_mass_g"]))
    moistures = [Decimal(str(each)) for each in found.inputs["moisture_percent_of_dry_mass"]]

    dried = [float(dry_mass_g(wet_g, each)) for each in moistures]

    agrees(found, "dry_mass_g", dried, found.tolerance["mass_g"])
    assert abs(dried[0] - found.outputs["wrong_answer_if_percent_taken_of_wet_mass_g"]) > 10


def overload_cases() -> list[tuple[str, str]]:
    outputs = example("overload", "overload_limits").outputs["max_kg"]
    return [(frame, opening_mm) for frame, limits in outputs.items() for opening_mm in limits]


@pytest.mark.parametrize(("frame", "opening_mm"), overload_cases())
def test_overload_limit_of_coarse_sieves(frame: str, opening_mm: str) -> None:
    found = example("overload", "overload_limits")
    rule = OverloadRule("astm_c136", area_m2=found.inputs["effective_area_m2"][frame])

    limit_g = overload_limit_g(rule, float(opening_mm) * 1000)

    agrees(
        found,
        f"max_kg/{frame}/{opening_mm}",
        limit_g / 1000,
        found.tolerance["abs_kg"],
        relative=found.tolerance["relative"],
    )


@pytest.mark.parametrize(("frame", "frame_mm"), [("203 mm round", 203.2), ("305 mm round", 304.8)])
def test_overload_limit_of_fine_sieves_from_the_frame(frame: str, frame_mm: float) -> None:
    found = example("overload", "overload_limits")

    limit_g = overload_limit_g(OverloadRule("astm_c136", frame_mm=frame_mm), 600.0)

    relative = found.tolerance["relative"]
    agrees(found, f"fine_sieves_max_g/{frame}", limit_g, relative=relative)


def test_pooled_increments_are_the_mass_weighted_mean() -> None:
    found = example("blend", "mass_weighted_increments")
    increments = found.inputs["increments"]
    steps = [
        np.asarray(each["mass"]) * -np.diff([100, *each["passing"], 0]) / 100 for each in increments
    ]
    pooled_g = np.sum(steps, axis=0)
    retained_g = [pooled_g[0] + 0.0, *pooled_g[1:]]

    curve = gradation([8000, 4000, 1000, 75], retained_g, float(sum(pooled_g)))

    agrees(found, "weighted_mean", 100 * curve.passing, found.tolerance["percent"])


@pytest.mark.parametrize("name", ["soil_450_g_d_sizes", "soil_500_g_d_sizes"])
def test_percent_finer_and_d_sizes_of_a_textbook_soil(name: str) -> None:
    found = example("percentiles", name)
    within = found.tolerance
    curve = sieved(found.inputs)

    agrees(found, "total_g", curve.base_g, 1e-9)
    agrees(found, "percent_finer_published", 100 * curve.passing, within["percent"])
    agrees(found, "percent_finer_exact", 100 * curve.passing, 0.005)
    sizes = size_at_passing(curve.apertures_um, curve.passing, [0.6, 0.3, 0.1]).size_um / 1000
    for figure, relative in (
        ("D60_D30_D10_mm_loglinear_interpolated", within["D_interpolated_relative"]),
        ("D60_D30_D10_mm_published_from_graph", within["D_vs_graph_relative"]),
    ):
        agrees(found, figure, sizes, relative=relative)
