"""Published soil classifications: the exact symbol, and the exact name where one is printed."""

import numpy as np
import pytest

from gradation.science.classification import (
    FinesKind,
    Outcome,
    Plasticity,
    SizeBounds,
    SoilShares,
    bounds_of_coefficients,
    classify,
    classify_curve,
    fines_kind,
)
from gradation.science.classification.grading import bounds_of_curve
from gradation.science.classification.plasticity import a_line, is_organic
from gradation.science.percentiles import size_at_passing
from tests.published.agreement import agrees
from tests.published.examples import example


def is_named(case, soil):
    """Assert the printed symbol and name."""
    assert soil.outcome is Outcome.CLASSIFIED
    agrees(case, "group_symbol", soil.symbol)
    agrees(case, "group_name", soil.name)


def test_clean_gravel():
    case = example("classification", "clean_gravel")
    given = case.inputs
    shares = SoilShares(
        given["percent_gravel"] / 100, given["percent_sand"] / 100, given["percent_fines"] / 100
    )

    soil = classify(shares, sizes=bounds_of_coefficients(given["Cu"], given["Cc"]))

    is_named(case, soil)


def test_silty_sand():
    case = example("classification", "silty_sand")
    given = case.inputs
    shares = SoilShares(
        given["percent_gravel"] / 100, given["percent_sand"] / 100, given["percent_fines"] / 100
    )

    soil = classify(shares, Plasticity(given["LL"], given["PI"]))

    is_named(case, soil)


def test_organic_clay():
    case = example("classification", "organic_clay")
    given = case.inputs
    plasticity = Plasticity(given["LL_not_dried"], given["PI_not_dried"], given["LL_oven_dried"])

    soil = classify(SoilShares(0, 0, given["percent_fines"] / 100), plasticity)

    ratio = given["LL_oven_dried"] / given["LL_not_dried"]
    agrees(case, "LL_ratio", ratio, 0.005)
    agrees(case, "organic", is_organic(plasticity))
    is_named(case, soil)


def test_clayey_sand():
    case = example("classification", "clayey_sand")
    coarse = case.inputs["percent_retained_No200"] / 100
    gravel = coarse * case.inputs["percent_of_coarse_fraction_retained_No4"] / 100
    shares = SoilShares(gravel, coarse - gravel, 1 - coarse)

    soil = classify(shares, Plasticity(seen_by_hand=FinesKind.CLAYEY))

    agrees(case, "percent_fines", 100 * shares.fines, 1e-9)
    agrees(case, "group_symbol", soil.symbol)


@pytest.mark.parametrize("gravel", [0.0, 0.1, 0.2])
def test_elastic_silt_whatever_the_coarse_part_is(gravel):
    case = example("classification", "elastic_silt")
    coarse = case.inputs["percent_retained_No200"] / 100
    limits = Plasticity(case.inputs["LL"], case.inputs["PI"])

    soil = classify(SoilShares(gravel, coarse - gravel, 1 - coarse), limits)

    agrees(case, "group_symbol", soil.symbol)
    assert a_line(case.inputs["LL"]) == pytest.approx(36.5, abs=1e-9)


def test_sand_with_plastic_silty_fines():
    case = example("classification", "sand_with_plastic_silty_fines")
    fines = case.inputs["percent_fines"] / 100

    soil = classify(
        SoilShares(0, 1 - fines, fines), Plasticity(case.inputs["LL"], case.inputs["PI"])
    )

    agrees(case, "group_symbol", soil.symbol)


def test_dual_symbol_sand_is_settled_by_uniformity_alone():
    case = example("classification", "dual_symbol_sand")
    fines = case.inputs["percent_fines"] / 100

    soil = classify(
        SoilShares(0, 1 - fines, fines),
        Plasticity(seen_by_hand=FinesKind.SILTY),
        bounds_of_coefficients(case.inputs["Cu"]),
    )

    agrees(case, "group_symbol", soil.symbol)


def test_published_sand_is_a_gravel():
    case = example("classification", "published_classification_that_is_wrong")
    nest = 1000 * np.array([float(size) for size in case.inputs["percent_finer"]])
    passing = np.array(list(case.inputs["percent_finer"].values())) / 100

    soil = classify_curve(nest, passing)

    sizes = bounds_of_curve(nest, passing)
    # D10 and D30 are given to three figures
    agrees(case, "D60_mm_greater_than", sizes.d60_um[0] / 1000, relative=1e-9)
    assert sizes.d60_um[1] == np.inf
    agrees(case, "D30_mm", sizes.d30_um[0] / 1000, relative=5e-3)
    agrees(case, "D10_mm", sizes.d10_um[0] / 1000, relative=5e-3)
    agrees(case, "percent_retained_4_75", 100 * (1 - passing[1]), 1e-9)
    [letter] = {symbol[0] for symbol in soil.possible_symbols}
    agrees(case, "main_letter", letter)
    agrees(case, "coarse_fraction_is", {"G": "gravel", "S": "sand"}[letter])
    # Cc < 1.65²/(0.369 x 12.7) = 0.58 whatever D60 is, and at most 4 % is fine
    assert soil.symbol == "GP"


def test_non_plastic_sand_from_d_sizes():
    case = example("classification", "non_plastic_sand_from_d_sizes")
    d60, d30, d10 = (1000 * case.inputs[f"D{p}_mm"] for p in (60, 30, 10))
    sizes = SizeBounds((d10, d10), (d30, d30), (d60, d60))
    passing = case.inputs["percent_passing"]
    shares = SoilShares(
        1 - passing["No4"] / 100,
        (passing["No4"] - passing["No200"]) / 100,
        passing["No200"] / 100,
    )

    soil = classify(shares, Plasticity(is_non_plastic=True), sizes)

    agrees(case, "Cu", sizes.cu[0], 0.005)
    agrees(case, "Cc", sizes.cc[0], 0.005)
    is_named(case, soil)


def test_washed_sand_near_the_a_line_with_d10_below_the_nest():
    case = example("gradation", "washed_soil_with_pan_fines")
    given = case.inputs
    passing = np.array(case.outputs["percent_passing"]) / 100
    nest = 1000 * np.array(given["sieve_mm"])
    index = given["liquid_limit"] - given["plastic_limit"]
    plasticity = Plasticity(given["liquid_limit"], index)

    soil = classify_curve(nest, passing, plasticity)

    assert bool(size_at_passing(nest, passing, 0.10).is_below)
    agrees(case, "plasticity_index", index)
    agrees(case, "A_line_PI_at_LL", a_line(given["liquid_limit"]), 0.005)
    words = {"silt": "silty (plots below the A-line)", "clay": "clayey"}
    agrees(case, "fines_type", words[fines_kind(plasticity).behaviour])
    agrees(case, "dual_symbol_required", "-" in soil.symbol)
    is_named(case, soil)
    assert "0.5 below the A-line" in soil.cautions[0]
