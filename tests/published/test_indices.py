"""Published moduli, coefficients and grain sizes, each with its printed intermediate values."""

from __future__ import annotations

import numpy as np
import pytest

from gradation.science.computing import compute
from gradation.science.gradation import Basis, gradation
from gradation.science.indices import (
    coefficient_of_curvature,
    coefficient_of_uniformity,
    fineness_modulus,
    grain_fineness_number,
    passing_on_set,
    sieve_set,
    usable_share,
)
from gradation.science.percentiles import size_at_passing
from tests.builders import from_passing
from tests.published.agreement import agrees
from tests.published.examples import example

ASTM_SET = sieve_set("fineness_modulus_astm").apertures_um


def um(sieve_mm: list[float]) -> list[float]:
    return [1000 * each for each in sieve_mm]


def test_fineness_modulus_of_a_concrete_sand() -> None:
    found = example("indices", "fineness_modulus_concrete_sand")
    given = found.inputs

    curve = gradation(
        um(given["sieve_mm"]), [*given["percent_retained"], given["pan_percent"]], 100.0
    )

    agrees(found, "cumulative_percent_retained", 100 * curve.cumulative_retained, 1e-9)
    agrees(found, "sum", 100 * curve.cumulative_retained.sum(), 1e-9)
    modulus = fineness_modulus(curve, ASTM_SET)
    agrees(found, "fineness_modulus", modulus, found.tolerance["fm"])


def test_fineness_modulus_of_1000_g() -> None:
    found = example("indices", "fineness_modulus_1000_g")
    given = found.inputs

    curve = gradation(um(given["sieve_mm"]), [*given["mass_retained_g"], 0.0], given["sample_g"])

    agrees(found, "sum", 100 * curve.cumulative_retained.sum(), 1e-9)
    modulus = fineness_modulus(curve, ASTM_SET)
    agrees(found, "fineness_modulus", modulus, found.tolerance["fm"])


def test_fineness_modulus_of_a_series_cut_short() -> None:
    """The printed sum gives 2.75; the printed answer 3.75 also counts 150 µm at 100 %."""
    found = example("indices", "fineness_modulus_short_series")
    given, within = found.inputs, found.tolerance["fm"]
    apertures_um = um(given["sieve_mm"])

    curve = gradation(apertures_um, [*given["percent_retained"], 0.0], 100.0)

    listed = fineness_modulus(curve, tuple(apertures_um))
    with_finer = fineness_modulus(curve, (*apertures_um, 150.0))
    agrees(found, "sum_listed", 100 * curve.cumulative_retained.sum(), 1e-9)
    agrees(found, "answer_arithmetic_of_listed_sieves", listed, within)
    agrees(found, "answer_with_0_15_mm_counted", with_finer, within)
    agrees(found, "published_answer", with_finer, within)


def test_series_cut_short_tells_nothing_about_coarser_sieves() -> None:
    given = example("indices", "fineness_modulus_short_series").inputs
    curve = gradation(um(given["sieve_mm"]), [*given["percent_retained"], 0.0], 100.0)

    passing = passing_on_set(curve, ASTM_SET)

    assert np.isnan(passing[ASTM_SET.index(4750.0)])
    assert np.isnan(fineness_modulus(curve, ASTM_SET))


def test_fineness_modulus_of_the_sand_with_whole_percents() -> None:
    found = example("gradation", "sand_with_whole_percent_column")
    given = found.inputs
    masses = [*given["mass_retained_g"], given["pan_g"]]

    curve = gradation(um(given["sieve_mm"]), masses, basis=Basis.SUM_OF_FRACTIONS)

    modulus = fineness_modulus(curve, tuple(um(given["sieve_mm"])))
    agrees(found, "fineness_modulus", modulus, found.tolerance["fm"])


@pytest.mark.parametrize(
    ("topic", "name", "figure"),
    [
        ("indices", "fineness_modulus_short_series", "published_answer"),
        ("gradation", "sand_with_whole_percent_column", "fineness_modulus"),
    ],
)
def test_worksheet_gives_the_published_modulus_and_says_what_it_takes(
    topic: str, name: str, figure: str
) -> None:
    """A nest that begins below 9.5 mm with material on it, and one of 10 and 5 mm sieves."""
    found = example(topic, name)
    masses = found.inputs.get("mass_retained_g") or found.inputs["percent_retained"]
    fractions = [
        {"aperture_um": aperture_um, "mass_g": mass_g}
        for aperture_um, mass_g in zip(um(found.inputs["sieve_mm"]), masses, strict=True)
    ]
    sheet = {"basis": "sum_of_fractions", "fractions": fractions}

    result = compute({**sheet, "pan_g": found.inputs.get("pan_g", 0)})

    modulus = result["characteristics"]["fineness_modulus"]
    agrees(found, figure, modulus, found.tolerance["fm"])
    assert result["notes"]["fineness_modulus"]


