"""Published figures of model distributions and power lines."""

import numpy as np
import pytest

from gradation.science.density import SizeClasses
from gradation.science.mean_sizes import mean_diameter
from gradation.science.models import Model, ModelCurve, log_normal_mean_diameter
from gradation.science.power_lines import PowerLine, power_abscissa
from tests.published.agreement import agrees
from tests.published.examples import example


def test_rosin_rammler_forward_and_inverse():
    case = example("models", "rosin_rammler_forward_and_inverse")
    curve = ModelCurve(Model.RRSB, case.inputs["D63_2_um"], case.inputs["exponent"])

    passing = float(curve.passing(case.inputs["size_um"]))
    size = float(curve.size_at_passing(case.inputs["target_passing"]))

    agrees(case, "passing_at_75", passing, case.tolerance["passing"])
    agrees(case, "P80_um", size, case.tolerance["um"])


AVERAGES = [
    ("count_mean_um", 1, 0),
    ("surface_average_um", 2, 0),
    ("volume_average_um", 3, 0),
    ("surface_median_um", 2, 2),
    ("D32_um", 3, 2),
    ("mass_median_um", 3, 3),
    ("D43_um", 4, 3),
]


@pytest.mark.parametrize(("name", "p", "q"), AVERAGES)
def test_averages_of_a_log_normal(name, p, q):
    case = example("models", "log_normal_averages")
    spread = case.inputs["GSD"]
    mass_median = case.inputs["CMD_um"] * np.exp(3 * np.log(spread) ** 2)

    found = log_normal_mean_diameter(float(mass_median), spread, p, q)

    agrees(case, name, found, case.tolerance["um"])


@pytest.mark.parametrize(("name", "p", "q"), AVERAGES)
def test_averages_of_the_same_log_normal_from_narrow_classes(name, p, q):
    case = example("models", "log_normal_averages")
    slope = 1 / np.log(case.inputs["GSD"])
    mass_median = case.inputs["CMD_um"] * np.exp(3 / slope**2)
    limits = mass_median * np.exp(np.linspace(7, -9, 8001) / slope)
    shares = -np.diff(ModelCurve(Model.LOG_NORMAL, mass_median, slope).passing(limits))
    classes = SizeClasses(limits[1:], limits[:-1], shares)

    found = float(mean_diameter(classes, p, q))

    agrees(case, name, found, case.tolerance["um"])


def test_mode_of_the_count_of_a_log_normal():
    # mode of the count over size: CMD exp(-ln² s) = D[-1,-1]
    case = example("models", "log_normal_averages")
    mass_median = case.inputs["CMD_um"] * np.exp(3 * np.log(case.inputs["GSD"]) ** 2)

    found = log_normal_mean_diameter(float(mass_median), case.inputs["GSD"], -1, -1)

    agrees(case, "mode_um", found, case.tolerance["um"])


def test_power_law_exponents():
    case = example("models", "power_law_exponents")

    found = [
        float(
            ModelCurve(Model.GGS, 1000 * case.inputs["size_modulus_mm"], exponent).passing(
                1000 * case.inputs["size_mm"]
            )
        )
        for exponent in case.inputs["exponents"]
    ]

    agrees(case, "fraction_finer", found, case.tolerance["abs"])


def test_maximum_density_line_of_19_mm():
    case = example("models", "maximum_density_line_19_mm")
    line = PowerLine(1000 * case.inputs["maximum_size_mm"], case.inputs["exponent"])

    passing_pct = 100 * line.passing(1000 * np.array(case.inputs["sieve_mm"]))

    agrees(case, "percent_passing", passing_pct, case.tolerance["percent"])


def test_chart_abscissae_of_the_0_45_power():
    case = example("models", "sizes_to_power_0_45")

    found = power_abscissa(1000 * np.array(case.inputs["sieve_mm"]))

    agrees(case, "size_pow_0_45", found, case.tolerance["abs"])
