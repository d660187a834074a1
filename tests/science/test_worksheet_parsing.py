"""What a worksheet may say, and every fault it can have."""

from __future__ import annotations

import json
from contextlib import suppress
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

import gradation.science
from gradation.science.acceptance import overload_rules
from gradation.science.classification import FinesKind
from gradation.science.descriptions import Description
from gradation.science.worksheet import Worksheet, WorksheetFaults, evaluate, parse_worksheet
from gradation.science.worksheet_form import Fault
from gradation.science.worksheet_models import MODEL_CHOICES
from gradation.science.worksheet_parsing import KNOWN
from gradation.science.worksheet_reading import read_decimal
from gradation.science.worksheet_writing import worksheet_json
from tests.builders import SAND_UM, make_worksheet, worksheet_data

SCHEMA = json.loads(
    (Path(gradation.science.__file__).parent / "worksheet.schema.json").read_text("utf-8")
)
FULL: dict[str, Any] = {
    "basis": "sum_of_fractions",
    "washed_dry_mass_g": "490,0",
    "entry": "individual",
    "splits": [{"below_um": 1180, "passing_g": "300", "reduced_g": 150, "washed_reduced_g": 140}],
    "percentiles": [10, "2.5", 100],
    "interpolation": "pchip_log",
    "rounding": {
        "passing_decimals": 1,
        "mode": "half_up",
        "finer": [{"aperture_um": 75, "below_pct": 10, "decimals": 2}],
    },
    "loss_tolerance_pct": "0.3",
    "overload": {"rule": "astm_c136", "frame_mm": 203.2},
    "minimum_portion": {"table": "astm_c136_fine", "size_um": 4750},
    "end_point": {
        "limit_pct": 0.5,
        "of": "sieve",
        "passed": [{"aperture_um": 600, "mass_g": "0.1"}],
    },
    "envelope": [
        {"aperture_um": 4750, "min": 95, "max": 100},
        {"kind": "between", "aperture_um": 1180, "finer_um": 600, "max": 45},
        {"kind": "characteristic", "characteristic": "span", "max": "3.5", "inclusive": False},
        {"aperture_um": 600, "target": 45, "tolerance": 5},
    ],
    "missing_aperture": "not_tested",
    "compare": "unrounded",
    "interpolate_modulus": True,
    "models": ["rrsb", "ggs"],
    "describe": ["folk_ward", "uscs"],
    "open_ends": {"pan_lower_um": 0, "top_upper_um": "9500"},
    "plasticity": {"liquid_limit_pct": 33, "plasticity_index": 6, "seen_by_hand": "silty"},
}


def faults_of(data: object, **options: bool) -> dict[str, str]:
    """Messages by JSON path."""
    with pytest.raises(WorksheetFaults) as refusal:
        parse_worksheet(data, **options)
    return {fault.path: fault.message for fault in refusal.value.faults}


def test_every_field_is_read() -> None:
    sheet = make_worksheet(**FULL)

    assert sheet.washed_dry_mass_g == 490
    assert sheet.splits[0].reduced_g == 150
    assert sheet.percentiles_pct == (10, Decimal("2.5"), 100)
    assert sheet.rounding.finer[0].decimals == 2
    assert sheet.overload is not None
    assert sheet.overload.frame_mm == 203.2
    assert sheet.end_point is not None
    assert sheet.end_point.passed_g == ((600, Decimal("0.1")),)
    assert sheet.envelope[2].is_inclusive is False
    assert sheet.is_modulus_interpolated
    assert sheet.describe == (Description.FOLK_WARD, Description.USCS)
    assert sheet.soil.ends.pan_lower_um == 0
    assert sheet.soil.plasticity is not None
    assert sheet.soil.plasticity.seen_by_hand is FinesKind.SILTY


ASKED: dict[str, Any] = {
    "uncertainty": {
        "balance": {"readability_g": "0.1", "calibration_u_g": "0,05"},
        "dry_mass_u_g": "0.00001",
        "apertures": [{"aperture_um": 75, "u_um": "1.5"}],
        "repeatability": [{"aperture_um": 75, "sd_pct": "0.5"}],
        "coverage_factor": 2,
    },
    "decision": {"rule": "probability", "confidence": "0.9"},
    "cross_check": {"seed": 0, "draws": 500},
    "apertures_found": [{"aperture_um": 75, "mean_um": "75,5"}],
    "sensitivity": [{"aperture_um": 75, "error_um": "-1.5"}],
    "plausibility": True,
    "history": [
        {
            "dry_mass_g": 500,
            "washed_dry_mass_g": "490.5",
            "fractions": [{"aperture_um": size, "mass_g": 50, "tare_g": 400} for size in SAND_UM],
            "pan_g": 100,
            "pan_tare_g": 350,
        }
    ]
    * 8,
    "power_lines": [{"exponent": "0.45"}, {"exponent": 1, "largest_um": 9500}],
    "shaking": {
        "planned": {"drive": "sonic", "duration_s": 60},
        "actual": {"drive": "air_jet", "stroke_to_deck_deg": 45},
        "tolerance_pct": 0,
    },
    "loss_rule": "en_933_1_loss",
    "end_point": {"rule": "en_933_1_end", "passed": [{"aperture_um": 600, "mass_g": "0.1"}]},
    "pan_tare_g": "350.0",
}