def test_grain_fineness_divides_by_the_sand_recovered() -> None:
    found = example("indices", "grain_fineness_clay_removed")
    given, outputs = found.inputs, found.outputs
    table = sieve_set("afs_grain_fineness")
    dry_g, clay_g = given["dry_sample_g"], given["AFS_clay_g"]

    curve = gradation(table.apertures_um, given["mass_retained_g"], dry_g, dry_g - clay_g)

    assert [*table.factors, table.pan_factor] == given["multiplier"]
    agrees(found, "sum_retained_g", curve.retained_g.sum(), 1e-9)
    of_sample = 100 * curve.retained_g.sum() / dry_g
    agrees(found, "percent_retained_total", of_sample, 1e-9)
    number = grain_fineness_number(curve)
    agrees(found, "gfn", number, found.tolerance["gfn"])
    assert abs(number - outputs["wrong_if_divided_by_100_percent"]) > 2


def test_usable_share_of_a_stock_sand() -> None:
    found = example("indices", "usable_share_of_stock_sand")
    given, within = found.inputs, found.tolerance["percent"]

    share = usable_share(
        given["percent_of_stock_below_wanted_d10"], given["percent_of_stock_below_wanted_d60"]
    )

    agrees(found, "usable_percent", share.usable_pct, within)
    agrees(found, "too_fine_percent", share.too_fine_pct, within)
    agrees(found, "too_coarse_above_percent", share.too_coarse_above_pct, within)


@pytest.mark.parametrize("name", ["soil_450_g_d_sizes", "soil_500_g_d_sizes"])
def test_coefficients_from_the_printed_sizes(name: str) -> None:
    found = example("percentiles", name)
    d60, d30, d10 = found.outputs["D60_D30_D10_mm_published_from_graph"]
    within = found.tolerance["Cu_Cc_from_published_D"]

    cu, cc = coefficient_of_uniformity(d10, d60), coefficient_of_curvature(d10, d30, d60)

    agrees(found, "Cu_published", cu, within)
    agrees(found, "Cc_published", cc, within)


@pytest.mark.parametrize("name", ["soil_450_g_d_sizes", "soil_500_g_d_sizes"])
def test_coefficients_from_interpolated_sizes(name: str) -> None:
    found = example("percentiles", name)
    given = found.inputs
    masses = [*given["mass_retained_g"], given["pan_g"]]
    curve = gradation(um(given["sieve_mm"]), masses, basis=Basis.SUM_OF_FRACTIONS)

    d10, d30, d60 = size_at_passing(curve.apertures_um, curve.passing, [0.1, 0.3, 0.6]).size_um

    within = 0.006  # printed to two decimals
    cu, cc = coefficient_of_uniformity(d10, d60), coefficient_of_curvature(d10, d30, d60)
    agrees(found, "Cu_interpolated", cu, within)
    agrees(found, "Cc_interpolated", cc, within)


def test_coefficients_of_a_sand_from_its_d_sizes() -> None:
    found = example("classification", "non_plastic_sand_from_d_sizes")
    d10, d30, d60 = (found.inputs[f"{name}_mm"] for name in ("D10", "D30", "D60"))

    agrees(found, "Cu", coefficient_of_uniformity(d10, d60), 0.005)
    agrees(found, "Cc", coefficient_of_curvature(d10, d30, d60), 0.005)


def test_sizes_of_a_soil_whose_published_answer_is_wrong() -> None:
    """The posted D30 of 0.4 mm is wrong: the points give 1.65 mm; D60 lies above 12.7 mm."""
    found = example("classification", "published_classification_that_is_wrong")
    finer = found.inputs["percent_finer"]
    curve = from_passing([1000 * float(mm) for mm in finer], list(finer.values()))

    sizes = size_at_passing(curve.apertures_um, curve.passing, [0.1, 0.3, 0.6])

    agrees(found, "D10_mm", sizes.size_um[0] / 1000, 0.0005)
    agrees(found, "D30_mm", sizes.size_um[1] / 1000, 0.005)
    assert sizes.is_above[2]
    agrees(found, "D60_mm_greater_than", curve.apertures_um[0] / 1000)
