"""Rules by name, gross and tare, and the mark 'from memory' in the result."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gradation.science.acceptance import EndPointOf
from gradation.science.acceptance_rules import END_POINT, LOSS, named_limit, named_limits
from gradation.science.computing import compute
from gradation.science.confidence import unconfirmed
from gradation.science.errors import UnknownName
from gradation.science.tables import read_table
from gradation.science.worksheet import WorksheetFaults, parse_worksheet
from tests.builders import worksheet_data


def codes(data: dict[str, Any]) -> list[str]:
    return [each["code"] for each in compute(data)["warnings"]]


def rules(data: dict[str, Any]) -> list[str]:
    return [each["rule"] for each in compute(data)["unconfirmed"]]


def test_loss_rule_from_memory_judges_and_is_marked() -> None:
    # 500 g, 496 g recovered: 0.8 %, inside 1 % (EN 933-1, from memory), beyond 0.3 % (ASTM C136)
    lost = worksheet_data(pan_g="16.0", describe=[])

    by_memory = compute(lost | {"loss_rule": "en_933_1_loss"})
    by_copy = compute(lost | {"loss_rule": "astm_c136_loss"})

    assert by_memory["loss_verdict"] == "within"
    [note] = by_memory["unconfirmed"]
    assert note["standard"].startswith("EN 933-1")
    assert note["sentence"] in [each["sentence"] for each in by_memory["warnings"]]
    assert "own edition" in note["sentence"]
    assert by_copy["loss_verdict"] == "exceeded"
    assert by_copy["unconfirmed"] == []


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"overload": {"rule": "bs_1377_2", "frame_mm": 300}}, "bs_1377_2"),
        ({"minimum_portion": {"table": "astm_d422", "size_um": 4750}}, "astm_d422"),
        ({"end_point": {"rule": "en_933_1_end"}}, "en_933_1_end"),
    ],
)
def test_rule_from_memory_is_named_and_warned_about(changes: dict[str, Any], rule: str) -> None:
    data = worksheet_data(**changes, describe=[])

    assert rules(data) == [rule]
    assert codes(data).count("unconfirmed_rule") == 1


@pytest.mark.parametrize(
    "changes",
    [
        {"overload": {"rule": "astm_c136", "frame_mm": 203.2}},
        {"minimum_portion": {"table": "astm_c136_fine"}},
        {"end_point": {"rule": "astm_c136_end"}},
        {"loss_tolerance_pct": 1},
    ],
)
def test_confirmed_rule_or_own_figure_is_not_questioned(changes: dict[str, Any]) -> None:
    data = worksheet_data(**changes, describe=[])

    assert rules(data) == []
    assert "unconfirmed_rule" not in codes(data)


@pytest.mark.parametrize(
    ("topic", "name", "limit_pct", "of"),
    # ASTM C136/C136M-14 and -19, public excerpts: 0.3 % loss; 0.5 % of the total in a minute.
    [
        (LOSS, "astm_c136_loss", "0.3", EndPointOf.TOTAL),
        (END_POINT, "astm_c136_end", "0.5", EndPointOf.TOTAL),
    ],
)
def test_limit_is_found_by_its_name(topic: str, name: str, limit_pct: str, of: EndPointOf) -> None:
    found = named_limit(topic, name)

    assert (found.limit_pct, found.of) == (Decimal(limit_pct), of)


def test_size_classes_from_memory_are_listed_without_a_warning() -> None:
    data = worksheet_data(describe=["fractions"])

    assert rules(data) == ["EN aggregates"]
    assert "unconfirmed_rule" not in codes(data)


def test_end_point_rule_says_what_its_limit_is_of() -> None:
    # 1.2 g of the 110 g on 300 µm: 1.1 % of the sieve (EN 933-1: 1 %), 0.24 % of the whole
    passed = [{"aperture_um": 300, "mass_g": "1.2"}]

    by_sieve = codes(worksheet_data(end_point={"rule": "en_933_1_end", "passed": passed}))
    by_total = codes(worksheet_data(end_point={"rule": "astm_c136_end", "passed": passed}))

    assert "end_point_not_reached" in by_sieve
    assert "end_point_not_reached" not in by_total


def test_named_limits_are_those_of_the_table() -> None:
    rows = {row["rule"]: row for row in read_table("acceptance_rules")}
    for topic in (LOSS, END_POINT):
        for name, limit in named_limits(topic).items():
            assert str(limit.limit_pct) == rows[name]["value"]
    with pytest.raises(UnknownName, match="astm_c136_loss"):
        named_limit(LOSS, "astm_c136_end")


def test_every_rule_marked_from_memory_is_found_by_its_name() -> None:
    for row in read_table("sample_mass"):
        if row["confidence"] == "from memory":
            assert unconfirmed("sample_mass", [row["table"]])


def test_gross_less_tare_is_the_mass_on_the_sieve() -> None:
    gross = [{"aperture_um": 75, "gross_g": "812,4", "tare_g": "412.4"}]
    weighed = {"fractions": gross, "pan_g": None, "pan_gross_g": "450", "pan_tare_g": "350"}

    table = compute(worksheet_data(**weighed, describe=[]))

    assert table["table"][0]["weighed_g"] == "400.0"
    assert table["table"][0]["passing_pct"] == pytest.approx(20)
    assert table["pan"]["retained_g"] == 100


@pytest.mark.parametrize(
    ("fraction", "path"),
    [
        ({"gross_g": 500}, "tare_g"),
        ({"gross_g": 400, "tare_g": 401}, "gross_g"),
        ({"gross_g": 500, "tare_g": 400, "mass_g": 100}, "gross_g"),
        ({"gross_g": 500, "tare_g": "x"}, "tare_g"),
    ],
)
def test_gross_without_a_sound_tare_is_a_fault(fraction: dict[str, Any], path: str) -> None:
    data = worksheet_data(fractions=[{"aperture_um": 75, **fraction}])

    with pytest.raises(WorksheetFaults) as refusal:
        parse_worksheet(data)

    assert f"$.fractions[0].{path}" in [fault.path for fault in refusal.value.faults]


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"loss_rule": "astm_c136_end"}, "$.loss_rule"),
        ({"loss_rule": 3}, "$.loss_rule"),
        ({"loss_rule": "astm_c136_loss", "loss_tolerance_pct": 1}, "$.loss_tolerance_pct"),
        ({"end_point": {"rule": "en_933_1_end", "limit_pct": 1}}, "$.end_point.limit_pct"),
        ({"end_point": {"rule": "usp_786_end"}}, "$.end_point.rule"),
        ({"end_point": {}}, "$.end_point.limit_pct"),
    ],
)
def test_rule_that_is_unknown_or_double_is_a_fault(changes: dict[str, Any], path: str) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        parse_worksheet(worksheet_data(**changes))

    assert [fault.path for fault in refusal.value.faults] == [path]
