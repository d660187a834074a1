"""The `compute` command: a result, or every fault and exit code 2."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.core.management import CommandError, call_command

from tests.builders import worksheet_data


def computed(path: Path | str) -> tuple[str, str, int]:
    """Standard output, standard error and exit code."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("compute", str(path), stdout=out, stderr=err)
    except SystemExit as left:
        return out.getvalue(), err.getvalue(), int(left.code or 0)
    return out.getvalue(), err.getvalue(), 0


@pytest.fixture
def worksheet(tmp_path: Path):
    def write(text: Any) -> Path:
        path = tmp_path / "worksheet.json"
        path.write_text(text if isinstance(text, str) else json.dumps(text), encoding="utf-8")
        return path

    return write


def test_a_worksheet_gives_its_result(worksheet) -> None:
    out, err, code = computed(worksheet(worksheet_data()))

    assert code == 0
    assert err == ""
    passing = [row["passing_reported"] for row in json.loads(out)["table"]]
    assert passing == ["98", "90", "70", "46", "24", "10", "4"]


def test_a_worksheet_may_come_from_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(json.dumps(worksheet_data())))

    assert computed("-")[2] == 0


def test_numbers_of_the_file_are_taken_exactly(worksheet) -> None:
    text = json.dumps(worksheet_data()).replace('"500.0"', "500.10000000")

    out, _, _ = computed(worksheet(text))

    assert json.loads(out)["stages"][0]["shaken_g"] == "500.10000000"


def test_a_bad_worksheet_gives_one_line_per_fault_and_no_result(worksheet) -> None:
    out, err, code = computed(worksheet(worksheet_data(dry_mass_g="x", pan_g="-1")))

    assert code == 2
    assert out == ""
    lines = err.splitlines()
    assert [line.split(":")[0] for line in lines] == ["$.pan_g", "$.dry_mass_g"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not JSON"),
        ("", "not JSON"),
        ('{"dry_mass_g": NaN}', "NaN is not a number"),
        ("[" * 100_000, "not JSON"),
        ('{"dry_mass_g": ' + "9" * 5000 + "}", "not JSON"),
        ("[]", "expected an object"),
        (
            '{"pan_g": 1, "fractions": [{"mass_g": 1, "mass_g": 2}]}',
            "$.fractions[0].mass_g: stands",
        ),
        ('{"pan_g":' + "[" * 900 + "]" * 900 + ', "pan_g": 1}', "$.pan_g: stands"),
    ],
)
def test_what_is_no_worksheet_is_refused_in_one_line(worksheet, text: str, says: str) -> None:
    out, err, code = computed(worksheet(text))

    assert code == 2
    assert out == ""
    assert says in err
    assert len(err.splitlines()) == 1


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    out, err, code = computed(tmp_path / "missing.json")

    assert (out, code) == ("", 2)
    assert "cannot be read" in err


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "worksheet.json"
    path.write_bytes(b"\xff\xfe\x00")

    assert "not UTF-8" in computed(path)[1]


def test_a_calculation_gives_its_result(worksheet) -> None:
    asked = {"calculation": "precision_limits", "sd": ["0.05"], "factor": 2}

    out, err, code = computed(worksheet(asked))

    assert (err, code) == ("", 0)
    assert json.loads(out)["limits"] == [0.1]


def test_a_bad_calculation_gives_one_line_per_fault_and_no_result(worksheet) -> None:
    asked = {"calculation": "precision_limits", "sd": ["x", "-1"], "colour": 1}

    out, err, code = computed(worksheet(asked))

    assert (out, code) == ("", 2)
    assert [line.split(":")[0] for line in err.splitlines()] == ["$.colour", "$.sd[0]", "$.sd[1]"]


def test_a_request_that_cannot_be_prints_no_result(worksheet) -> None:
    # 75 µm widened by 80 µm would be coarser than its neighbour, 150 µm
    asked = worksheet_data(sensitivity=[{"aperture_um": 75, "error_um": 80}])

    out, err, code = computed(worksheet(asked))

    assert (out, code) == ("", 2)
    assert err.startswith("$.sensitivity[0].error_um: ")
    assert len(err.splitlines()) == 1


def test_everything_about_one_run_in_one_answer(worksheet) -> None:
    asked = worksheet_data(
        envelope=[{"aperture_um": 300, "max": 26}],
        uncertainty={"balance": {"readability_g": "0.1"}, "repeatability_sd_pct": "0.5"},
        decision={"rule": "guard_band"},
        apertures_found=[{"aperture_um": 300, "mean_um": 303}],
        sensitivity=[{"aperture_um": 300, "error_um": 5}],
        plausibility=True,
        loss_rule="en_933_1_loss",
        power_lines=[{"exponent": "0.45", "largest_um": 9500}],
        shaking={"actual": {"drive": "vertical_throw", "amplitude_pp_mm": 1, "mains_hz": 50}},
        models=["rrsb"],
        cross_check={"seed": 1, "draws": 1000},
    )

    out, err, code = computed(worksheet(asked))

    result = json.loads(out)
    assert (err, code) == ("", 0)
    # 24 % + 1.96 x 0.5 % stays below 26 %
    assert result["assessment"]["outcome"] == "conforms"
    parts = ("uncertainty", "effective", "sensitivity", "plausibility", "power_lines", "shaking")
    assert all(result[part] for part in parts)
    assert "unconfirmed_rule" in [each["code"] for each in result["warnings"]]


def test_the_schema_is_printed_and_describes_itself() -> None:
    out, err = io.StringIO(), io.StringIO()

    call_command("compute", "--schema", stdout=out, stderr=err)

    schema = json.loads(out.getvalue())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(worksheet_data(), schema)
    assert not jsonschema.Draft202012Validator(schema).is_valid({"calculation": "sieving"})


def test_file_or_schema_must_be_asked_for() -> None:
    with pytest.raises(CommandError):
        call_command("compute")


def test_a_mark_of_byte_order_before_the_text_does_not_matter(worksheet) -> None:
    assert computed(worksheet("\ufeff" + json.dumps(worksheet_data())))[2] == 0


def test_binary_noise_of_a_program_is_no_fault(worksheet) -> None:
    out, err, code = computed(worksheet(worksheet_data(dry_mass_g=602.4 - 102.4 + 2e-13)))

    assert (err, code) == ("", 0)
    assert json.loads(out)["stages"][0]["shaken_g"] == "500"