@pytest.mark.parametrize("changes", [{}, FULL, ASKED])
def test_a_worksheet_is_written_back_as_it_was_read(changes: dict[str, Any]) -> None:
    sheet = make_worksheet(**changes)

    assert parse_worksheet(json.loads(json.dumps(worksheet_json(sheet)))) == sheet


@pytest.mark.parametrize("changes", [{}, FULL, ASKED])
def test_the_published_schema_accepts_what_is_read(changes: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)

    jsonschema.validate(worksheet_data(**changes), SCHEMA)
    jsonschema.validate(worksheet_json(make_worksheet(**changes)), SCHEMA)


def test_the_published_schema_names_the_same_fields_and_choices() -> None:
    definitions = SCHEMA["$defs"]

    assert set(SCHEMA["properties"]) == set(KNOWN)
    assert set(definitions["overload"]["properties"]["rule"]["enum"]) == set(overload_rules())
    assert tuple(SCHEMA["properties"]["models"]["items"]["enum"]) == MODEL_CHOICES
    assert SCHEMA["properties"]["describe"]["items"]["enum"] == list(Description)


FAULTY: list[tuple[dict[str, Any], str, str]] = [
    ({"dry_mass_g": None}, "$.dry_mass_g", "is missing"),
    ({"dry_mass_g": "x"}, "$.dry_mass_g", "not a number"),
    ({"dry_mass_g": "1.2.3"}, "$.dry_mass_g", "not a number"),
    ({"dry_mass_g": "1e5"}, "$.dry_mass_g", "not a number"),
    ({"dry_mass_g": 0}, "$.dry_mass_g", "above 0"),
    ({"dry_mass_g": -1}, "$.dry_mass_g", "above 0"),
    ({"dry_mass_g": True}, "$.dry_mass_g", "not true or false"),
    ({"dry_mass_g": [1]}, "$.dry_mass_g", "not a list"),
    ({"dry_mass_g": float("nan")}, "$.dry_mass_g", "not a number"),
    ({"dry_mass_g": Decimal("1e999999")}, "$.dry_mass_g", "not a number"),
    ({"washed_dry_mass_g": "500.1"}, "$.washed_dry_mass_g", "larger than dry_mass_g"),
    ({"moist_mass_g": "500"}, "$.dry_mass_g", "not both"),
    ({"dry_mass_g": None, "moist_mass_g": "500"}, "$.moisture_pct", "is missing"),
    ({"pan_g": None}, "$.pan_g", "is missing"),
    ({"pan_g": "-0.1"}, "$.pan_g", "0 or more"),
    ({"pan_increments_g": ["1"]}, "$.pan_increments_g", "not both"),
    ({"basis": "dry"}, "$.basis", "initial_dry, sum_of_fractions"),
    ({"basis": 1}, "$.basis", "must be one of"),
    ({"fractions": []}, "$.fractions", "at least one sieve"),
    ({"fractions": {}}, "$.fractions", "expected a list"),
    ({"fractions": [5]}, "$.fractions[0]", "expected an object, not a number"),
    ({"fractions": [{"mass_g": 5}]}, "$.fractions[0].aperture_um", "is missing"),
    ({"fractions": [{"aperture_um": 75}]}, "$.fractions[0].mass_g", "enter 0"),
    ({"fractions": [{"aperture_um": 0, "mass_g": 5}]}, "$.fractions[0].aperture_um", "above 0"),
    (
        {"fractions": [{"aperture_um": 75, "mass_g": 1}, {"aperture_um": "75.0", "mass_g": 1}]},
        "$.fractions[1].aperture_um",
        "same as fractions[0]",
    ),
    (
        {"fractions": [{"aperture_um": 75, "increments_g": ["1", "a"]}]},
        "$.fractions[0].increments_g[1]",
        "not a number",
    ),
    (
        {"fractions": [{"aperture_um": 75, "mass_g": 0}], "pan_g": 0},
        "$.fractions",
        "all masses are zero",
    ),
    ({"fractions": [{"aperture_um": 75, "mass_g": 1}] * 201}, "$.fractions", "at most 200"),
    ({"splits": [{"below_um": 1180}]}, "$.splits[0].passing_g", "is missing"),
    (
        {"splits": [{"below_um": 1180, "passing_g": 1, "reduced_g": 2}]},
        "$.splits[0].reduced_g",
        "larger than passing_g",
    ),
    (
        {"splits": [{"below_um": 1180, "passing_g": 3, "reduced_g": 2, "washed_reduced_g": 3}]},
        "$.splits[0].washed_reduced_g",
        "larger than reduced_g",
    ),
    (
        {"splits": [{"below_um": 1000, "passing_g": 3, "reduced_g": 2}]},
        "$.splits[0].below_um",
        "is no sieve",
    ),
    (
        {"splits": [{"below_um": 1180, "passing_g": 3, "reduced_g": 2}] * 2},
        "$.splits[1].below_um",
        "twice",
    ),
    ({"percentiles": [0]}, "$.percentiles[0]", "above 0"),
    ({"percentiles": [50, 101]}, "$.percentiles[1]", "at most 100"),
    ({"interpolation": "spline"}, "$.interpolation", "log_linear"),
    ({"rounding": "half_up"}, "$.rounding", "expected an object"),
    ({"rounding": {"passing_decimals": 0.5}}, "$.rounding.passing_decimals", "whole number"),
    ({"rounding": {"passing_decimals": 7}}, "$.rounding.passing_decimals", "0 to 6"),
    ({"rounding": {"finer": [{}]}}, "$.rounding.finer[0].aperture_um", "is missing"),
    ({"overload": {"rule": "x"}}, "$.overload.rule", "astm_c136"),
    ({"overload": {"rule": 5}}, "$.overload.rule", "expected text"),
    ({"minimum_portion": {"table": "x"}}, "$.minimum_portion.table", "en_933_1"),
    ({"end_point": {}}, "$.end_point.limit_pct", "is missing"),
    ({"envelope": [{"aperture_um": 75}]}, "$.envelope[0]", "no limit"),
    ({"envelope": [{"aperture_um": 75, "min": 5, "max": 4}]}, "$.envelope[0]", "larger"),
    ({"envelope": [{"aperture_um": 75, "maximum": 4}]}, "$.envelope[0].maximum", "unknown field"),
    ({"interpolate_modulus": "yes"}, "$.interpolate_modulus", "true or false"),
    ({"models": ["weibull"]}, "$.models[0]", "rrsb"),
    ({"describe": ["sorting"]}, "$.describe[0]", "folk_ward"),
    ({"plasticity": {"seen_by_hand": "OL"}}, "$.plasticity.seen_by_hand", "silty, clayey"),
    ({"confirmed_rules": ["en_933_1_loss", ""]}, "$.confirmed_rules[1]", "name of a rule"),
    ({"confirmed_rules": [5]}, "$.confirmed_rules[0]", "name of a rule"),
    ({"dry_mas_g": 5}, "$.dry_mas_g", "Did you mean dry_mass_g?"),
]


