"""Measured apertures against the permitted deviations."""

from __future__ import annotations

import numpy as np
import pytest

from gradation.science.conformity import (
    ApertureSummary,
    Edition,
    Grade,
    Measuring,
    assess_sieve,
    deviation_formulae_um,
    permitted_deviations,
    summarise_apertures,
)
from gradation.science.decisions import DecisionRule, Outcome, Rule
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.tables import read_table

ALLOWED = permitted_deviations(125, Edition.ASTM_E11_17)  # Y 5.8, X 38 um, sd 13.51 um
GOOD = ApertureSummary(count=200, mean_um=126.0, largest_um=150.0, sd_um=8.0)
GUARDED = Measuring(standard_uncertainty_um=1.0, rule=DecisionRule(Rule.GUARD_BAND))


def half_unit(printed: str) -> float:
    """Half a unit of the last place printed: the table gives 0.1, 1 or 10 um."""
    if "." in printed or float(printed) < 10:
        return 0.05
    return 5.0 if printed.endswith("0") else 0.5


def rows_of(edition: str):
    return [row for row in read_table("sieve_tolerances") if row["edition"] == edition]


@pytest.mark.parametrize("row", rows_of("astm_e11_17"), ids=lambda row: row["aperture_um"])
def test_formulae_give_every_printed_value_of_e11_17(row):
    Y, X = deviation_formulae_um(float(row["aperture_um"]))

    for formula, printed in ((Y, row["mean_y_um"]), (X, row["single_x_um"])):
        assert float(formula) == pytest.approx(float(printed), abs=half_unit(printed) + 1e-9)


@pytest.mark.parametrize("row", rows_of("iso_3310_1_2016"), ids=lambda row: row["aperture_um"])
def test_iso_table_is_nine_tenths_of_the_formulae(row):
    # inference from the table, stated in its source column
    Y, X = deviation_formulae_um(float(row["aperture_um"]))

    for formula, printed in ((Y, row["mean_y_um"]), (X, row["single_x_um"])):
        assert 0.9 * float(formula) == pytest.approx(float(printed), abs=half_unit(printed) + 1e-9)


def test_editions_differ_and_the_choice_is_kept():
    astm = permitted_deviations(125, Edition.ASTM_E11_17)
    iso = permitted_deviations(125, Edition.ISO_3310_1_2016)

    assert (astm.mean_y_um, iso.mean_y_um) == (5.8, 5.2)
    assert (astm.edition.words, iso.edition.words) == ("ASTM E11-17", "ISO 3310-1:2016")


def test_size_in_no_table_uses_the_astm_formulae_and_says_so():
    odd = permitted_deviations(130, Edition.ASTM_E11_17)

    found = assess_sieve(GOOD, GOOD, odd)

    # 130^0.98 = 117.94, / 27 + 1.6 = 5.968
    assert odd.mean_y_um == pytest.approx(5.968, abs=5e-4)
    assert any("formulae" in note for note in found.notes)


def test_size_the_iso_table_lacks_is_refused():
    with pytest.raises(NotDeterminable, match="lists no sieve"):
        permitted_deviations(130, Edition.ISO_3310_1_2016)


def test_sieve_within_all_limits_conforms():
    found = assess_sieve(GOOD, GOOD, ALLOWED)

    assert found.outcome is Outcome.CONFORMS
    assert [f.criterion for f in found.findings[:3]] == ["largest", "mean", "standard deviation"]
    assert found.notes == ()


@pytest.mark.parametrize(
    ("cloth", "criterion"),
    [
        (ApertureSummary(200, 131.0, 150.0, 8.0), "mean"),
        (ApertureSummary(200, 119.0, 150.0, 8.0), "mean"),
        (ApertureSummary(200, 126.0, 164.0, 8.0), "largest"),
        (ApertureSummary(200, 126.0, 150.0, 14.0), "standard deviation"),
    ],
)
def test_one_direction_outside_one_limit_fails_the_sieve(cloth, criterion):
    found = assess_sieve(GOOD, cloth, ALLOWED)

    outside = [f for f in found.findings if f.outcome is Outcome.DOES_NOT_CONFORM]
    assert found.outcome is Outcome.DOES_NOT_CONFORM
    assert [(f.criterion, f.direction) for f in outside] == [(criterion, "weft")]
    assert "outside by" in outside[0].sentence


def test_mean_on_the_limit_conforms():
    on_limit = ApertureSummary(200, 130.8, 150.0, 8.0)  # 125 + 5.8

    assert assess_sieve(on_limit, GOOD, ALLOWED).outcome is Outcome.CONFORMS


def test_guard_band_leaves_a_mean_near_its_limit_open():
    # u(mean) = hypot(8 / sqrt(200), 1) = 1.149, U = 2.25; margin 1.0
    near = ApertureSummary(200, 129.8, 150.0, 8.0)

    plain = assess_sieve(near, GOOD, ALLOWED, Measuring(standard_uncertainty_um=1.0))
    guarded = assess_sieve(near, GOOD, ALLOWED, GUARDED)

    assert plain.outcome is Outcome.CONFORMS
    assert guarded.outcome is Outcome.NOT_DECIDABLE
    mean = next(f for f in guarded.findings if f.criterion == "mean")
    assert mean.expanded_uncertainty_um == pytest.approx(1.959964 * np.hypot(8 / 200**0.5, 1))
    assert "nearer to the limit than its uncertainty" in mean.sentence


def test_too_few_apertures_for_the_grade_are_noted():
    calibration = permitted_deviations(125, Edition.ASTM_E11_17, Grade.CALIBRATION)

    found = assess_sieve(ApertureSummary(50, 126.0, 150.0, 8.0), GOOD, calibration)

    assert calibration.apertures_asked == 200
    assert any("Only 50 apertures" in note for note in found.notes)


def test_missing_spread_limit_is_noted_not_judged():
    inspection = permitted_deviations(125, Edition.ISO_3310_1_2016, Grade.INSPECTION)

    found = assess_sieve(GOOD, GOOD, inspection)

    assert {f.criterion for f in found.findings} == {"largest", "mean"}
    assert any("not judged" in note for note in found.notes)


def test_single_reading_has_no_spread():
    single = summarise_apertures([125.0])

    assert single.sd_um is None
    assert assess_sieve(single, GOOD, ALLOWED).outcome is Outcome.CONFORMS


def test_summary_by_hand():
    # 120, 125, 130: mean 125, squares 25 + 0 + 25 over 2 = 25
    assert summarise_apertures([120.0, 125.0, 130.0]) == ApertureSummary(3, 125.0, 130.0, 5.0)


@pytest.mark.parametrize("readings", [[], [125.0, 0.0], [125.0, float("nan")], [[125.0]]])
def test_readings_that_cannot_be_are_refused(readings):
    with pytest.raises(Impossible):
        summarise_apertures(readings)


def test_formulae_keep_their_range():
    with pytest.raises(OutOfRange):
        deviation_formulae_um([125.0, 10.0])
    with pytest.raises(OutOfRange):
        assess_sieve(GOOD, GOOD, ALLOWED, Measuring(standard_uncertainty_um=-1.0))
