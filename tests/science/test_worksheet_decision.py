"""Decision rules through the worksheet, and `assess` under them."""

from __future__ import annotations

from decimal import Decimal
from statistics import NormalDist
from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.decisions import DecisionRule, Rule
from gradation.science.envelopes import AssessmentRule, EnvelopeLine, LineKind, Outcome, assess
from gradation.science.worksheet import WorksheetFaults
from tests.builders import make_gradation, worksheet_data

#: u of every passing exactly 0.5 %, and of nothing else
HALF = {"balance": {"readability_g": 0}, "repeatability_sd_pct": "0.5"}


def line_of(line: dict[str, Any], rule: str = "guard_band", **decision: Any) -> dict[str, Any]:
    """The one line of an envelope over the sand: 24 % passing 300 µm."""
    sheet = worksheet_data(
        envelope=[line],
        uncertainty=HALF,
        decision={"rule": rule, **decision},
        rounding={"passing_decimals": 1},
        describe=[],
    )
    assessment = compute(sheet)["assessment"]
    assert assessment["outcome"] == assessment["lines"][0]["outcome"]
    return dict(assessment["lines"][0])


@pytest.mark.parametrize(
    ("maximum", "outcome"),
    # w = U = 1.96 x 0.5 = 0.98 about 24 %
    [("24.99", "conforms"), ("24.97", "not_decidable"), ("23.03", "not_decidable"),
     ("23.01", "does_not_conform")],
)  # fmt: skip
def test_guard_band_draws_the_limit_in_and_out(maximum: str, outcome: str) -> None:
    assert line_of({"aperture_um": 300, "max": maximum})["outcome"] == outcome


def test_probability_is_that_of_the_normal_distribution() -> None:
    found = line_of({"aperture_um": 300, "max": 25}, "probability")

    assert found["u"] == pytest.approx(0.5)
    assert found["probability"] == pytest.approx(NormalDist(24, 0.5).cdf(25), abs=1e-12)
    assert found["outcome"] == "conforms"


def test_probability_below_the_confidence_is_not_decidable() -> None:
    found = line_of({"aperture_um": 300, "max": 25}, "probability", confidence="0.98")

    assert found["outcome"] == "not_decidable"


def test_plain_rule_keeps_its_verdict_and_shows_the_probability() -> None:
    found = line_of({"aperture_um": 300, "max": 24}, "plain")

    assert found["outcome"] == "conforms"
    assert found["probability"] == pytest.approx(0.5)


def test_limit_that_cannot_be_broken_leaves_no_doubt() -> None:
    found = line_of({"aperture_um": 75, "min": 0, "max": 100})

    assert found["outcome"] == "conforms"
    assert found["probability"] == 1.0


def test_everything_passing_has_no_doubt_either() -> None:
    sheet = worksheet_data(
        fractions=[{"aperture_um": 9500, "mass_g": 0}, *worksheet_data()["fractions"]],
        envelope=[{"aperture_um": 9500, "min": 100, "max": 100}],
        uncertainty=HALF,
        decision={"rule": "guard_band"},
    )

    assert compute(sheet)["assessment"]["outcome"] == "conforms"


def test_difference_of_two_sieves_takes_their_correlation_into_account() -> None:
    # 70 and 46 %: r = sqrt(46 x 30 / (70 x 54)), u^2 = 0.25 + 0.25 - 2 r 0.25
    r = (0.46 * 0.30 / (0.70 * 0.54)) ** 0.5
    found = line_of({"kind": "between", "aperture_um": 1180, "finer_um": 600, "max": 30})

    assert found["u"] == pytest.approx((0.5 - 0.5 * r) ** 0.5, rel=1e-9)


def test_value_read_between_sieves_lies_between_their_uncertainties() -> None:
    # half-way on log aperture: u^2 = (0.25 + 0.25 + 2 r 0.25) / 4
    r = (0.24 * 0.54 / (0.46 * 0.76)) ** 0.5
    found = line_of({"aperture_um": str(round((300 * 600) ** 0.5, 9)), "max": 50})

    assert found["is_interpolated"]
    assert found["u"] == pytest.approx(((0.5 + 0.5 * r) / 4) ** 0.5, rel=1e-4)


