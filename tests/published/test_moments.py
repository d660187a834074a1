"""Published grain-size statistics and mean sizes, within each example's own tolerance."""

import math

import numpy as np
import pytest

from gradation.science.density import OpenEnds, SizeClasses, size_classes
from gradation.science.grain_words import folk_ward_words, grain_word, moment_words
from gradation.science.mean_sizes import mean_diameter, specific_surface
from gradation.science.moments import (
    Scale,
    folk_ward,
    moment_measures,
    moments_of_midpoints,
    phi_to_um,
    um_to_phi,
)
from tests.published.agreement import agrees
from tests.published.examples import example


def test_moment_table_with_an_open_pan_class():
    case = example("moments", "moments_with_open_pan_class")
    midpoints, masses = np.array(case.inputs["phi_midpoint"]), np.array(case.inputs["mass_g"])

    mean, deviation, _, _ = moments_of_midpoints(midpoints, masses)

    agrees(case, "sum_mass_g", masses.sum())
    agrees(case, "sum_product", masses @ midpoints, 1e-9)
    agrees(case, "mean_phi", mean, case.tolerance["mean"])
    squared = float(deviation) ** 2 * masses.sum()
    agrees(case, "sum_squared", squared, case.tolerance["sum_squared"])
    agrees(case, "sd_phi", deviation, case.tolerance["sd"])


def test_moment_table_as_a_curve_with_the_pan_stated_to_6_phi():
    case = example("moments", "moments_with_open_pan_class")
    masses = np.array(case.inputs["mass_g"])
    passing = 1 - np.cumsum(masses)[:-1] / masses.sum()  # below 1, 2, 3 and 4 phi
    ends = OpenEnds(float(phi_to_um(6)), float(phi_to_um(0)))  # pan midpoint 5 phi

    result = moment_measures(size_classes(phi_to_um([1, 2, 3, 4]), passing, ends), Scale.PHI)

    agrees(case, "mean_phi", result.mean, case.tolerance["mean"])
    agrees(case, "sd_phi", result.standard_deviation, case.tolerance["sd"])
    assert moment_words(result).sorting == "poorly sorted"
    assert len(result.assumptions) == 3


@pytest.mark.parametrize("place", range(5))
def test_verbal_classes_of_the_printed_cases(place):
    case = example("moments", "verbal_classes_at_boundaries")
    [(measure, value), _] = case.outputs["test_cases"][place].items()

    word = grain_word(measure, value)

    agrees(case, f"test_cases/{place}", {measure: value, "word": word})


@pytest.mark.parametrize(
    ("measure", "limits", "words"),
    [
        ("sorting", "sorting_upper_limits_phi", "sorting_words"),
        ("kurtosis", "kurtosis_limits", "kurtosis_words"),
        ("skewness", "skewness_limits", "skewness_words"),
    ],
)
def test_words_change_exactly_at_the_printed_limits(measure, limits, words):
    case = example("moments", "verbal_classes_at_boundaries")
    inner = [
        limit for limit in sorted(case.inputs[limits]) if abs(limit) != 1 or measure != "skewness"
    ]

    beside = [inner[0] - 0.01, *[limit + 0.001 for limit in inner]]

    found = [grain_word(measure, value) for value in beside]
    agrees(case, words, found[::-1] if measure == "skewness" else found)


def test_phi_conversions():
    case = example("moments", "phi_conversions")

    phi = um_to_phi(1000 * np.array(case.inputs["mm"]))

    agrees(case, "phi", phi, case.tolerance["abs"])


def test_folk_and_ward_of_an_exact_log_normal():
    case = example("moments", "folk_and_ward_of_log_normal")

    result = folk_ward(list(case.inputs["phi_percentiles"].values()))

    within = case.tolerance["abs"]
    agrees(case, "mean_phi", result.mean_phi, within)
    agrees(case, "sorting_phi", result.sorting_phi, within)
    agrees(case, "skewness", result.skewness, within)
    agrees(case, "kurtosis", result.kurtosis, within)
    words = folk_ward_words(result)
    # the source says more about the mean: it lies at a boundary of classes
    [place, *printed] = case.outputs["words"]
    assert place.startswith(f"{words.mean} ")
    agrees(
        case,
        "words",
        [words.mean, words.sorting, words.skewness, words.kurtosis],
        published=[words.mean, *printed],
    )


def test_surface_mean_of_a_straight_line_mass_distribution():
    case = example("moments", "surface_mean_linear_mass")
    classes = SizeClasses(np.array([1.0]), np.array([101.0]), np.array([1.0]))

    found = float(mean_diameter(classes, 3, 2))

    agrees(case, "surface_mean_um", found, case.tolerance["um"])
    agrees(case, "printed_in_book_um", found, case.tolerance["book"])
    agrees(case, "S_v_m2_per_cm3", specific_surface(classes).per_volume_m2_per_cm3, 5e-5)


def test_surface_mean_of_a_two_part_number_density():
    case = example("moments", "surface_mean_two_part_density")
    fine, coarse = np.linspace(0, 10, 4001), np.geomspace(10, 100, 4001)

    def mass(size):  # integral of d³ dn: d⁵/5 up to 10 µm, then 1e5 ln d
        return np.where(size <= 10, size**5 / 5, 2e4 + 1e5 * np.log(np.maximum(size, 10) / 10))

    limits = np.concatenate((fine[:-1], coarse))[::-1]
    total = float(mass(100.0))
    classes = size_classes(limits[1:-1], mass(limits[1:-1]) / total, OpenEnds(0.0, 100.0))

    within = case.tolerance["relative"]
    agrees(case, "sum_nd3", total, relative=within)
    surface_mean_um = float(mean_diameter(_without_zero(classes), 3, 2))
    agrees(case, "surface_mean_um", surface_mean_um, relative=within)
    # D[3,2] is the ratio of the two sums
    agrees(case, "sum_nd2", total / surface_mean_um, relative=within)


def _without_zero(classes: SizeClasses) -> SizeClasses:
    """The same without the class down to 0 µm, which holds 1e-19 of the mass."""
    assert classes.share[-1] < 1e-15
    assert math.isclose(float(classes.share[:-1].sum()), 1, rel_tol=1e-12)
    return SizeClasses(classes.lower_um[:-1], classes.upper_um[:-1], classes.share[:-1])
