"""Fraction tables and the Unified Soil Classification; limits as ASTM D2487 states them."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gradation.science.classification import (
    FinesKind,
    Grading,
    Outcome,
    Plasticity,
    SizeBounds,
    SoilShares,
    bounds_of_coefficients,
    classify,
    classify_curve,
    fines_kind,
    fraction_table,
    grading,
    grain_class,
    schemes,
)
from gradation.science.classification.fractions import LimitSource
from gradation.science.classification.group_names import coarse_name
from gradation.science.classification.plasticity import a_line, cautions, is_organic, u_line
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange, UnknownName
from gradation.science.percentiles import Interpolation
from gradation.science.tables import read_table
from tests.science.test_density import curves

WELL, POOR = bounds_of_coefficients(10, 2), bounds_of_coefficients(10, 5)
SILT, CLAY, SILTY_CLAY = Plasticity(40, 8), Plasticity(40, 20), Plasticity(22, 5)
FAT, ELASTIC = Plasticity(70, 45), Plasticity(70, 10)
ORGANIC_SILT = Plasticity(40, 8, oven_dried_liquid_limit_pct=25)


class TestFractions:
    @pytest.mark.parametrize("scheme", schemes())
    def test_classes_join_without_gap_from_top_to_bottom(self, scheme):
        rows = [row for row in read_table("fractions") if row["scheme"] == scheme]

        assert rows[0]["upper_um"] == ""
        assert rows[-1]["lower_um"] == ""
        for coarser, finer in itertools.pairwise(rows):
            assert coarser["lower_um"] == finer["upper_um"]

    def test_wentworth_limits_are_powers_of_two(self):
        # phi scale: each limit is 2^-phi mm with a whole phi
        rows = [row for row in read_table("fractions") if row["scheme"] == "Udden-Wentworth"]
        limits = [float(row["lower_um"]) for row in rows if row["lower_um"]]

        phi = np.log2(1000 / np.array(limits))

        np.testing.assert_allclose(phi, [-8, -6, -5, -4, -3, -2, -1, *range(9)], atol=1e-12)

    def test_every_row_has_a_source_and_says_how_sure_it_is(self):
        for table in ("fractions", "grain_words", "uscs_group_names"):
            assert all(row["source"] and row["confidence"] for row in read_table(table))

    def test_shares_are_read_at_the_sieves(self):
        table = fraction_table(
            [75000, 19000, 4750, 2000, 425, 75], [1, 0.9, 0.6, 0.5, 0.2, 0.05], "USCS"
        )

        shares = [round(row.share, 10) for row in table.rows()]
        assert shares == [0, 0, 0.1, 0.3, 0.1, 0.3, 0.15, 0.05]
        groups = {row.name: round(row.share, 10) for row in table.groups()}
        assert groups == {"coarser than gravel": 0, "gravel": 0.4, "sand": 0.55, "fines": 0.05}

    def test_limit_between_sieves_is_interpolated_as_stated(self):
        nest, passing = [1000.0, 250.0], [1.0, 0.0]  # 500 µm is halfway on log, a third on size

        log, straight = (
            fraction_table(nest, passing, "Udden-Wentworth", rule)
            for rule in (Interpolation.LOG_LINEAR, Interpolation.LINEAR)
        )

        coarse_sand = {row.name: row.share for row in log.rows()}["coarse sand"]
        assert coarse_sand == pytest.approx(0.5, rel=1e-12)
        coarse_sand = {row.name: row.share for row in straight.rows()}["coarse sand"]
        assert coarse_sand == pytest.approx(2 / 3, rel=1e-12)
        assert LimitSource.INTERPOLATED in log.limit_sources

    def test_sieve_within_one_percent_stands_for_a_limit(self):
        table = fraction_table([500, 250, 125, 63], [1, 0.8, 0.4, 0.1], "Udden-Wentworth")

        mud = {row.name: row for row in table.groups()}["mud"]
        assert mud.share == pytest.approx(0.1, rel=1e-12)
        place = [item.name for item in table.classes].index("very fine sand")
        assert table.limit_sources[place] is LimitSource.NEAREST_SIEVE

    def test_class_beyond_the_nest_has_bounds_not_a_value(self):
        table = fraction_table([4750, 150], [1.0, 0.2], "USCS")

        fines = {row.name: row for row in table.groups()}["fines"]
        assert np.isnan(fines.share)
        assert (fines.least, fines.most) == (0.0, 0.2)
        assert table.limit_sources[-1] is LimitSource.BEYOND_NEST

    def test_coarse_end_beyond_the_nest_has_bounds_too(self):
        table = fraction_table([4750, 75], [0.7, 0.0], "USCS")

        gravel = {row.name: row for row in table.groups()}["gravel"]
        assert np.isnan(gravel.share)
        assert gravel.most == pytest.approx(0.3, rel=1e-12)

    def test_empty_ends_of_the_nest_are_certain(self):
        table = fraction_table([4750, 150], [1.0, 0.0], "USCS")

        shares = {row.name: row.share for row in table.groups()}
        assert shares["gravel"] == shares["fines"] == 0

    @given(curves(runs=3), st.sampled_from(schemes()))
    def test_known_shares_and_bounds_hold_the_whole(self, curve, scheme):
        table = fraction_table(*curve, scheme)

        assert np.all(table.least <= table.most + 1e-12)
        assert np.all(table.least.sum(axis=-1) <= 1 + 1e-9)
        assert np.all(table.most.sum(axis=-1) >= 1 - 1e-9)
        is_known = np.isfinite(table.share).all(axis=-1)
        np.testing.assert_allclose(table.share.sum(axis=-1)[is_known], 1, atol=1e-9)

    @given(curves(runs=3))
    def test_batch_equals_run_by_run(self, curve):
        apertures, passing = curve

        together = fraction_table(apertures, passing, "USCS")

        for run, one in enumerate(passing):
            alone = fraction_table(apertures, one, "USCS")
            np.testing.assert_array_equal(together.least[run], alone.least)
            np.testing.assert_array_equal(together.share[run], alone.share)

    def test_missing_weighing_leaves_its_classes_unknown(self):
        table = fraction_table([75000, 4750, 75], [1.0, np.nan, 0.1], "USCS")

        assert np.isnan({row.name: row.share for row in table.groups()}["gravel"])

    def test_rows_of_several_runs_are_refused(self):
        with pytest.raises(OutOfRange):
            fraction_table([4750, 75], [[1, 0.1], [1, 0.2]], "USCS").rows()

    def test_unknown_scheme_is_refused_with_the_known_ones(self):
        with pytest.raises(UnknownName, match="USCS"):
            fraction_table([4750, 75], [1, 0.1], "own scheme")

    def test_size_on_a_limit_belongs_to_the_finer_class(self):
        assert grain_class(2000) == "very coarse sand"
        assert grain_class(2000.1) == "granule (very fine gravel)"
        assert grain_class(2000 * (1 + 1e-15)) == "very coarse sand"
        assert grain_class(float("nan")) == ""
        with pytest.raises(OutOfRange):
            grain_class(0)


class TestPlasticity:
    @pytest.mark.parametrize(
        ("limits", "kind"),
        [
            ((40, 20), FinesKind.CL),
            ((40, 14.6), FinesKind.CL),  # on the A-line: 0.73 x 20
            ((40, 14.5), FinesKind.ML),
            ((49.9, 30), FinesKind.CL),
            ((50, 30), FinesKind.CH),
            ((50, 21.9), FinesKind.CH),  # on the A-line: 0.73 x 30
            ((50, 21.8), FinesKind.MH),
            ((20, 4), FinesKind.CL_ML),
            ((20, 3.9), FinesKind.ML),
            ((25, 7), FinesKind.CL_ML),
            ((25, 7.1), FinesKind.CL),
            ((33, 6), FinesKind.ML),  # within 4 to 7 but below the A-line
        ],
    )
    def test_chart_at_its_lines(self, limits, kind):
        assert fines_kind(Plasticity(*limits)) is kind

    @pytest.mark.parametrize(
        ("limits", "kind"),
        [
            ((40, 20, 29), FinesKind.OL_CLAY),
            ((40, 8, 29), FinesKind.OL_SILT),
            ((70, 45, 50), FinesKind.OH_CLAY),
            ((70, 10, 50), FinesKind.OH_SILT),
            ((40, 20, 30), FinesKind.CL),  # ratio 0.75 is not below 0.75
        ],
    )
    def test_fall_of_the_liquid_limit_tells_organic_fines(self, limits, kind):
        assert fines_kind(Plasticity(*limits)) is kind

    def test_not_plastic_is_silt(self):
        assert fines_kind(Plasticity(is_non_plastic=True)) is FinesKind.ML

    def test_missing_limit_is_asked_for(self):
        with pytest.raises(NotDeterminable, match="425 µm"):
            fines_kind(Plasticity(40, None))

    @pytest.mark.parametrize("limits", [(40, 41), (40, -1), (0, 0), (5000, 10)])
    def test_limits_that_cannot_be_are_refused(self, limits):
        with pytest.raises(Impossible):
            fines_kind(Plasticity(*limits))

    def test_liquid_limit_of_zero_is_refused_for_the_ratio(self):
        with pytest.raises(Impossible):
            is_organic(Plasticity(40, 10, oven_dried_liquid_limit_pct=0))

    def test_a_line_is_level_at_four_up_to_25_5(self):
        # 0.73 (25.5 - 20) = 4.015: the chart rounds the corner to 25.5
        assert a_line(10) == a_line(25) == 4
        assert a_line(25.5) == pytest.approx(4, abs=0.02)

    def test_points_above_the_u_line_and_near_the_lines_are_told(self):
        assert u_line(30) == pytest.approx(0.9 * 22, rel=1e-14)
        assert "U-line" in cautions(Plasticity(30, 25))[0]
        assert "close to 50" in cautions(Plasticity(50.5, 35))[0]
        assert cautions(Plasticity(40, 22)) == ()
        assert cautions(Plasticity(is_non_plastic=True)) == ()


class TestGrading:
    @pytest.mark.parametrize(
        ("first", "cu", "cc", "letter"),
        [
            ("G", 4, 1, "W"),
            ("G", 3.99, 2, "P"),
            ("G", 8, 3, "W"),
            ("G", 8, 3.01, "P"),
            ("G", 8, 0.99, "P"),
            ("S", 6, 2, "W"),
            ("S", 5.99, 2, "P"),
        ],
    )
    def test_limits_of_well_graded(self, first, cu, cc, letter):
        assert grading(bounds_of_coefficients(cu, cc), first).value == letter

    def test_small_uniformity_is_poor_whatever_the_curvature(self):
        assert grading(bounds_of_coefficients(3.8), "S") is Grading.POOR

    def test_large_uniformity_without_curvature_is_undecided(self):
        assert grading(bounds_of_coefficients(12.0), "S") is Grading.UNDECIDED

    def test_d10_below_the_nest_may_still_be_decided(self):
        # Cu >= 6 needs D10 <= 200/6 = 33.3; then Cc >= 150²/(33.3 x 200) = 3.4 > 3
        assert grading(SizeBounds((0, 75), (150, 150), (200, 200)), "S") is Grading.POOR

    def test_d10_below_the_nest_is_else_undecided(self):
        # D10 = 50 gives Cu 20, Cc 1.25 (well); D10 = 5 gives Cc 12.5 (poor)
        assert grading(SizeBounds((0, 75), (250, 250), (1000, 1000)), "S") is Grading.UNDECIDED

    @given(
        st.lists(st.floats(1, 1000), min_size=6, max_size=6),
        st.sampled_from(["G", "S"]),
        st.lists(st.floats(0, 1), min_size=3, max_size=3),
    )
    def test_decision_on_bounds_holds_for_every_size_within(self, ends, first, inside):
        ends = sorted(ends)
        spans = (
            list(itertools.batched(ends, 2))
            if hasattr(itertools, "batched")
            else [tuple(ends[place : place + 2]) for place in (0, 2, 4)]
        )
        sizes = [low + part * (high - low) for (low, high), part in zip(spans, inside, strict=True)]

        decided = grading(SizeBounds(*spans), first)
        exact = grading(SizeBounds(*((size, size) for size in sizes)), first)

        assert exact is not Grading.UNDECIDED
        assert decided in (exact, Grading.UNDECIDED)

    @given(st.lists(st.floats(1, 1000), min_size=3, max_size=3), st.sampled_from(["G", "S"]))
    def test_unknown_d10_is_poor_exactly_when_no_d10_makes_it_well(self, sizes, first):
        d30, d60 = sorted(sizes[:2])
        finest = min(sizes[2], d30)
        # Cu >= least: D10 <= D60 / least; 1 <= Cc <= 3: D30²/(3 D60) <= D10 <= D30²/D60
        lowest = d30**2 / (3 * d60)
        highest = min(finest, d60 / {"G": 4, "S": 6}[first], d30**2 / d60)
        assume(abs(lowest - highest) > 1e-6 * highest)

        decided = grading(SizeBounds((0, finest), (d30, d30), (d60, d60)), first)

        # a D10 near 0 always makes Cc too large, so it is never well for certain
        assert decided is (Grading.UNDECIDED if lowest < highest else Grading.POOR)

    def test_d60_above_the_nest_may_still_be_decided(self):
        # Cu >= 6 needs D60 >= 600; then Cc <= 120²/(100 x 600) = 0.24 < 1
        sizes = SizeBounds((100, 100), (120, 120), (121, float("inf")))

        assert grading(sizes, "S") is Grading.POOR

    @pytest.mark.parametrize("bad", [((5, 4), (6, 6), (7, 7)), ((9, 9), (6, 6), (7, 7))])
    def test_sizes_that_cross_are_refused(self, bad):
        with pytest.raises(Impossible):
            SizeBounds(*bad)

    @pytest.mark.parametrize(("cu", "cc"), [(0.5, 1.0), (5.0, 0.0)])
    def test_coefficients_that_cannot_be_are_refused(self, cu, cc):
        with pytest.raises(Impossible):
            bounds_of_coefficients(cu, cc)

    def test_grading_of_a_fine_soil_is_refused(self):
        with pytest.raises(UnknownName):
            grading(WELL, "M")


class TestSoil:
    @pytest.mark.parametrize(
        ("shares", "plasticity", "sizes", "symbol", "name"),
        [
            ((0.86, 0.10, 0.04), None, WELL, "GW", "Well-graded gravel"),
            ((0.81, 0.15, 0.04), None, WELL, "GW", "Well-graded gravel with sand"),
            ((0.60, 0.36, 0.04), None, POOR, "GP", "Poorly graded gravel with sand"),
            ((0.14, 0.82, 0.04), None, WELL, "SW", "Well-graded sand"),
            ((0.15, 0.81, 0.04), None, POOR, "SP", "Poorly graded sand with gravel"),
            ((0.48, 0.48, 0.04), None, POOR, "SP", "Poorly graded sand with gravel"),
            ((0.85, 0.10, 0.05), SILT, WELL, "GW-GM", "Well-graded gravel with silt"),
            ((0.60, 0.28, 0.12), CLAY, POOR, "GP-GC", "Poorly graded gravel with clay and sand"),
            (
                (0.60, 0.30, 0.10),
                SILTY_CLAY,
                WELL,
                "GW-GC",
                "Well-graded gravel with silty clay and sand",
            ),
            ((0.05, 0.85, 0.10), ELASTIC, WELL, "SW-SM", "Well-graded sand with silt"),
            ((0.20, 0.70, 0.10), FAT, POOR, "SP-SC", "Poorly graded sand with clay and gravel"),
            ((0.60, 0.20, 0.20), SILT, None, "GM", "Silty gravel with sand"),
            ((0.70, 0.10, 0.20), FAT, None, "GC", "Clayey gravel"),
            ((0.60, 0.20, 0.20), SILTY_CLAY, None, "GC-GM", "Silty, clayey gravel with sand"),
            ((0.10, 0.70, 0.20), SILTY_CLAY, None, "SC-SM", "Silty, clayey sand"),
            ((0.10, 0.70, 0.20), ORGANIC_SILT, None, "SM", "Silty sand with organic fines"),
            ((0.00, 0.10, 0.90), CLAY, None, "CL", "Lean clay"),
            ((0.05, 0.10, 0.85), CLAY, None, "CL", "Lean clay with sand"),
            ((0.10, 0.10, 0.80), CLAY, None, "CL", "Lean clay with sand"),
            ((0.20, 0.20, 0.60), CLAY, None, "CL", "Sandy lean clay with gravel"),
            ((0.12, 0.08, 0.80), FAT, None, "CH", "Fat clay with gravel"),
            ((0.14, 0.16, 0.70), SILT, None, "ML", "Sandy silt"),
            ((0.15, 0.25, 0.60), ELASTIC, None, "MH", "Sandy elastic silt with gravel"),
            ((0.25, 0.14, 0.61), SILTY_CLAY, None, "CL-ML", "Gravelly silty clay"),
            ((0.25, 0.15, 0.60), CLAY, None, "CL", "Gravelly lean clay with sand"),
            ((0.00, 0.50, 0.50), ORGANIC_SILT, None, "OL", "Sandy organic silt"),
        ],
    )
    def test_symbol_and_name(self, shares, plasticity, sizes, symbol, name):
        soil = classify(SoilShares(*shares), plasticity, sizes)

        assert (soil.outcome, soil.symbol, soil.name) == (Outcome.CLASSIFIED, symbol, name)
        assert soil.needs == ()
        assert soil.reasons

    def test_clean_soil_needs_no_plasticity(self):
        assert classify(SoilShares(0.0, 0.951, 0.049), None, WELL).outcome is Outcome.CLASSIFIED

    def test_five_percent_fines_ask_for_plasticity(self):
        soil = classify(SoilShares(0.0, 0.95, 0.05), None, WELL)

        assert soil.outcome is Outcome.NEEDS_PLASTICITY
        assert soil.symbol == soil.name == ""
        assert set(soil.possible_symbols) == {"SW-SM", "SW-SC"}
        assert "liquid limit" in soil.needs[0]

    def test_fine_soil_without_limits_lists_all_groups(self):
        soil = classify(SoilShares(0.0, 0.2, 0.8))

        assert soil.outcome is Outcome.NEEDS_PLASTICITY
        assert set(soil.possible_symbols) == {"ML", "CL", "CL-ML", "MH", "CH", "OL", "OH"}

    def test_unknown_grading_of_a_clean_soil_is_undecided(self):
        soil = classify(SoilShares(0.0, 1.0, 0.0))

        assert soil.outcome is Outcome.UNDECIDED
        assert soil.possible_symbols == ("SW", "SP")
        assert "Cu and Cc" in soil.needs[0]

    def test_unknown_grading_does_not_matter_above_twelve_percent_fines(self):
        assert classify(SoilShares(0.0, 0.879, 0.121), CLAY).symbol == "SC"

    def test_fines_told_by_hand_settle_a_coarse_soil_but_not_a_fine_one(self):
        by_hand = Plasticity(seen_by_hand=FinesKind.CLAYEY)

        assert classify(SoilShares(0.0, 0.7, 0.3), by_hand).symbol == "SC"
        fine = classify(SoilShares(0.0, 0.3, 0.7), by_hand)
        assert fine.possible_symbols == ("CL", "CH")
        silty = classify(SoilShares(0, 0.3, 0.7), Plasticity(seen_by_hand=FinesKind.SILTY))
        assert silty.possible_symbols == ("ML", "MH")

    def test_peat_is_named_by_eye(self):
        soil = classify(SoilShares(0.0, 0.2, 0.8), is_peat=True)

        assert (soil.symbol, soil.name) == ("PT", "Peat")

    def test_cobbles_are_taken_out_and_named(self):
        # of the 80 % below 75 mm: gravel 60 %, sand 35 %, fines 5 %
        soil = classify(SoilShares(0.48, 0.28, 0.04, 0.15, 0.05), SILT, POOR)

        assert soil.symbol == "GP-GM"
        assert soil.name == "Poorly graded gravel with silt, sand, cobbles and boulders"

    @pytest.mark.parametrize(
        "shares", [(0.5, 0.5, 0.5), (-0.1, 1.0, 0.1), (0.2, 0.2, 0.2), (0, 0, 0, 1.0)]
    )
    def test_shares_that_make_no_soil_are_refused(self, shares):
        with pytest.raises(Impossible):
            classify(SoilShares(*shares), CLAY)

    def test_curve_gives_the_soil_of_its_own_shares(self):
        soil = classify_curve([75000, 4750, 425, 75], [1.0, 0.84, 0.5, 0.23], Plasticity(33, 6))

        assert (soil.symbol, soil.name) == ("SM", "Silty sand with gravel")

    def test_cobbles_of_a_curve_are_taken_out(self):
        # below 75 mm (0.8): gravel 0.4/0.8 = 50 %, sand 0.1/0.8, fines 0.3/0.8 = 37.5 %
        soil = classify_curve([300000, 75000, 4750, 75], [1.0, 0.8, 0.4, 0.3], CLAY)

        assert soil.name == "Clayey gravel with cobbles"
        assert soil.reasons[0] == "Coarse-grained: 37.5 % passes 75 µm, less than 50 %."

    def test_grading_is_judged_on_what_passes_75_mm(self):
        # of the whole, D60 = 75 mm; of the part below 75 mm the curve is that of `plain`
        nest = [4750, 2000, 425, 150, 75]
        plain = np.array([0.3, 0.2, 0.1, 0.06, 0.04])
        alone = classify_curve([75000, *nest], [1.0, *plain])

        with_cobbles = classify_curve([300000, 75000, *nest], [1.0, 0.5, *(plain / 2)])

        assert with_cobbles.symbol == alone.symbol
        assert with_cobbles.reasons == alone.reasons

    def test_nest_without_the_75_um_sieve_says_what_is_missing(self):
        soil = classify_curve([9500, 4750, 150], [1.0, 0.9, 0.2])

        assert soil.outcome is Outcome.UNDECIDED
        assert {"SM", "SC", "SC-SM", "SP-SM", "SP"} <= set(soil.possible_symbols)
        assert any("add the 4.75 mm and the 75 µm sieve" in need for need in soil.needs)
        assert soil.reasons[0] == "Passing 75 µm lies from 0.0 to 20.0 %."

    def test_nest_without_the_4_75_mm_sieve_tries_sand_and_gravel(self):
        soil = classify_curve([2000, 425, 75], [0.4, 0.2, 0.02])

        assert {symbol[0] for symbol in soil.possible_symbols} == {"G", "S"}
        assert soil.assumptions == (
            "Nothing on the coarsest sieve, 2000 µm, is larger than 75 mm.",
        )

    def test_largest_size_above_75_mm_is_assumed_below_300_mm(self):
        soil = classify_curve([100000, 75000, 4750, 75], [0.9, 0.8, 0.4, 0.3], CLAY)

        assert soil.assumptions == (
            "Nothing on the coarsest sieve, 100000 µm, is larger than 300 mm.",
        )
        assert soil.name.endswith("with cobbles")

    @given(curves(least=4), st.sampled_from([None, SILT, CLAY, SILTY_CLAY, FAT, ELASTIC]))
    def test_possible_soils_always_hold_the_soil_of_a_fuller_nest(self, curve, plasticity):
        apertures, passing = curve
        nest = np.unique(np.concatenate((apertures, [4750.0, 75.0, 10.0, 300000.0])))[::-1]
        full = np.interp(np.log(nest), np.log(apertures[::-1]), passing[::-1], 0.0, 1.0)
        is_kept = nest >= 200

        exact = classify_curve(nest, full, plasticity)
        bounded = classify_curve(nest[is_kept], full[is_kept], plasticity)

        assert set(exact.possible_symbols) <= set(bounded.possible_symbols)

    def test_incomplete_run_and_nothing_below_75_mm_are_refused(self):
        with pytest.raises(NotDeterminable):
            classify_curve([4750, 75], [1.0, np.nan])
        with pytest.raises(NotDeterminable):
            classify_curve([4750, 75], [[1.0, 0.1], [1.0, 0.1]])
        with pytest.raises(NotDeterminable, match="75 mm"):
            classify_curve([300000, 75000, 75], [1.0, 0.0, 0.0])


def test_group_symbol_and_fines_that_do_not_belong_together_have_no_name():
    shares = SoilShares(gravel=0.6, sand=0.32, fines=0.08)

    with pytest.raises(UnknownName, match="no soil group 'GP-GM' with few fines"):
        coarse_name("GP-GM", "", shares)
    with pytest.raises(UnknownName, match="no soil group 'GW' with clay fines"):
        coarse_name("GW", "clay", shares)