def test_characteristic_value_has_the_uncertainty_of_what_it_is_read_from() -> None:
    # fines: what passes the finest sieve
    found = line_of({"kind": "characteristic", "characteristic": "fines", "max": 5})

    assert found["u"] == pytest.approx(0.5, rel=1e-6)


def test_d_value_of_a_line_has_the_uncertainty_told_of_it() -> None:
    sheet = worksheet_data(
        envelope=[{"kind": "characteristic", "characteristic": "d50", "max": 700}],
        percentiles=[50],
        uncertainty=HALF,
        decision={"rule": "guard_band"},
    )

    found = compute(sheet)

    expected = found["uncertainty"]["sizes"]["d50"]["u_um"]
    assert found["assessment"]["lines"][0]["u"] == pytest.approx(expected, rel=1e-5)


def test_value_without_a_known_uncertainty_is_not_decidable() -> None:
    rule = AssessmentRule(decision=DecisionRule(Rule.GUARD_BAND))
    line = EnvelopeLine(LineKind.PASSING, Decimal(300), maximum=Decimal(50))

    found = assess(make_gradation(), [line], rule).lines[0]

    assert found.outcome is Outcome.NOT_DECIDABLE
    assert "uncertainty is not known" in found.reason
    assert assess(make_gradation(), [line], rule, None, [0.5]).outcome is Outcome.CONFORMS


def test_worst_line_speaks_for_all() -> None:
    lines = [
        EnvelopeLine(LineKind.PASSING, Decimal(300), maximum=Decimal(limit)) for limit in (50, 24)
    ]
    rule = AssessmentRule(decision=DecisionRule(Rule.GUARD_BAND))

    found = assess(make_gradation(), lines, rule, None, [0.5, 0.5])

    assert [each.outcome for each in found.lines] == [Outcome.CONFORMS, Outcome.NOT_DECIDABLE]
    assert found.outcome is Outcome.NOT_DECIDABLE


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"uncertainty": None}, "$.uncertainty"),
        ({"decision": {"rule": "coin"}}, "$.decision.rule"),
        ({"decision": {}}, "$.decision.rule"),
        ({"decision": {"rule": "guard_band", "confidence": 1}}, "$.decision.confidence"),
        ({"decision": {"rule": "guard_band", "confidence": "0.4"}}, "$.decision.confidence"),
    ],
)
def test_rule_that_cannot_be_applied_is_a_fault(changes: dict[str, Any], path: str) -> None:
    whole = {"uncertainty": HALF, "decision": {"rule": "guard_band"}} | changes

    with pytest.raises(WorksheetFaults) as refusal:
        compute(worksheet_data(**whole))

    assert [fault.path for fault in refusal.value.faults] == [path]


@pytest.mark.parametrize(
    ("rule", "largest_g", "reported", "outcome"),
    # 0.2 g of 500 g stay on the largest sieve: 99.96 % pass, 100.0 % to one decimal.
    [("guard_band", "0.2", "100.0", "conforms"), ("probability", "0.2", "100.0", "conforms"),
     ("guard_band", "5.0", "99.0", "does_not_conform"),
     ("probability", "5.0", "99.0", "does_not_conform")],
)  # fmt: skip
def test_limit_that_only_one_figure_keeps_is_held_against_the_reported_one(
    rule: str, largest_g: str, reported: str, outcome: str
) -> None:
    rest = Decimal(500) - Decimal(largest_g)
    sheet = worksheet_data(
        dry_mass_g="500",
        fractions=[
            {"aperture_um": 4750, "mass_g": largest_g},
            {"aperture_um": 300, "mass_g": f"{rest - 100}"},
        ],
        pan_g="100",
        envelope=[{"aperture_um": 4750, "min": 100, "max": 100}],
        uncertainty=HALF,
        decision={"rule": rule},
        rounding={"passing_decimals": 1},
        describe=[],
    )

    (line,) = compute(sheet)["assessment"]["lines"]

    # About 100 % half of a normal distribution lies where no percentage is: 50 % says nothing.
    assert (line["reported"], line["outcome"]) == (reported, outcome)
    assert line["probability"] is None
