"""Decision rules: what is said inside, outside and beside the limits."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gradation.science.decisions import (
    DecisionRule,
    Limits,
    Outcome,
    Rule,
    acceptance_zone,
    conformance_probability,
    decide,
    guard_band,
    overall,
    wrong_acceptance_risk,
)
from gradation.science.errors import OutOfRange

PLAIN = DecisionRule(Rule.PLAIN)
GUARDED = DecisionRule(Rule.GUARD_BAND)
LIKELY = DecisionRule(Rule.PROBABILITY)
YES, NO, OPEN = Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM, Outcome.NOT_DECIDABLE


@pytest.mark.parametrize(
    ("value", "plain", "guarded", "likely"),
    # Limits 0.45 to 0.70, u = 0.01: guard band 0.0196, one-sided 95 % point 0.0164.
    [
        (0.40, NO, NO, NO),
        (0.4303, NO, NO, NO),
        (0.4320, NO, OPEN, NO),
        (0.4340, NO, OPEN, OPEN),
        (0.4500, YES, OPEN, OPEN),
        (0.4660, YES, OPEN, OPEN),
        (0.4680, YES, OPEN, YES),
        (0.4700, YES, YES, YES),
        (0.60, YES, YES, YES),
        (0.6810, YES, OPEN, YES),
        (0.7000, YES, OPEN, OPEN),
        (0.7001, NO, OPEN, OPEN),
        (0.7200, NO, NO, NO),
    ],
)
def test_three_rules_beside_two_limits(value, plain, guarded, likely):
    limits = Limits(0.45, 0.70)

    found = [decide(value, 0.01, limits, rule).outcomes.item() for rule in (PLAIN, GUARDED, LIKELY)]

    assert found == [plain, guarded, likely]


@settings(deadline=None)
@given(
    st.floats(-3, 3),
    st.floats(0.001, 2),
    st.floats(-2, 0) | st.none(),
    st.floats(0.1, 2) | st.none(),
)
def test_probability_agrees_with_a_general_library(value, u, lower, upper):
    found = float(conformance_probability(value, u, Limits(lower, upper)))

    normal = stats.norm(value, u)
    expected = (1.0 if upper is None else normal.cdf(upper)) - (
        0.0 if lower is None else normal.cdf(lower)
    )
    assert found == pytest.approx(expected, abs=1e-12)


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(0.0, 0.05))
def test_a_guarded_statement_is_never_bolder_than_a_plain_one(value, u):
    limits = Limits(0.3, 0.6)

    plain = decide(value, u, limits, PLAIN).outcomes.item()
    guarded = decide(value, u, limits, GUARDED).outcomes.item()

    assert guarded in (plain, OPEN)


def test_without_uncertainty_all_rules_agree():
    values = np.array([0.299, 0.3, 0.45, 0.6, 0.601])
    limits = Limits(0.3, 0.6)

    found = [
        decide(values, 0.0, limits, rule).outcomes.tolist() for rule in (PLAIN, GUARDED, LIKELY)
    ]

    assert found == [[NO, YES, YES, YES, NO]] * 3


@pytest.mark.parametrize("retained_g", range(1, 500, 7))
def test_a_passing_arithmetically_on_its_limit_is_within_it(retained_g):
    share = 1.0 - sum([retained_g / 10 / 500] * 10)
    exact = float(1 - Fraction(retained_g, 500))

    assert decide(share, 0.0, Limits(lower=exact), PLAIN).outcomes.item() is YES
    assert decide(share, 0.0, Limits(upper=exact), PLAIN).outcomes.item() is YES


def test_a_strict_limit_excludes_its_own_value():
    strict = Limits(lower=0.2, upper=0.5, lower_inclusive=False, upper_inclusive=False)

    found = decide([0.2, 0.3, 0.5], 0.0, strict, PLAIN)

    assert found.outcomes.tolist() == [NO, YES, NO]


def test_what_was_not_determined_is_never_decided():
    found = decide([np.nan, 0.5], [0.01, np.nan], Limits(0.3, 0.6), GUARDED)

    assert found.outcomes.tolist() == [OPEN, OPEN]
    assert np.isnan(found.probability).all()
    assert decide(0.5, np.nan, Limits(0.3, 0.6), PLAIN).outcomes.item() is YES


def test_no_limit_at_all_is_always_kept():
    found = decide([0.0, 1.0], 0.1, Limits(), GUARDED)

    assert found.outcomes.tolist() == [YES, YES]
    assert found.probability.tolist() == [1.0, 1.0]


def test_limits_may_differ_from_line_to_line():
    limits = Limits([0.9, np.nan, 0.1], [1.0, 0.5, np.nan])

    found = decide([[0.95, 0.6, 0.2], [0.85, 0.4, 0.05]], 0.0, limits, PLAIN)

    assert found.outcomes.tolist() == [[YES, NO, YES], [NO, YES, NO]]
    assert found.margin == pytest.approx(
        np.array([[0.05, -0.1, 0.1], [-0.05, 0.1, -0.05]]), abs=1e-12
    )


def test_batch_equals_value_by_value():
    chance = np.random.default_rng(4)
    values, u = chance.uniform(0, 1, (20, 6)), chance.uniform(0, 0.05, (20, 6))
    limits = Limits(0.3, 0.6)

    for rule in (PLAIN, GUARDED, LIKELY):
        together = decide(values, u, limits, rule).outcomes
        alone = [
            [decide(y, s, limits, rule).outcomes.item() for y, s in zip(*rows, strict=True)]
            for rows in zip(values, u, strict=True)
        ]
        assert together.tolist() == alone


def test_acceptance_zone_may_be_empty():
    low, high = acceptance_zone(0.1, Limits(0.4, 0.5), GUARDED)

    assert low > high
    assert decide(0.45, 0.1, Limits(0.4, 0.5), GUARDED).outcomes.item() is OPEN


def test_guard_band_is_nothing_under_the_other_rules():
    assert guard_band([0.1, 0.2], PLAIN).tolist() == [0.0, 0.0]
    assert guard_band([0.1, 0.2], LIKELY).tolist() == [0.0, 0.0]


def test_overall_is_the_worst_line():
    assert overall([YES, NO, OPEN]) is NO
    assert overall([YES, OPEN]) is OPEN
    assert overall([YES, YES]) is YES


def test_plain_acceptance_risks_an_even_chance_at_the_limit():
    # ILAC-G8:09/2019, table 1: specific risk below 50 % for w = 0.
    assert wrong_acceptance_risk(PLAIN) == 0.5


@pytest.mark.parametrize(
    ("rule", "risk"),
    [
        # Standard normal tables: Phi(-1.96) = 0.0250, Phi(-1.645) = 0.0500, Phi(-3) = 0.00135.
        (DecisionRule(Rule.GUARD_BAND), 0.0250),
        (DecisionRule(Rule.GUARD_BAND, confidence=0.9), 0.0500),
        (DecisionRule(Rule.GUARD_BAND, confidence=0.9973, guard_factor=1.0), 0.00135),
        (DecisionRule(Rule.GUARD_BAND, guard_factor=0.0), 0.5),
    ],
)
def test_risk_behind_a_guard_band_is_the_normal_tail_beyond_it(rule, risk):
    assert wrong_acceptance_risk(rule) == pytest.approx(risk, abs=5e-5)


def test_rule_by_probability_risks_what_its_confidence_leaves():
    assert wrong_acceptance_risk(LIKELY) == pytest.approx(0.05, abs=1e-12)


def test_refusals():
    with pytest.raises(OutOfRange, match="above its upper"):
        Limits(0.7, 0.4)
    with pytest.raises(OutOfRange, match="negative"):
        decide(0.5, -0.1, Limits(0.4), PLAIN)
    with pytest.raises(OutOfRange, match="confidence"):
        DecisionRule(Rule.GUARD_BAND, 1.0)
    with pytest.raises(OutOfRange, match="guard band"):
        DecisionRule(Rule.GUARD_BAND, 0.95, -1.0)
    with pytest.raises(OutOfRange, match="no fixed acceptance zone"):
        acceptance_zone(0.1, Limits(0.4), LIKELY)
    with pytest.raises(OutOfRange, match="no line"):
        overall([])
