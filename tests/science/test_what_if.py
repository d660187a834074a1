"""Would it still pass: a moved aperture or mass; and the same record under another rounding."""

from decimal import Decimal

import pytest

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.rounding import Rounding, RoundingMode
from gradation.science.rounding_replay import NamedRounding, replay, usual_roundings
from gradation.science.what_if import WhatIf, would_it_pass
from gradation.science.worksheet import WorksheetFaults, parse_worksheet
from gradation.science.worksheet_requests import ApertureError

SHEET = {
    "dry_mass_g": "500.0",
    "pan_g": "50.0",
    "fractions": [
        {"aperture_um": 400, "mass_g": "50.0"},
        {"aperture_um": 200, "mass_g": "200.0"},
        {"aperture_um": 100, "mass_g": "200.0"},
    ],
    "envelope": [{"aperture_um": 200, "min": "48", "max": "60"}],
}


def sheet(**changes):
    return parse_worksheet(SHEET | changes)


def moved(what_if, **changes):
    return would_it_pass(sheet(**changes), what_if)


def test_oversize_aperture_moves_its_own_point_only():
    # By hand, straight on log aperture between (210 µm, 50 %) and (100 µm, 10 %):
    # 10 + 40 ln(200/100)/ln(210/100) = 10 + 40 * 0.693147/0.741937 = 47.370 %.
    found = moved(WhatIf(ApertureError(Decimal(200), Decimal(10))))

    assert found.passing_pct == pytest.approx((90.0, 47.370, 10.0), abs=5e-4)
    assert (found.assessment["outcome"], found.assessment["outcome_if_so"]) == (
        "conforms",
        "does_not_conform",
    )
    assert found.assessment["lines"][0]["reported_if_so"] == "47"
    assert found.sentence


def test_moved_mass_changes_passing_of_its_sieve_and_all_finer_ones():
    # 10 g more on 200 µm of 500 g are 2 %: passing 48 and 8 instead of 50 and 10 %.
    found = moved(WhatIf(mass_of="200", mass_change_g=Decimal(10)))

    assert found.passing_pct == pytest.approx((90.0, 48.0, 8.0), abs=1e-9)
    assert not found.assessment["is_flipped"]
    assert found.assessment["lines"][0]["margin_if_so"] == "0"


def test_mass_and_aperture_move_together():
    # By hand: 48 and 8 % after the mass; 8 + 40 * 0.693147/0.741937 = 45.370 at 200 µm.
    found = moved(WhatIf(ApertureError(Decimal(200), Decimal(10)), "200", Decimal(10)))

    assert found.passing_pct[1] == pytest.approx(45.370, abs=5e-4)


def test_dry_mass_moves_the_whole_curve():
    # 500 g on a dry mass of 510 g: retained 50/510, passing 1 - 50/510 = 90.196 %.
    found = moved(WhatIf(mass_of="dry_mass", mass_change_g=Decimal(10)))

    assert found.passing_pct[0] == pytest.approx(100 * (1 - 50 / 510), abs=1e-9)


@pytest.mark.parametrize(
    ("what_if", "error"),
    [
        (WhatIf(ApertureError(Decimal(300), Decimal(5))), OutOfRange),
        (WhatIf(ApertureError(Decimal(200), Decimal(250))), WorksheetFaults),
        (WhatIf(mass_of="pan", mass_change_g=Decimal(-51)), OutOfRange),
        (WhatIf(mass_of="850", mass_change_g=Decimal(1)), OutOfRange),
        (WhatIf(mass_of="washed_dry_mass", mass_change_g=Decimal(1)), OutOfRange),
    ],
)
def test_what_cannot_be_is_refused(what_if, error):
    with pytest.raises(error):
        moved(what_if)


