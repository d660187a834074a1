"""Verdicts on how a sieving was done."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from gradation.science.acceptance import (
    EndPoint,
    EndPointOf,
    OverloadRule,
    Verdict,
    against_limit,
    end_point_verdict,
    minimum_portion_g,
    overload_limit_g,
    overload_rules,
    portion_tables,
)
from gradation.science.errors import NotDeterminable, OutOfRange, UnknownName
from gradation.science.tables import read_table


@pytest.mark.parametrize(
    ("lost_g", "verdict"), [(1.5, "within"), (-1.5, "within"), (1.6, "exceeded")]
)
def test_loss_on_the_limit_is_within_it(lost_g: float, verdict: str) -> None:
    """0.3 % of 500 g is 1.5 g, whether lost or gained."""
    assert against_limit(100 * ((500 - (500 - lost_g)) / 500), 0.3).value == verdict


def test_unknown_loss_has_no_verdict_and_a_limit_must_be_one() -> None:
    assert against_limit(math.nan, 0.3) is Verdict.NOT_DETERMINABLE
    for limit in (-0.1, math.nan, math.inf):
        with pytest.raises(OutOfRange):
            against_limit(0.0, limit)


def test_en_load_limit_by_hand() -> None:
    """EN 933-1: A sqrt(d) / 200, A of a 200 mm sieve = 31 416 mm2, d = 4 mm: 314 g."""
    limit_g = overload_limit_g(OverloadRule("en_933_1", frame_mm=200), 4000.0)

    assert limit_g == pytest.approx(math.pi * 100**2 * 2 / 200, rel=1e-12)


def test_c136_limit_steps_at_4_75_mm() -> None:
    rule = OverloadRule("astm_c136", area_m2=0.1)

    assert overload_limit_g(rule, 4749.0) == pytest.approx(700, rel=1e-12)
    assert overload_limit_g(rule, 4750.0) == pytest.approx(2.5 * 4.75 * 0.1 * 1000, rel=1e-12)


def test_tabulated_limit_takes_the_next_finer_row() -> None:
    at_300 = overload_limit_g(OverloadRule("bs_1377_2", frame_mm=200), 300.0)

    assert at_300 == 50
    assert overload_limit_g(OverloadRule("bs_1377_2", frame_mm=200), 355.0) == 50


def test_limits_that_cannot_be_told() -> None:
    with pytest.raises(UnknownName, match="astm_c136"):
        overload_limit_g(OverloadRule("house_rule"), 75.0)
    with pytest.raises(UnknownName):
        overload_limit_g(OverloadRule("astm_c136_table_1", frame_mm=203.2), 9500.0)
    with pytest.raises(NotDeterminable, match="frame"):
        overload_limit_g(OverloadRule("astm_c136"), 75.0)
    with pytest.raises(NotDeterminable):
        overload_limit_g(OverloadRule("bs_1377_2", frame_mm=123), 300.0)
    with pytest.raises(NotDeterminable, match="bulk density"):
        overload_limit_g(OverloadRule("iso_2591_1_residue", frame_mm=200), 1000.0)


def test_volume_limit_is_multiplied_by_the_bulk_density() -> None:
    """ISO 2591-1 (from memory): 500 cm3 of residue at 16 mm; at 1.6 g/cm3 800 g."""
    rule = OverloadRule("iso_2591_1_residue", frame_mm=200, bulk_density_g_cm3=1.6)

    assert overload_limit_g(rule, 16000.0) == pytest.approx(800, rel=1e-12)


def test_every_rule_gives_a_limit_somewhere() -> None:
    for name in overload_rules():
        rule = OverloadRule(name, frame_mm=200, bulk_density_g_cm3=1.5)
        assert overload_limit_g(rule, 4000.0) > 0


@pytest.mark.parametrize(
    ("size_um", "least_g"),
    [(9500, 1000), (12500, 2000), (19000, 5000), (25000, 10000), (16000, 5000), (4750, 1000)],
)
def test_smallest_portion_of_coarse_aggregate(size_um: int, least_g: int) -> None:
    """ASTM C136 table (two public copies); between two rows the larger size counts."""
    assert minimum_portion_g("astm_c136_coarse", size_um) == least_g


def test_portion_without_a_row() -> None:
    with pytest.raises(NotDeterminable):
        minimum_portion_g("astm_c136_coarse", 500_000)
    with pytest.raises(UnknownName):
        minimum_portion_g("house_table", 75)
    assert minimum_portion_g("astm_c136_fine", 4750) == Decimal(300)


def test_every_portion_table_grows_with_the_size() -> None:
    for name in portion_tables():
        rows = [row for row in read_table("sample_mass") if row["table"] == name]
        sized = sorted((float(row["size_um"] or 0), float(row["min_mass_g"])) for row in rows)
        grown = [mass_g for _, mass_g in sized]
        assert grown == sorted(grown), name


@pytest.mark.parametrize(
    ("of", "passed_g", "verdict"),
    [
        (EndPointOf.TOTAL, 2.5, Verdict.WITHIN),
        (EndPointOf.TOTAL, 2.6, Verdict.EXCEEDED),
        (EndPointOf.SIEVE, 0.4, Verdict.WITHIN),
        (EndPointOf.SIEVE, 0.5, Verdict.EXCEEDED),
    ],
)
def test_end_point_of_the_total_and_of_the_sieve(
    of: EndPointOf, passed_g: float, verdict: Verdict
) -> None:
    """0.5 % of 500 g is 2.5 g; 0.5 % of the 80 g on the sieve is 0.4 g."""
    assert end_point_verdict(EndPoint(0.5, of), passed_g, 80.0, 500.0) is verdict


def test_end_point_on_an_empty_sieve() -> None:
    rule = EndPoint(1.0, EndPointOf.SIEVE)

    assert end_point_verdict(rule, 0.0, 0.0, 500.0) is Verdict.WITHIN
    assert end_point_verdict(rule, 0.1, 0.0, 500.0) is Verdict.EXCEEDED
