"""A worksheet as a whole: table, mass balance, verdicts, partial weighing, output."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.acceptance import Verdict
from gradation.science.errors import Impossible
from gradation.science.worksheet import (
    Evaluation,
    Fraction,
    Worksheet,
    WorksheetFaults,
    as_json,
    evaluate,
    parse_worksheet,
)
from tests.builders import SAND_G, SAND_UM, make_worksheet, worksheet_data

CUMULATIVE_G = np.cumsum(SAND_G)


def evaluated(**changes: Any) -> Evaluation:
    return evaluate(make_worksheet(**changes))


def codes(evaluation: Evaluation) -> list[str]:
    return [each.code for each in evaluation.warnings]


def test_sand_of_500_g() -> None:
    found = evaluated()

    assert [str(row.passing_reported) for row in found.rows] == [
        "98", "90", "70", "46", "24", "10", "4",
    ]  # fmt: skip
    assert found.loss == 0
    assert found.pan_g == 20
    assert found.warnings == ()
    assert found.is_complete


def test_cumulative_entry_gives_the_same() -> None:
    rows = [
        {"aperture_um": size, "mass_g": int(mass)}
        for size, mass in zip(SAND_UM, CUMULATIVE_G, strict=True)
    ]

    found = evaluated(entry="cumulative", fractions=rows)

    assert found.rows == evaluated().rows


def test_order_of_entry_is_irrelevant() -> None:
    rows = worksheet_data()["fractions"]
    shuffled = random.Random(7).sample(rows, len(rows))

    assert as_json(evaluated(fractions=shuffled)) == as_json(evaluated())


def test_increments_of_a_sieve_are_added() -> None:
    rows = worksheet_data()["fractions"]
    rows[3] = {"aperture_um": 600, "increments_g": ["50.0", "70,0"]}

    found = evaluated(fractions=rows, pan_g=None, pan_increments_g=["12", "8"])

    assert as_json(found)["table"] == as_json(evaluated())["table"]


@given(st.lists(st.integers(0, 600), min_size=7, max_size=7))
def test_splitting_a_run_into_increments_changes_nothing(parts: list[int]) -> None:
    whole = evaluate(make_worksheet())
    rows = []
    for each, part in zip(make_worksheet().fractions, parts, strict=True):
        first_g = min(each.mass_g or Decimal(0), Decimal(part) / 10)
        rows.append(Fraction(each.aperture_um, (first_g, (each.mass_g or Decimal(0)) - first_g)))

    found = evaluate(Worksheet(tuple(rows), (Decimal(20),), dry_mass_g=Decimal(500)))

    assert [row.passing_pct for row in found.rows] == [row.passing_pct for row in whole.rows]


def test_dry_mass_from_a_moist_portion() -> None:
    found = evaluated(dry_mass_g=None, moist_mass_g="550", moisture_pct="10")

    assert found.rows == evaluated().rows


@pytest.mark.parametrize(
    ("dry_mass_g", "verdict", "code"),
    [
        ("501.5", Verdict.WITHIN, []),
        ("501.6", Verdict.EXCEEDED, ["loss_exceeded"]),
        ("498.6", Verdict.WITHIN, []),
        ("498.4", Verdict.EXCEEDED, ["gain_exceeded"]),
    ],
)
def test_mass_balance_against_its_tolerance(
    dry_mass_g: str, verdict: Verdict, code: list[str]
) -> None:
    """0.3 % of 501.6 g is 1.505 g; 1.6 g are missing."""
    found = evaluated(dry_mass_g=dry_mass_g, loss_tolerance_pct="0.3")

    assert found.loss_verdict is verdict
    assert codes(found) == code


def test_mass_balance_is_that_after_washing() -> None:
    """520 g before, 501 g after washing, 500 g found: 1 g of 501 g is missing."""
    found = evaluated(dry_mass_g="520", washed_dry_mass_g="501", loss_tolerance_pct="0.1")

    assert found.loss == pytest.approx(1 / 501, rel=1e-12)
    assert "1.0 g are missing" in found.warnings[0].sentence
    assert as_json(found)["wash_loss_g"] == 19


def test_no_tolerance_means_no_verdict() -> None:
    assert evaluated(dry_mass_g="600").loss_verdict is Verdict.NOT_DETERMINABLE


SPLIT = {"below_um": 1180, "passing_g": "350.0", "reduced_g": "175.0"}


def split_rows() -> list[dict[str, Any]]:
    """The same sand, of which only half of what passed 1.18 mm was sieved on."""
    rows = worksheet_data()["fractions"]
    return [*rows[:3], *({**each, "mass_g": str(float(each["mass_g"]) / 2)} for each in rows[3:])]


def test_split_sand_is_the_whole_sand() -> None:
    found = evaluated(fractions=split_rows(), pan_g="10", splits=[SPLIT], loss_tolerance_pct="0.3")

    assert [row.passing_reported for row in found.rows] == [
        row.passing_reported for row in evaluated().rows
    ]
    assert found.rows[3].weighed_g == Decimal("60.0")
    assert found.rows[3].retained_g == 120
    assert found.pan_g == 20
    assert [stage.loss_g for stage in found.stages] == [0, 0]
    assert found.loss_verdict is Verdict.WITHIN


def test_cumulative_masses_start_again_below_a_split() -> None:
    individual = split_rows()
    coarse = np.cumsum([float(each["mass_g"]) for each in individual[:3]])
    fine = np.cumsum([float(each["mass_g"]) for each in individual[3:]])
    rows = [
        {"aperture_um": size, "mass_g": f"{mass:.1f}"}
        for size, mass in zip(SAND_UM, [*coarse, *fine], strict=True)
    ]

    found = evaluated(entry="cumulative", fractions=rows, pan_g="10", splits=[SPLIT])

    assert [row.passing_reported for row in found.rows] == [
        row.passing_reported for row in evaluated().rows
    ]


def test_loss_in_the_reduced_part_is_found_there() -> None:
    """2 g of the 175 g are missing: 1.14 % of the part, though 0.8 % of the whole."""
    found = evaluated(fractions=split_rows(), pan_g="8", splits=[SPLIT], loss_tolerance_pct="1")

    assert codes(found) == ["loss_exceeded"]
    assert "below 1.18 mm" in found.warnings[0].sentence
    assert found.loss == pytest.approx(4 / 500, rel=1e-9)


def test_washed_reduced_part_counts_its_wash_loss_twice_when_halved() -> None:
    split = {**SPLIT, "washed_reduced_g": "172.0"}

    found = evaluated(fractions=split_rows(), pan_g="7", splits=[split], loss_tolerance_pct="0.1")

    assert as_json(found)["wash_loss_g"] == pytest.approx(6, abs=1e-12)
    assert [stage.loss_g for stage in found.stages] == [0, 0]
    assert found.rows[-1].passing_reported == 4


def test_overloaded_sieve_is_named_with_a_remedy() -> None:
    """Below 4.75 mm a 203 mm sieve carries 200 g: 7 kg/m2."""
    rows = worksheet_data()["fractions"]
    rows[3] = {"aperture_um": 600, "mass_g": "220.0"}
    rule = {"rule": "astm_c136", "frame_mm": 203.2}

    found = evaluated(fractions=rows, dry_mass_g="600", overload=rule)
    relieved = [*rows[:3], {"aperture_um": 600, "increments_g": ["110", "110"]}, *rows[4:]]

    assert codes(found) == ["overloaded"]
    assert found.warnings[0].aperture_um == 600
    assert "220.0 g; at most 200 g" in found.warnings[0].sentence
    assert codes(evaluated(fractions=relieved, dry_mass_g="600", overload=rule)) == []


def test_unknown_load_limit_says_so() -> None:
    found = evaluated(overload={"rule": "astm_c136"})

    assert set(codes(found)) == {"overload_not_determinable"}


@pytest.mark.parametrize(
    ("check", "code"),
    [
        ({"table": "astm_c136_fine"}, []),
        ({"table": "astm_c136_coarse"}, ["portion_too_small"]),
        ({"table": "astm_c136_coarse", "size_um": 500000}, ["portion_not_determinable"]),
    ],
)
def test_portion_against_its_table(check: dict[str, Any], code: list[str]) -> None:
    assert codes(evaluated(minimum_portion=check)) == code


def test_portion_whose_size_is_not_known() -> None:
    found = evaluated(
        fractions=[{"aperture_um": 4750, "mass_g": "300"}],
        pan_g="200",
        minimum_portion={"table": "astm_c136_coarse"},
    )

    assert codes(found) == ["portion_not_determinable"]


def test_end_point_names_the_sieve_that_needs_longer() -> None:
    passed = [{"aperture_um": 600, "mass_g": "2.5"}, {"aperture_um": 300, "mass_g": "2.6"}]

    found = evaluated(end_point={"limit_pct": 0.5, "passed": passed})

    assert codes(found) == ["end_point_not_reached"]
    assert found.warnings[0].aperture_um == 300


def test_envelope_with_an_interpolated_line_and_one_moved_by_rounding() -> None:
    found = evaluated(
        dry_mass_g="504",
        envelope=[{"aperture_um": 2000, "min": 80}, {"aperture_um": 75, "max": "5"}],
        compare="unrounded",
        rounding={"passing_decimals": 0},
    )

    assert found.assessment is not None
    assert found.assessment.outcome.value == "conforms"
    assert codes(found) == ["interpolated"]


def test_verdict_moved_by_rounding_is_told() -> None:
    """98 % of 500 g pass 4.75 mm; with 502 g it is 98.008 %: reported 98, at most 98."""
    found = evaluated(dry_mass_g="502", envelope=[{"aperture_um": 4750, "max": 98}])

    assert found.assessment is not None
    assert found.assessment.outcome.value == "conforms"
    assert codes(found) == ["moved_by_rounding"]


def test_paper_that_cannot_show_an_end_says_so() -> None:
    found = evaluated(
        fractions=[{"aperture_um": 400, "mass_g": 0}, {"aperture_um": 200, "mass_g": 250}],
        pan_g="250",
        interpolation="log_probability",
        percentiles=[75],
    )

    assert codes(found) == ["joined_straight"]


def test_characteristic_limit_takes_its_value_by_name() -> None:
    line = {"kind": "characteristic", "characteristic": "trask_sorting", "max": 3}

    found = evaluated(envelope=[line])

    assert found.assessment is not None
    assert found.assessment.lines[0].value == found.value_of("trask_sorting")
    assert found.value_of("no_such_value") is None


def test_descriptions_bring_values_words_and_a_soil_name() -> None:
    """The sand has 94 % between 4.75 mm and 75 µm and 4 % fines: an S soil of the USCS."""
    found = evaluated(open_ends={"pan_lower_um": 20, "top_upper_um": 9500})

    assert found.descriptions["uscs"]["symbol"] in {"SP", "SW"}
    assert found.value_of("uscs_sand") == pytest.approx(94, abs=1e-9)
    assert found.value_of("moment_mean_phi") is not None
    assert found.descriptions["folk_ward_words"]["sorting"] == "poorly sorted"


def test_descriptions_that_need_a_closed_pan_give_the_reason() -> None:
    found = as_json(evaluated(describe=["moments", "mean_sizes"]))

    assert found["characteristics"]["moment_mean_phi"] is None
    assert found["not_determinable"]["sauter_mean_diameter"]


def test_surface_of_a_pan_that_reaches_down_to_nothing_is_not_determinable() -> None:
    found = as_json(
        evaluated(describe=["mean_sizes"], open_ends={"pan_lower_um": 0, "top_upper_um": 9500})
    )

    assert found["characteristics"]["arithmetic_mean_diameter"] > 0
    assert found["characteristics"]["specific_surface"] is None
    assert found["not_determinable"]["specific_surface"]


def test_boulders_alone_are_no_soil() -> None:
    found = evaluated(fractions=[{"aperture_um": 75000, "mass_g": 500}], pan_g=0, describe=["uscs"])

    assert found.descriptions["uscs"]["symbol"] is None
    assert "75 mm" in found.descriptions["uscs"]["needs"][0]


def test_mass_balance_without_a_dry_mass_has_no_verdict() -> None:
    found = evaluated(dry_mass_g=None, basis="sum_of_fractions", loss_tolerance_pct="0.3")

    assert found.loss is None
    assert found.loss_verdict is Verdict.NOT_DETERMINABLE
    assert found.warnings == ()
    assert as_json(found)["stages"][0]["loss_pct"] is None


def test_preview_has_no_word_on_the_portion_before_its_size_is_known() -> None:
    found = evaluate(partial_sheet(3, minimum_portion={"table": "en_933_1"}), partial=True)

    assert [each.code for each in found.warnings] == ["unconfirmed_rule"]


def test_models_are_fitted_when_asked_for() -> None:
    found = evaluated(models=["rrsb"]).models

    assert [each["method"] for each in found] == ["straight_line", "non_linear"]
    assert all(each["r2"] > 0.9 for each in found)


def test_models_of_too_few_points_give_the_reason() -> None:
    found = evaluated(fractions=[{"aperture_um": 75, "mass_g": 480}], models=["rrsb"]).models

    assert all(each["reason"] for each in found)


def partial_sheet(weighed: int, **changes: Any) -> Worksheet:
    data = worksheet_data(pan_g=None, **changes)
    for each in data["fractions"][weighed:]:
        each["mass_g"] = None
    return parse_worksheet(data, partial=True)


@pytest.mark.parametrize("weighed", range(8))
def test_live_preview_shows_what_is_certain_so_far(weighed: int) -> None:
    found = evaluate(partial_sheet(weighed), partial=True)

    whole = evaluated().rows
    assert [row.passing_pct for row in found.rows[:weighed]] == [
        row.passing_pct for row in whole[:weighed]
    ]
    assert all(row.passing_pct is None for row in found.rows[weighed:])
    assert not found.is_complete
    assert found.loss is None
    assert found.characteristics == ()
    assert as_json(found)["loss_pct"] is None


def test_rows_below_a_gap_show_their_mass_but_no_passing() -> None:
    data = worksheet_data(pan_g=None)
    data["fractions"][1]["mass_g"] = None

    found = evaluate(parse_worksheet(data, partial=True), partial=True)

    assert [row.passing_pct is None for row in found.rows] == [False] + [True] * 6
    assert found.rows[2].weighed_g == 100
    assert found.rows[1].weighed_g is None


def test_preview_gives_only_sizes_already_between_rows() -> None:
    """Down to 600 µm: 46 % pass, so D90 and D50 are known and D10 is not."""
    found = evaluate(partial_sheet(4), partial=True)

    assert [each.name for each in found.percentiles] == ["d50", "d90"]


def test_preview_on_the_sum_of_fractions_waits_for_the_pan() -> None:
    found = evaluate(partial_sheet(4, basis="sum_of_fractions"), partial=True)

    assert found.gradation is None
    assert [row.passing_pct for row in found.rows] == [None] * 7
    assert found.percentiles == ()


def test_preview_without_a_dry_mass_or_with_more_than_it() -> None:
    without = evaluate(partial_sheet(4, dry_mass_g=None), partial=True)
    heavy = evaluate(partial_sheet(4, dry_mass_g="100"), partial=True)

    assert without.gradation is None
    assert heavy.rows[3].passing_pct == 0


def test_preview_of_empty_sieves_passes_everything() -> None:
    data = worksheet_data(
        pan_g=None, fractions=[{"aperture_um": 400, "mass_g": "0"}, {"aperture_um": 200}]
    )

    found = evaluate(parse_worksheet(data, partial=True), partial=True)

    assert found.rows[0].passing_pct == 100


def test_preview_above_a_split_not_reached_yet() -> None:
    found = evaluate(partial_sheet(2, splits=[SPLIT]), partial=True)

    assert found.rows[1].passing_pct == pytest.approx(90, abs=1e-12)


def test_a_fully_weighed_preview_equals_the_result() -> None:
    assert as_json(evaluate(make_worksheet(), partial=True)) == as_json(evaluated())


def test_unweighed_fractions_are_refused_in_a_final_evaluation() -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        evaluate(partial_sheet(6))

    paths = [fault.path for fault in refusal.value.faults]
    assert paths == ["$.fractions[6].mass_g", "$.pan_g"]


def test_repeated_aperture_of_a_worksheet_built_elsewhere_is_refused() -> None:
    twice = (Fraction(Decimal(75), (Decimal(1),)), Fraction(Decimal(75), (Decimal(1),)))

    with pytest.raises(WorksheetFaults, match="twice"):
        evaluate(Worksheet(twice, (Decimal(1),), dry_mass_g=Decimal(3)))


def test_worksheet_without_its_dry_mass_is_refused() -> None:
    sheet = Worksheet((Fraction(Decimal(75), (Decimal(1),)),), (Decimal(1),))

    with pytest.raises(Impossible, match="dry mass"):
        evaluate(sheet)


def test_output_is_plain_json_with_every_part() -> None:
    data = as_json(evaluated(envelope=[{"aperture_um": 75, "max": 5}], models=["ggs"]))

    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert {
        "table", "loss_pct", "percentiles", "characteristics", "models", "assessment", "warnings",
    } <= set(data)  # fmt: skip
    first = data["table"][0]
    assert first["passing_reported"] == "98"
    assert isinstance(first["passing_pct"], float)
    assert data["percentiles"]["d50"]["text"] == "672 µm"
    assert data["characteristics"]["fineness_modulus_en"] is None
    assert "4 mm" in data["not_determinable"]["fineness_modulus_en"]
    assert "9.5 mm" in data["notes"]["fineness_modulus"]


def test_limit_on_a_value_that_takes_something_for_granted_is_pointed_out() -> None:
    line = {"kind": "characteristic", "characteristic": "fineness_modulus", "max": "3.1"}

    assert "assumed_value" in codes(evaluated(envelope=[line]))
    assert "assumed_value" not in codes(evaluated())


def test_more_on_the_sieves_than_the_whole_portion_is_pointed_out() -> None:
    """5,000 typed for 500: without a tolerance nothing else would say so."""
    sieve = {"aperture_um": 75, "mass_g": 5000}

    assert codes(evaluated(fractions=[sieve])) == ["more_than_whole"]


def test_fit_that_cannot_be_made_has_the_keys_of_one_that_was() -> None:
    two = [{"aperture_um": 150, "mass_g": 200}, {"aperture_um": 75, "mass_g": 200}]

    short, whole = (
        as_json(evaluated(models=["rrsb"], **more))["models"] for more in ({"fractions": two}, {})
    )

    assert short[0]["reason"]
    assert [list(each) for each in short] == [list(each) for each in whole]


def test_apertures_of_part_micrometres_stay_numbers() -> None:
    found = as_json(evaluated(fractions=[{"aperture_um": "66.5", "mass_g": 480}]))
    assert found["table"][0]["aperture_um"] == 66.5


def test_nothing_of_scipy_is_loaded_for_a_plain_worksheet() -> None:
    """A worker that only previews starts faster and stays smaller."""
    program = (
        "import sys, gradation.science.worksheet as w;"
        "from tests.builders import make_worksheet;"
        "w.evaluate(make_worksheet());"
        "sys.exit(any(name.split('.')[0] == 'scipy' for name in sys.modules))"
    )

    done = subprocess.run([sys.executable, "-c", program], check=False)

    assert done.returncode == 0
