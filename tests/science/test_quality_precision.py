"""Outlier tests, ISO 5725-2, replicate verdicts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gradation.science.errors import NotDeterminable, OutOfRange, UnknownName
from gradation.science.quality import outliers, precision, replicates
from gradation.science.quality.outliers import End, OutlierVerdict
from gradation.science.quality.reliability import reliability
from gradation.science.tables import read_table

CELLS = ([10.0, 12.0, 11.0], [14.0, 16.0], [13.0, 13.5, 12.5, 13.0])
EQUAL = ([10.0, 12.0, 11.0], [14.0, 16.0, 15.5], [13.0, 13.5, 12.5])

# chem.libretexts.org, Analytic References, Appendix 07 (two-sided 5 % and 1 %)
GRUBBS_TABLE = [
    (3, 1.155, 1.155),
    (4, 1.481, 1.496),
    (5, 1.715, 1.764),
    (6, 1.887, 1.973),
    (8, 2.126, 2.274),
    (9, 2.215, 2.387),
    (10, 2.290, 2.482),
    (12, 2.412, 2.636),
    (14, 2.507, 2.755),
]
# ISO 5725-2:1994, table 4, from memory: p, n, 5 %, 1 %
COCHRAN_TABLE = [(5, 2, 0.841, 0.928), (8, 3, 0.516, 0.615), (10, 2, 0.602, 0.718)]


@pytest.mark.parametrize(("n", "five", "one"), GRUBBS_TABLE)
def test_grubbs_critical_values_are_the_printed_ones(n, five, one):
    # the table truncates one entry (n = 8), so one unit of its last digit
    assert outliers.grubbs_critical(n, 0.05) == pytest.approx(five, abs=1.0e-3)
    assert outliers.grubbs_critical(n, 0.01) == pytest.approx(one, abs=1.0e-3)


@pytest.mark.parametrize("n", [4, 7, 12, 25, 40])
def test_double_grubbs_table_agrees_with_simulation(n):
    rng = np.random.default_rng(5725)
    samples = np.sort(rng.standard_normal((60_000, n)), axis=1)
    ratio = samples[:, :-2].var(axis=1) * (n - 2) / (samples.var(axis=1) * n)

    row = next(r for r in read_table("grubbs_double") if int(r["n"]) == n)

    # by ISO 5725-2 each end takes half of the level
    for level, column in ((0.005, "critical_1_pct"), (0.025, "critical_5_pct")):
        assert float(row[column]) == pytest.approx(np.quantile(ratio, level), abs=0.006)


@pytest.mark.parametrize(("p", "n", "five", "one"), COCHRAN_TABLE)
def test_cochran_critical_values_are_the_printed_ones(p, n, five, one):
    assert outliers.cochran_critical(p, n, 0.05) == pytest.approx(five, abs=6e-4)
    assert outliers.cochran_critical(p, n, 0.01) == pytest.approx(one, abs=6e-4)


def test_cochran_of_two_groups_is_the_f_test():
    # larger of two variances over their sum = F / (1 + F), each variance may be the larger
    F = stats.f.ppf(1 - 0.05 / 2, 4, 4)

    assert outliers.cochran_critical(2, 5, 0.05) == pytest.approx(F / (1 + F), rel=1e-10)


def test_two_outliers_hide_each_other_from_the_single_test():
    values = [10.0, 10.4, 9.8, 10.1, 10.2, 9.9, 14.0, 14.1]

    found = outliers.examine(values)

    assert found[0].verdict is OutlierVerdict.CORRECT
    assert found[1].verdict is OutlierVerdict.OUTLIER
    assert found[1].positions == (6, 7)
    assert "alue 7 (14) and value 8 (14.1) stand apart" in found[1].sentence
    assert found[2].verdict is OutlierVerdict.CORRECT


def test_single_outlier_stops_the_procedure():
    found = outliers.examine([10.0, 10.4, 9.8, 10.1, 10.2, 9.9, 30.0])

    assert [test.verdict for test in found] == [OutlierVerdict.OUTLIER]


def test_straggler_lies_between_the_levels():
    # five values: critical 1.715 at 5 % and 1.764 at 1 %
    values = [0.0, 0.1, -0.1, 0.05, 0.95]
    away = np.array(values) - np.mean(values)
    G = np.max(np.abs(away)) / np.std(values, ddof=1)

    found = outliers.grubbs_single(values)

    assert 1.715 < G < 1.764
    assert found.statistic == pytest.approx(G)
    assert found.verdict is OutlierVerdict.STRAGGLER
    assert "straggler" in found.sentence


def test_one_end_only_looks_there():
    values = [1.0, 10.0, 10.1, 9.9, 10.05]

    assert outliers.grubbs_single(values, End.LARGEST).positions == (2,)
    assert outliers.grubbs_single(values, End.SMALLEST).verdict is OutlierVerdict.OUTLIER


def test_equal_values_show_nothing():
    assert outliers.grubbs_single([5.0] * 4).statistic == 0.0
    assert outliers.grubbs_double([5.0] * 4, End.LARGEST).statistic == 1.0
    assert outliers.cochran([0.0, 0.0], 3).verdict is OutlierVerdict.CORRECT


@given(
    st.lists(st.floats(-100, 100), min_size=3, max_size=20), st.floats(0.1, 50), st.floats(-9, 9)
)
def test_outlier_statistic_does_not_care_for_unit_or_zero(values, scale, shift):
    if np.std(values) < 1e-3:
        return
    one = outliers.grubbs_single(values).statistic

    other = outliers.grubbs_single(np.array(values) * scale + shift).statistic

    assert other == pytest.approx(one, rel=1e-6)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: outliers.grubbs_critical(2, 0.05),
        lambda: outliers.grubbs_critical(5, 0.0),
        lambda: outliers.grubbs_double(list(range(41)), End.LARGEST),
        lambda: outliers.cochran([1.0, -1.0], 3),
        lambda: outliers.cochran_critical(1, 3, 0.05),
    ],
)
def test_outlier_tests_keep_their_range(refused):
    with pytest.raises(OutOfRange):
        refused()


def test_group_of_one_has_no_variance():
    with pytest.raises(NotDeterminable):
        outliers.group_variances((np.array([1.0]),))


def test_repeatability_and_between_agree_with_analysis_of_variance():
    # F of a one-way analysis is s_d^2 / s_r^2; s_r^2 is its mean square within
    F = stats.f_oneway(*CELLS).statistic
    within = sum(np.var(c) * len(c) for c in CELLS) / (9 - 3)
    replicate = (9 - (9 + 4 + 16) / 9) / 2

    found = precision.precision(CELLS)

    assert found.repeatability_sd**2 == pytest.approx(within)
    assert found.between_sd**2 == pytest.approx((F - 1) * within / replicate)
    assert found.reproducibility_sd == pytest.approx(
        np.hypot(found.repeatability_sd, found.between_sd)
    )
    assert found.mean == pytest.approx(np.concatenate(CELLS).mean())
    assert found.repeatability_limit == pytest.approx(2.8 * found.repeatability_sd)


def test_laboratories_closer_than_chance_have_no_variance_between():
    found = precision.precision(([10.0, 14.0], [11.0, 13.0]))

    assert found.between_sd == 0.0
    assert found.reproducibility_sd == found.repeatability_sd


def test_mandel_statistics_by_their_definitions():
    found = precision.consistency(EQUAL)

    means = np.mean(EQUAL, axis=1)
    variances = np.var(EQUAL, axis=1, ddof=1)
    assert found.h == pytest.approx((means - means.mean()) / means.std(ddof=1))
    assert found.k == pytest.approx(np.sqrt(variances / variances.mean()))
    assert found.h.sum() == pytest.approx(0.0, abs=1e-12)
    assert np.sum(found.k**2) == pytest.approx(3.0)


# ASTM E691, critical h at 0.5 %, from memory
@pytest.mark.parametrize(
    ("p", "h"), [(3, 1.15), (4, 1.49), (5, 1.74), (6, 1.92), (7, 2.05), (8, 2.15), (10, 2.29)]
)
def test_mandel_h_indicator_is_the_printed_one(p, h):
    assert precision.mandel_h_critical(p, 0.005) == pytest.approx(h, abs=0.006)


@pytest.mark.parametrize(("p", "n", "level"), [(8, 3, 0.05), (5, 4, 0.01)])
def test_mandel_k_indicator_is_exceeded_as_often_as_it_says(p, n, level):
    rng = np.random.default_rng(691)
    variances = rng.chisquare(n - 1, (200_000, p)) / (n - 1)
    k = np.sqrt(variances[:, 0] / variances.mean(axis=1))

    exceeded = np.mean(k > precision.mandel_k_critical(p, n, level))

    # standard error sqrt(level / 200 000): 0.0005 at 5 %
    assert exceeded == pytest.approx(level, abs=0.0025)


def test_single_results_have_no_k_and_no_cochran():
    found = precision.consistency(([10.0], [11.0], [12.0, 12.5]))

    assert np.isnan(found.k[:2]).all()
    assert found.cochran is None


def test_round_of_single_results_only_has_h_alone():
    # By hand: 10, 11 and 12 have mean 11 and standard deviation 1.
    found = precision.consistency(([10.0], [11.0], [12.0]))

    assert found.h.tolist() == [-1.0, 0.0, 1.0]
    assert np.isnan(found.k).all()
    assert found.cochran is None


def test_reliability_needs_scatter_between_replicates():
    without_scatter = precision.precision(([10.0, 10.0], [11.0, 11.0]))

    with pytest.raises(NotDeterminable, match="Without scatter between replicates"):
        reliability(without_scatter)


def test_scattered_laboratory_is_found():
    cells = ([10.0, 10.1], [10.2, 10.1], [9.9, 10.0], [10.1, 10.2], [8.0, 13.0])

    found = precision.consistency(cells)

    assert found.cochran.verdict is OutlierVerdict.OUTLIER
    assert found.cochran.positions == (4,)
    assert found.k[4] > found.k_critical[1]


@pytest.mark.parametrize(
    "cells",
    [([1.0, 2.0],), ([1.0], [2.0]), ([1.0, 2.0], []), ([1.0, 2.0], [1.0, float("nan")])],
)
def test_precision_needs_replicates_of_two_laboratories(cells):
    with pytest.raises(NotDeterminable):
        precision.precision(cells)


def test_consistency_needs_three_laboratories():
    with pytest.raises(NotDeterminable):
        precision.consistency(EQUAL[:2])


@pytest.mark.parametrize(
    "refused",
    [
        lambda: precision.mandel_h_critical(2, 0.05),
        lambda: precision.mandel_k_critical(8, 1, 0.05),
        lambda: precision.limit_from_deviation(-1.0),
        lambda: precision.sieving_reproducibility_bound(1.2),
    ],
)
def test_precision_keeps_its_range(refused):
    with pytest.raises(OutOfRange):
        refused()


def test_limit_factor_is_that_of_a_difference_of_two():
    # 1.96 sqrt(2) = 2.77, printed 2.8
    assert pytest.approx(1.96 * 2**0.5, abs=0.05) == precision.LIMIT_FACTOR


# ISO 5725-6:1994, table 1 (f(n) for 95 %), from memory
@pytest.mark.parametrize(
    ("n", "f"), [(2, 2.8), (3, 3.3), (4, 3.6), (5, 3.9), (6, 4.0), (7, 4.2), (8, 4.3), (10, 4.5)]
)
def test_critical_range_factor_is_the_printed_one(n, f):
    assert replicates.critical_range_factor(n) == pytest.approx(f, abs=0.051)


def test_replicates_within_their_range_are_repeatable():
    found = replicates.assess_replicates([42.0, 44.0, 43.0], repeatability_sd=0.83)

    assert found.mean == 43.0
    assert found.standard_deviation == 1.0
    assert found.critical_range == pytest.approx(3.3145 * 0.83, abs=1e-3)
    assert found.is_repeatable is True


def test_replicates_beyond_their_range_ask_for_more():
    found = replicates.assess_replicates([42.0, 45.0], repeatability_sd=0.83)

    assert found.is_repeatable is False  # 3.0 over 2.772 x 0.83 = 2.30
    assert "test further portions" in found.sentence


def test_single_and_unknown_repeatability_are_not_judged():
    single = replicates.assess_replicates([42.0], repeatability_sd=0.83)
    unknown = replicates.assess_replicates([42.0, 45.0])

    assert (single.is_repeatable, single.standard_deviation) == (None, None)
    assert unknown.is_repeatable is None


def test_outlier_among_replicates_is_told_and_stays_in_the_mean():
    found = replicates.assess_replicates([42.0, 42.1, 41.9, 42.0, 52.0])

    assert found.outlier_tests[0].verdict is OutlierVerdict.OUTLIER
    assert "Value 5 (52)" in found.sentence
    assert found.mean == pytest.approx(44.0)


def test_replicate_gradations_equal_each_aperture_alone():
    table = np.array([[100.0, 81.0, 42.0], [100.0, 83.0, 43.0], [100.0, 82.0, 47.0]])
    known = np.array([np.nan, 0.55, 0.83])

    found = replicates.assess_replicate_passing(table, known)

    alone = [replicates.assess_replicates(table[:, 0])]
    alone += [replicates.assess_replicates(table[:, j], known[j]) for j in (1, 2)]
    assert list(found) == alone


@pytest.mark.parametrize(
    ("percent", "aggregate", "expected"),
    [(100.0, "coarse", 0.32), (95.0, "coarse", 0.32), (70.0, "coarse", 2.25), (0.0, "fine", 0.14)],
)
def test_published_deviation_of_its_step(percent, aggregate, expected):
    assert float(replicates.published_sd_pct(percent, aggregate)) == expected


def test_published_difference_is_two_root_two_deviations():
    # C136 table 2 prints both; d2s = 2 sqrt(2) x 1s by ASTM C670
    for row in read_table("published_precision"):
        assert 8**0.5 * float(row["sd_1s"]) == pytest.approx(float(row["d2s"]), abs=0.06)


def test_replicate_input_that_cannot_be_is_refused():
    with pytest.raises(NotDeterminable):
        replicates.assess_replicate_passing([[1.0, 2.0], [1.0]])
    with pytest.raises(NotDeterminable):
        replicates.assess_replicate_passing([1.0, 2.0])
    with pytest.raises(OutOfRange):
        replicates.assess_replicates([1.0, 2.0], repeatability_sd=0.0)
    with pytest.raises(OutOfRange):
        replicates.critical_range_factor(1)
    with pytest.raises(OutOfRange):
        replicates.published_sd_pct(101.0, "fine")
    with pytest.raises(UnknownName):
        replicates.published_sd_pct(50.0, "chalk")
