"""Limits, margins and outcomes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.decisions import DecisionRule, Rule
from gradation.science.envelopes import (
    AssessmentRule,
    CompareWith,
    EnvelopeLine,
    LineKind,
    LineVerdict,
    MissingAperture,
    Outcome,
    assess,
    assess_values,
)
from gradation.science.errors import OutOfRange
from gradation.science.rounding import Rounding
from tests.builders import from_passing, make_gradation, make_line

UNROUNDED = AssessmentRule(compare=CompareWith.UNROUNDED)


def verdict(curve, line: EnvelopeLine, rule: AssessmentRule | None = None, **values):
    return assess(curve, [line], rule, values).lines[0]


@pytest.mark.parametrize(
    ("minimum", "maximum", "margin", "nearer", "inside"),
    [
        ("80", "95", "5", "maximum", True),
        ("88", "100", "2", "minimum", True),
        ("90", "95", "0", "minimum", True),
        ("91", "95", "-1", "minimum", False),
        ("80", "89", "-1", "maximum", False),
        ("80", None, "10", "minimum", True),
        (None, "95", "5", "maximum", True),
        ("0", "100", None, "", True),
    ],
)
def test_margin_to_the_nearer_limit(
    minimum: str | None, maximum: str | None, margin: str | None, nearer: str, inside: bool
) -> None:
    """90 % of the sand of 500 g pass 2.36 mm."""
    found = verdict(make_gradation(), make_line(minimum=minimum, maximum=maximum))

    assert found.margin == (None if margin is None else Decimal(margin))
    assert found.nearer_limit == nearer
    assert found.is_inside is inside
    assert found.reported == 90


def test_value_on_an_exclusive_limit_is_outside() -> None:
    found = verdict(make_gradation(), make_line(minimum="90", is_inclusive=False))

    assert found.margin == 0
    assert found.is_inside is False


def test_target_and_tolerance_are_capped_and_narrow_the_limits() -> None:
    capped = make_line(minimum=None, maximum=None, target="97", tolerance="5")
    narrowed = make_line(minimum="85", maximum="99", target="90", tolerance="3")

    assert capped.limits() == (92, 100)
    assert narrowed.limits() == (87, 93)


def test_retained_line_is_the_other_side_of_passing() -> None:
    """98 % pass 4.75 mm, so 2 % are retained."""
    line = make_line(kind=LineKind.RETAINED, aperture_um="4750", minimum=None, maximum="5")

    found = verdict(make_gradation(), line)

    assert found.reported == 2
    assert found.margin == 3


def test_line_between_two_sieves() -> None:
    """70 % pass 1.18 mm and 46 % pass 600 µm: 24 % lie between; ASTM C33 allows 45 %."""
    line = make_line(
        kind=LineKind.BETWEEN, aperture_um="1180", finer_um="600", minimum=None, maximum="45"
    )

    found = verdict(make_gradation(), line)

    assert found.value == pytest.approx(24, abs=1e-12)
    assert found.margin == 21


def test_characteristic_value_is_compared_at_the_decimals_of_its_limit() -> None:
    line = make_line(
        kind=LineKind.CHARACTERISTIC, aperture_um=None, characteristic="fineness_modulus",
        minimum="2.3", maximum="3.1",
    )  # fmt: skip

    found = verdict(make_gradation(), line, fineness_modulus=3.149)

    assert found.reported == Decimal("3.1")
    assert found.is_inside is True
    assert found.is_moved_by_rounding is True


def test_characteristic_that_is_not_known_is_not_tested() -> None:
    line = make_line(
        kind=LineKind.CHARACTERISTIC, aperture_um=None, characteristic="span", minimum="1"
    )

    assessment = assess(make_gradation(), [line], None, {"span": None})

    assert assessment.outcome is Outcome.NOT_DETERMINED
    assert not assessment.lines[0].is_tested
    assert "span" in assessment.lines[0].reason


def test_missing_aperture_is_interpolated_and_marked_or_not_tested() -> None:
    line = make_line(aperture_um="2000")
    rule = AssessmentRule(missing=MissingAperture.NOT_TESTED)

    marked = verdict(make_gradation(), line)
    left_out = verdict(make_gradation(), line, rule)

    assert marked.is_interpolated
    assert 70 < marked.value < 90
    assert left_out.value is None
    assert left_out.reason == "2 mm is not in the nest."


def test_aperture_outside_the_nest_is_tested_only_where_it_is_certain() -> None:
    beyond = make_line(aperture_um="9500", minimum="100", maximum="100")
    curve = make_gradation()
    certain = from_passing([4750, 2360], [100, 80])

    assert verdict(curve, beyond).reason == "9.5 mm lies outside the sieves of the nest."
    assert verdict(certain, beyond).is_inside is True


@pytest.mark.parametrize(
    ("lines", "outcome"),
    [
        ([make_line()], Outcome.CONFORMS),
        ([make_line(), make_line(maximum="89")], Outcome.DOES_NOT_CONFORM),
        ([make_line(), make_line(aperture_um="9500")], Outcome.NOT_DETERMINED),
        ([make_line(maximum="89"), make_line(aperture_um="9500")], Outcome.DOES_NOT_CONFORM),
        ([], Outcome.NOT_DETERMINED),
    ],
)
def test_outcome_over_all_lines(lines: list[EnvelopeLine], outcome: Outcome) -> None:
    assert assess(make_gradation(), lines).outcome is outcome


def test_line_with_the_smallest_margin() -> None:
    assessment = assess(make_gradation(), [make_line(), make_line(minimum="88")])

    assert assessment.smallest_margin is not None
    assert assessment.smallest_margin.margin == 2
    assert assess(make_gradation(), []).smallest_margin is None


@pytest.mark.parametrize(
    ("passing_pct", "reported", "unrounded"),
    [(94.6, True, False), (94.4, False, False), (95.2, True, True)],
)
def test_rounding_decides_only_when_it_says_so(
    passing_pct: float, reported: bool, unrounded: bool
) -> None:
    """Minimum 95: 94.6 % is reported as 95 and fails unrounded."""
    curve = from_passing([2360], [passing_pct])
    line = make_line(minimum="95", maximum="100")

    by_report = verdict(curve, line)
    in_full = verdict(curve, line, UNROUNDED)

    assert by_report.is_inside is reported
    assert in_full.is_inside is unrounded
    assert by_report.is_moved_by_rounding == in_full.is_moved_by_rounding
    assert by_report.is_moved_by_rounding == (reported != unrounded)


@given(
    st.integers(0, 10_000),
    st.integers(0, 99),
    st.integers(0, 3),
    st.booleans(),
)
def test_rounding_never_moves_a_verdict_in_silence(
    passing: int, minimum: int, decimals: int, is_inclusive: bool
) -> None:
    curve = from_passing([2360], [passing / 100])
    line = make_line(minimum=str(minimum), maximum="100", is_inclusive=is_inclusive)
    rounding = Rounding(decimals)

    by_report = verdict(curve, line, AssessmentRule(rounding=rounding))
    in_full = verdict(curve, line, AssessmentRule(rounding=rounding, compare=CompareWith.UNROUNDED))

    moved = by_report.is_inside != in_full.is_inside
    assert by_report.is_moved_by_rounding == in_full.is_moved_by_rounding == moved


@given(st.integers(0, 100), st.integers(0, 100), st.integers(0, 100))
def test_margin_is_negative_exactly_outside(value: int, one: int, other: int) -> None:
    low, high = sorted((one, other))

    found: LineVerdict = verdict(
        from_passing([2360], [value]), make_line(minimum=str(low), maximum=str(high))
    )

    if found.margin is not None:
        assert (found.margin >= 0) == found.is_inside
    else:
        assert found.is_inside


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"minimum": None, "maximum": None}, "no limit"),
        ({"minimum": "96"}, "larger than the maximum"),
        ({"aperture_um": None}, "at which aperture"),
        ({"kind": LineKind.CHARACTERISTIC}, "which one"),
        ({"kind": LineKind.BETWEEN}, "coarser and then the finer"),
        ({"kind": LineKind.BETWEEN, "finer_um": "4750"}, "coarser and then the finer"),
    ],
)
def test_lines_that_cannot_be_compared_are_refused(changes: dict, says: str) -> None:
    assess(make_gradation(), [make_line()])
    with pytest.raises(OutOfRange, match=says):
        assess(make_gradation(), [make_line(**changes)])


def of_value(value: float | None, line: EnvelopeLine, *standard: float | None) -> LineVerdict:
    return assess_values([value], [line], AssessmentRule(), standard or None).lines[0]


def test_mean_is_reported_before_it_meets_its_limit() -> None:
    # By hand: 60.4 % is reported as 60 and keeps a maximum of 60; 60.6 % is reported as 61.
    line = make_line(aperture_um="600", minimum=None, maximum="60")

    kept, broken = of_value(60.4, line), of_value(60.6, line)

    assert (kept.reported, kept.margin, kept.outcome) == (60, 0, Outcome.CONFORMS)
    assert (broken.reported, broken.margin, broken.outcome) == (61, -1, Outcome.DOES_NOT_CONFORM)


def test_mean_of_what_is_retained_is_held_against_its_limit_as_retained() -> None:
    # By hand: 12 % retained on 150 µm at most; 11 % keep it by 1, 13 % break it by 1.
    line = make_line(kind=LineKind.RETAINED, aperture_um="150", minimum=None, maximum="12")

    kept, broken = of_value(11.0, line), of_value(13.0, line)

    assert (kept.value, kept.reported, kept.margin) == (11, 11, 1)
    assert (broken.value, broken.margin, broken.is_inside) == (13, -1, False)


def test_value_that_is_missing_leaves_its_line_open() -> None:
    found = assess_values([None], [make_line()])

    assert found.outcome is Outcome.NOT_DETERMINED
    assert found.lines[0].reason == "There is no value to compare."


def test_known_uncertainty_of_a_mean_draws_the_limits_in() -> None:
    # Guard band w = U = 1.96 x 0.5 = 0.98 %: 94.1 % with at most 95 lies within it, 94.0 % not.
    rule = AssessmentRule(rounding=Rounding(1), decision=DecisionRule(Rule.GUARD_BAND))

    outcomes = [
        assess_values([value], [make_line()], rule, [0.5]).outcome for value in (94.0, 94.1)
    ]

    assert outcomes == [Outcome.CONFORMS, Outcome.NOT_DECIDABLE]


def test_values_without_lines_determine_nothing() -> None:
    assert assess_values([], []).outcome is Outcome.NOT_DETERMINED


@pytest.mark.parametrize(
    ("decimals", "reported", "inside"), [(0, "60", True), (1, "60.4", False), (2, "60.40", False)]
)
def test_line_is_reported_with_the_decimals_it_asks_for(
    decimals: int, reported: str, inside: bool
) -> None:
    line = make_line(aperture_um="600", minimum=None, maximum="60", decimals=decimals)

    found = verdict(from_passing([600], [60.4]), line)

    assert (str(found.reported), found.is_inside) == (reported, inside)


def test_characteristic_value_is_reported_with_the_decimals_its_line_asks_for() -> None:
    # By hand: 2.849 with one decimal is 2.8 and keeps at most 2.8; with two it is 2.85.
    line = make_line(
        kind=LineKind.CHARACTERISTIC, aperture_um=None, characteristic="fineness_modulus",
        minimum=None, maximum="2.8",
    )  # fmt: skip
    one, two = (replace(line, decimals=decimals) for decimals in (1, 2))

    found = [verdict(make_gradation(), each, fineness_modulus=2.849) for each in (one, two)]

    assert [(str(each.reported), each.is_inside) for each in found] == [
        ("2.8", True),
        ("2.85", False),
    ]


def test_target_of_a_characteristic_value_may_reach_beyond_a_percentage() -> None:
    # By hand: 250 µm more or less 20 µm; no bound at 0 or 100 as for a percentage.
    line = make_line(
        kind=LineKind.CHARACTERISTIC, aperture_um=None, characteristic="d50",
        minimum=None, maximum=None, target="250", tolerance="20",
    )  # fmt: skip

    assert line.limits() == (230, 270)
