"""Published statements on decision rules: JCGM 106:2012 and ILAC-G8:09/2019."""

from statistics import NormalDist

import pytest

from gradation.science.decisions import (
    DecisionRule,
    Limits,
    Outcome,
    Rule,
    conformance_probability,
    decide,
)
from tests.published.agreement import agrees

from .examples import example


def test_breakdown_voltage_of_a_diode():
    case = example("uncertainty", "conformance_probability_one_limit")
    given, tolerance = case.inputs, case.tolerance

    found = conformance_probability(
        given["estimate"], given["u"], Limits(upper=given["upper_limit"])
    )

    z = (given["upper_limit"] - given["estimate"]) / given["u"]
    agrees(case, "z", z, tolerance["z"])
    agrees(case, "p_conform", found, tolerance["p"])


def test_plain_acceptance_is_wrong_up_to_half_the_time_at_the_limit():
    # ILAC-G8:09/2019, table 1: simple acceptance, specific risk at most 50 %.
    limits = Limits(upper=0.10)

    verdict = decide(0.10, 0.004, limits, DecisionRule(Rule.PLAIN))

    assert verdict.outcomes.item() is Outcome.CONFORMS
    assert 1 - float(verdict.probability) == pytest.approx(0.5, abs=1e-12)


def test_guard_band_of_one_expanded_uncertainty_leaves_two_and_a_half_percent():
    # ILAC-G8:09/2019, table 1: w = U, specific risk below 2.5 %.
    u = 0.004
    edge = 0.10 - NormalDist().inv_cdf(0.975) * u

    verdict = decide(edge, u, Limits(upper=0.10), DecisionRule(Rule.GUARD_BAND, 0.95))

    assert verdict.outcomes.item() is Outcome.CONFORMS
    assert 1 - float(verdict.probability) == pytest.approx(0.025, abs=1e-9)


@pytest.mark.parametrize("z", [-3.0, -1.0, 0.0, 0.5, 1.645, 2.0, 4.0])
def test_one_sided_probability_is_the_normal_distribution(z):
    found = conformance_probability(0.5 - 0.01 * z, 0.01, Limits(upper=0.5))

    assert float(found) == pytest.approx(NormalDist().cdf(z), abs=1e-12)