@pytest.mark.parametrize(("changes", "path", "says"), FAULTY)
def test_each_fault_is_named_with_its_path(changes: dict, path: str, says: str) -> None:
    parse_worksheet(worksheet_data())

    assert says in faults_of(worksheet_data(**changes))[path]


def test_all_faults_are_named_at_once() -> None:
    found = faults_of(worksheet_data(dry_mass_g="x", pan_g="y", basis="z"))

    assert set(found) == {"$.dry_mass_g", "$.pan_g", "$.basis"}


@pytest.mark.parametrize("data", [None, [], "text", 5, True])
def test_what_is_no_object_is_refused(data: object) -> None:
    assert "expected an object" in faults_of(data)["$"]


def test_cumulative_masses_that_fall_are_refused_with_their_path() -> None:
    sheet = make_worksheet(
        entry="cumulative",
        fractions=[
            {"aperture_um": 75, "mass_g": "40"},
            {"aperture_um": 600, "mass_g": "50"},
        ],
    )

    with pytest.raises(WorksheetFaults, match=r"\$\.fractions\[0\]\.mass_g.*smaller than 50 g"):
        evaluate(sheet)


def test_missing_masses_are_allowed_while_weighing() -> None:
    data = worksheet_data(pan_g=None, dry_mass_g=None)
    data["fractions"][3] = {"aperture_um": 600, "mass_g": None}

    sheet = parse_worksheet(data, partial=True)

    assert sheet.pan_g is None
    assert not sheet.is_fully_weighed
    assert set(faults_of(data)) == {"$.pan_g", "$.dry_mass_g", "$.fractions[3].mass_g"}


def test_dry_mass_follows_from_moist_mass_and_moisture() -> None:
    sheet = make_worksheet(dry_mass_g=None, moist_mass_g="550", moisture_pct="10")

    assert sheet.base_dry_mass_g == 500


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


@given(st.dictionaries(st.sampled_from([*KNOWN, "other"]), JSON, max_size=8))
def test_any_data_is_read_or_refused_never_broken(changes: dict[str, Any]) -> None:
    with suppress(WorksheetFaults):
        assert isinstance(parse_worksheet({**worksheet_data(), **changes}), Worksheet)


def test_builders_and_schema_agree_on_the_sand() -> None:
    assert [each.aperture_um for each in make_worksheet().fractions] == list(SAND_UM)


@pytest.mark.parametrize(
    ("number", "read"),
    [
        # 0.1 + 0.2 in binary is 0.30000000000000004; to twelve digits it is 0.3.
        (0.1 + 0.2, "0.3"),
        (1234.5678901234567, "1234.56789012"),
        (-2 / 3, "-0.66666666667"),
    ],
)
def test_number_of_a_file_loses_its_binary_noise_and_nothing_else(number: float, read: str) -> None:
    faults: list[Fault] = []

    assert read_decimal(number, "$.pan_g", faults) == Decimal(read)
    assert faults == []
