"""The `compute` command: a result, or every fault and exit code 2."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

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