@pytest.mark.parametrize(
    ("what_if", "asks"),
    [
        (WhatIf(ApertureError(Decimal(200), Decimal(10))), True),
        (WhatIf(mass_of="200", mass_change_g=Decimal(-2)), True),
        (WhatIf(mass_of="200"), False),
        (WhatIf(mass_change_g=Decimal(-2)), False),
        (WhatIf(), False),
    ],
)
def test_a_question_moves_an_aperture_or_a_named_mass(what_if, asks):
    assert what_if.asks_anything is asks


def test_without_an_envelope_the_moved_curve_is_told_and_nothing_judged():
    # By hand: 10 g more in the 200 µm sieve of 500 g are 2 %.
    found = moved(WhatIf(mass_of="200", mass_change_g=Decimal(10)), envelope=None)

    assert found.passing_pct == pytest.approx((90.0, 48.0, 8.0), abs=1e-9)
    assert found.assessment is None


def test_open_run_has_nothing_to_move():
    half_weighed = parse_worksheet(SHEET | {"pan_g": None}, partial=True)

    with pytest.raises(NotDeterminable, match="not weighed to the end yet; nothing can be moved"):
        would_it_pass(half_weighed, WhatIf(mass_of="200", mass_change_g=Decimal(1)))
    with pytest.raises(NotDeterminable, match="not weighed to the end yet; nothing was reported"):
        replay(half_weighed, usual_roundings())


def replayed(mass_g, own, *others):
    record = parse_worksheet(
        {
            "dry_mass_g": "200.0",
            "pan_g": str(200 - mass_g),
            "fractions": [{"aperture_um": 600, "mass_g": str(mass_g)}],
            "envelope": [{"aperture_um": 600, "max": "16"}],
            "rounding": own,
        }
    )
    return replay(record, others)


def test_true_half_goes_to_the_even_or_up_and_may_turn_the_verdict():
    # ASTM E29: 16.5 to even is 16, up it is 17; the limit is 16.
    up = NamedRounding("up", Rounding(0, RoundingMode.HALF_UP))

    found = replayed(Decimal("167.0"), {"passing_decimals": 0, "mode": "half_even"}, up)

    assert [str(cell.reported) for cell in found.rows[0].cells] == ["16", "17"]
    assert [cell.is_other for cell in found.rows[0].cells] == [False, True]
    assert found.flips == (False, True)


def test_more_decimals_are_another_figure_only_when_the_number_differs():
    tenths = NamedRounding("tenths", Rounding(1))

    same = replayed(Decimal("168.0"), {"passing_decimals": 0, "mode": "half_even"}, tenths)
    other = replayed(Decimal("167.4"), {"passing_decimals": 0, "mode": "half_even"}, tenths)

    assert [str(cell.reported) for cell in same.rows[0].cells] == ["16", "16.0"]
    assert not same.rows[0].cells[1].is_other
    assert [str(cell.reported) for cell in other.rows[0].cells] == ["16", "16.3"]
    assert other.rows[0].cells[1].is_other


def test_rule_of_the_record_stands_first_and_not_twice():
    rules = replayed(
        Decimal("167.0"), {"passing_decimals": 0, "mode": "half_even"}, *usual_roundings()
    ).rules

    assert rules[0].name == "as reported"
    assert "whole %, halves to even" not in [rule.name for rule in rules]


def test_nothing_is_rounded_twice():
    # 16.45 % to tenths is 16.4 (half to even) and to the whole 16; rounding 16.5 again would not
    # tell. 83.5499 g of 100 g: passing 16.4501 is 16 whole, though 16.5 in tenths.
    record = parse_worksheet(
        {
            "dry_mass_g": "100.0000",
            "pan_g": "16.4501",
            "fractions": [{"aperture_um": 600, "mass_g": "83.5499"}],
        }
    )

    found = replay(record, usual_roundings())

    by_name = dict(zip((rule.name for rule in found.rules), found.rows[0].cells, strict=True))
    assert str(by_name["0.1 %, halves up"].reported) == "16.5"
    assert str(by_name["whole %, halves up"].reported) == "16"
