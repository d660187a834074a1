"""Several results of a lot held together: means and share within limits."""

from decimal import Decimal

import numpy as np
import pytest

from gradation.science.envelope_form import EnvelopeLine, LineKind, Outcome
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.lots import LotPlan, LotRule, assess_lot
from gradation.science.quality.capability import ProcessLimits, share_within_limits

AT_600 = EnvelopeLine(aperture_um=Decimal(600), maximum=Decimal(60))


def of(*values):
    return [[value] for value in values]


def sample_with(n, mean, sd):
    """Give n values of exactly this mean and standard deviation (n - 1)."""
    raw = np.arange(n, dtype=float)
    return mean + sd * (raw - raw.mean()) / raw.std(ddof=1)


def test_mean_counts_where_one_result_alone_would_not_do():
    # By hand: (55 + 61 + 57 + 58) / 4 = 57.75, reported 58, at most 60.
    lot = assess_lot(of(55.0, 61.0, 57.0, 58.0), [AT_600], LotPlan(LotRule.MEAN, 4))

    assert (lot.outcome, lot.lines[0].mean) == (Outcome.CONFORMS, 57.75)


def test_mean_is_rounded_once_from_unrounded_values():
    # By hand: (60.4 + 60.6) / 2 = 60.5, half to even 60; of reported 60 and 61 too, but
    # (60.4 + 60.8) / 2 = 60.6 is 61 while reported 60 and 61 would average to 60.5, so 60.
    low, high = (assess_lot(of(60.4, each), [AT_600], LotPlan(LotRule.MEAN, 2)) for each in
                 (60.6, 60.8))  # fmt: skip

    assert [each.outcome for each in (low, high)] == [Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM]


def test_lot_with_too_few_results_is_not_judged():
    lot = assess_lot(of(55.0, 61.0), [AT_600], LotPlan(LotRule.MEAN, 4))

    assert lot.outcome is Outcome.NOT_DETERMINED
    assert lot.lines[0].reason == "2 of 4 results so far."


def test_moving_mean_takes_the_latest_only():
    # By hand: the last three are 58, 59, 66, mean 61; all five average to 58.
    lot = assess_lot(of(52.0, 55.0, 58.0, 59.0, 66.0), [AT_600], LotPlan(LotRule.MOVING_MEAN, 3))

    assert (lot.lines[0].mean, lot.outcome) == (61.0, Outcome.DOES_NOT_CONFORM)


def test_what_is_retained_is_averaged_as_retained():
    line = EnvelopeLine(LineKind.RETAINED, Decimal(150), maximum=Decimal(4))

    lot = assess_lot(of(3.0, 4.0, 5.0), [line], LotPlan(LotRule.MEAN, 3))

    assert (lot.lines[0].mean, str(lot.lines[0].reported)) == (4.0, "4")
    assert lot.outcome is Outcome.CONFORMS


def test_share_within_of_the_published_lot_of_four():
    # Public training slides for airport paving (slideplayer.com/slide/1650665, "MAT Density"):
    # 96.0, 97.0, 99.0, 100.0; mean 98.0, Sn = 1.8, L = 96.3, QL = 0.9444, PL = 82. The slide
    # rounds Sn (1.8257) and takes the next whole line of its table; for n = 4 the line is
    # 50 + 100 Q/3: with the slide's Q 81.5, with the unrounded one 81.0.
    line = EnvelopeLine(LineKind.CHARACTERISTIC, characteristic="density", minimum=Decimal("96.3"))
    plan = LotPlan(LotRule.WITHIN_LIMITS, 4, Decimal(80))

    lot = assess_lot(of(96.0, 97.0, 99.0, 100.0), [line], plan)

    assert lot.lines[0].mean == 98.0
    assert round(lot.lines[0].sd, 1) == 1.8
    assert lot.lines[0].share_within_pct == pytest.approx(82, abs=1.0)
    assert lot.outcome is Outcome.CONFORMS


@pytest.mark.parametrize(
    ("n", "quality_index", "published_pct"),
    [
        (3, 0.76, 73), (4, 0.69, 73), (5, 0.66, 73), (6, 0.65, 73), (8, 0.63, 73),
        (3, 0.56, 66), (4, 0.48, 66), (5, 0.45, 66), (7, 0.44, 66), (9, 0.43, 66),
        (3, 0.22, 56), (4, 0.18, 56), (5, 0.17, 56), (6, 0.16, 56), (10, 0.16, 56),
    ],
)  # fmt: skip
def test_share_within_agrees_with_the_federal_table(n, quality_index, published_pct):
    # FHWA Technical Advisory T 5080.12, table 1B (public page): quality index to 0.01, which is
    # 0.3 to 0.4 % of the share.
    share = share_within_limits(sample_with(n, 0.0, 1.0), ProcessLimits(upper=quality_index))

    assert 100 * share == pytest.approx(published_pct, abs=0.5)


def test_limit_that_cannot_be_broken_takes_nothing_off_the_share():
    both = EnvelopeLine(aperture_um=Decimal(75), minimum=Decimal(0), maximum=Decimal(5))
    one = EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5))
    values, plan = of(1.0, 3.0, 2.0, 4.0), LotPlan(LotRule.WITHIN_LIMITS, 3, Decimal(90))

    shares = [assess_lot(values, [line], plan).lines[0].share_within_pct for line in (both, one)]

    assert shares[0] == shares[1]


@pytest.mark.parametrize(
    ("rule", "size", "share"),
    [
        (LotRule.SINGLE, 0, None),
        (LotRule.MEAN, 0, None),
        (LotRule.MEAN, 1, None),
        (LotRule.WITHIN_LIMITS, 2, Decimal(90)),
        (LotRule.WITHIN_LIMITS, 3, None),
        (LotRule.WITHIN_LIMITS, 3, Decimal(101)),
    ],
)
def test_plan_that_no_lot_can_keep_is_refused(rule, size, share):
    with pytest.raises(OutOfRange):
        LotPlan(rule, size, share)


def test_line_without_a_value_leaves_the_lot_open():
    lot = assess_lot([[55.0], [None]], [AT_600], LotPlan(LotRule.MEAN, 2))

    assert lot.outcome is Outcome.NOT_DETERMINED
    assert "no value" in lot.lines[0].reason


def test_single_results_need_no_second_one():
    assert LotPlan(LotRule.SINGLE, 1).size == 1


def test_result_that_lacks_a_line_is_refused():
    with pytest.raises(OutOfRange, match="a value for each line of the specification"):
        assess_lot([[55.0], [56.0, 57.0]], [AT_600], LotPlan(LotRule.MEAN, 2))


def test_limits_that_nothing_can_break_hold_the_whole_lot():
    all_of_it = EnvelopeLine(aperture_um=Decimal(75), minimum=Decimal(0), maximum=Decimal(100))
    plan = LotPlan(LotRule.WITHIN_LIMITS, 3, Decimal(90))

    line = assess_lot(of(1.0, 3.0, 99.0), [all_of_it], plan).lines[0]

    assert (line.share_within_pct, line.outcome) == (100, Outcome.CONFORMS)


def test_limits_that_meet_leave_no_share_to_estimate():
    exact = EnvelopeLine(
        LineKind.CHARACTERISTIC, characteristic="d50", minimum=Decimal(250), maximum=Decimal(250)
    )
    plan = LotPlan(LotRule.WITHIN_LIMITS, 3, Decimal(90))

    with pytest.raises(NotDeterminable, match="only meet leave no room"):
        assess_lot(of(249.0, 250.0, 251.0), [exact], plan)
