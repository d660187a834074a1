"""The door to the calculations: every one is computed, every fault is named, the schema agrees."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.calculations import calculate, calculation_names, is_calculation
from gradation.science.calculations.writing import plain
from gradation.science.computing import compute, schema_text
from gradation.science.worksheet import WorksheetFaults, parse_worksheet
from tests.builders import worksheet_data
from tests.science.calculation_samples import SAMPLES, sample
from tests.science.test_worksheet_parsing import FULL

SCHEMA = json.loads(schema_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
#: what can stand anywhere in a file
ODD: tuple[Any, ...] = (
    True, False, "x", "", [], {}, -1, "-1", 0, "1,5", 2.5, "1.2.3", 1e300, "NaN", [1], [["a"]],
    {"u": 1}, "plain", 10**9,
)  # fmt: skip
EXTRA: dict[str, Any] = {
    "uncertainty": {
        "balance": {
            "readability_g": "0.1", "repeatability_g": 0, "linearity_g": 0,
            "calibration_u_g": "0,05", "scale_u_pct": "0.01",
        },
        "dry_balance": {"readability_g": 1},
        "apertures": [{"aperture_um": 75, "u_um": "1.5"}],
        "repeatability": [{"aperture_um": 75, "sd_pct": "0.5"}],
        "splits": [],
        "coverage_factor": 2,
    },
    "decision": {"rule": "guard_band", "confidence": "0.95", "guard_factor": 1},
    "cross_check": {"seed": 1, "draws": 500},
    "apertures_found": [{"aperture_um": 75, "mean_um": "75,5"}],
    "sensitivity": [{"aperture_um": 75, "error_um": "-1.5"}],
    "plausibility": True,
    "power_lines": [{"exponent": "0.45", "largest_um": 9500}],
    "shaking": {"actual": {"drive": "vertical_throw", "amplitude_pp_mm": 1, "frequency_hz": 50}},
    "loss_rule": "astm_c136_loss",
}  # fmt: skip


def sheet(**changes: Any) -> dict[str, Any]:
    """A worksheet that asks for everything."""
    whole = {name: value for name, value in FULL.items() if name != "loss_tolerance_pct"}
    return worksheet_data(**(whole | EXTRA | changes))


def everything() -> dict[str, dict[str, Any]]:
    return {"worksheet": sheet()} | {name: sample(name) for name in SAMPLES}


def read(data: object) -> None:
    """Read a document; a calculation is carried out too, since only that finds some faults."""
    if is_calculation(data):
        calculate(data)
    else:
        parse_worksheet(data)


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a document."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, each in items:
        yield (*path, key)
        if isinstance(each, dict | list):
            yield from places(each, (*path, key))


def changed(data: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """The document with another value at a place."""
    other = copy.deepcopy(data)
    holder: Any = other
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    return other


@pytest.mark.parametrize("name", SAMPLES)
def test_every_calculation_gives_plain_json(name: str) -> None:
    found = calculate(sample(name))

    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["calculation"] == sample(name)["calculation"]
    assert isinstance(found["unconfirmed"], list)


def test_samples_cover_every_calculation() -> None:
    assert {sample(name)["calculation"] for name in SAMPLES} == set(calculation_names())


@pytest.mark.parametrize("name", ["worksheet", *SAMPLES])
def test_schema_accepts_what_is_computed(name: str) -> None:
    data = everything()[name]

    VALIDATOR.check_schema(SCHEMA)
    VALIDATOR.validate(data)
    compute(data)


def test_schema_describes_every_key() -> None:
    def undescribed(node: Any, path: str) -> Iterator[str]:
        if isinstance(node, list):
            for number, each in enumerate(node):
                yield from undescribed(each, f"{path}[{number}]")
        if not isinstance(node, dict):
            return
        for name, value in node.items():
            if name == "properties" and "description" in node:
                for key, each in value.items():
                    told = {"description", "const", "$ref"} & set(each)
                    if not told:
                        yield f"{path}.{key}"
            yield from undescribed(value, f"{path}.{name}")

    assert list(undescribed(SCHEMA, "$")) == []


def test_worksheet_and_calculation_are_told_apart() -> None:
    assert is_calculation(sample("blend"))
    assert not is_calculation(worksheet_data())
    assert compute(worksheet_data())["table"]


@pytest.mark.parametrize(
    ("data", "path", "says"),
    [
        ({"calculation": "sieving"}, "$.calculation", "must be one of: sieve_conformity"),
        ({"calculation": 3}, "$.calculation", "expected text"),
        ({"calculation": None}, "$.calculation", "is missing"),
        ({"calculation": "blend", "stockpile": []}, "$.stockpile", "Did you mean stockpiles?"),
        ({"calculation": "precision_limits", "sd": "0.1"}, "$.sd", "expected a list"),
        ({"calculation": "precision_limits", "sd": ["0.1", "x"]}, "$.sd[1]", "not a number"),
        ({"calculation": "repeated_observations", "observations": [[1], 2]}, "$.observations[1]",
         "expected a list"),
        ({"calculation": "precision_limits", "sd": []}, "$.sd", "holds no value"),
        (sample("decision") | {"values": [{"value": 5, "u": 0, "lower": 7, "upper": 4}]},
         "$.values[0].lower", "above the upper limit"),
        (sample("replicate_gradations") | {"repeatability_sd_pct": ["0.5", "0.5"]},
         "$.published", "not both"),
        ({"calculation": "replicates", "passing_pct": [[98, 42], [97, 43]],
          "repeatability_sd_pct": ["0.5"]}, "$.repeatability_sd_pct", "for each aperture"),
        (sample("sieve_wear") | {"today": "31.1.2026"}, "$.today", "a day such as 2026-01-31"),
        (sample("sieve_wear") | {"today": "2026-02-30"}, "$.today", "a day such as 2026-01-31"),
        (sample("sieve_conformity") | {"warp": {"count": 0, "mean_um": 126, "largest_um": 150}},
         "$.warp.count", "1 or more"),
        (sample("blend_trial") | {"stockpiles": [], "shares_pct": [100]}, "$", "needs stockpiles"),
        ({"calculation": "precision_limits", "sd": [0] * 10_001}, "$.sd", "at most 10000"),
    ],
)  # fmt: skip
def test_faults_are_named_by_their_path(data: dict[str, Any], path: str, says: str) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute(data)

    assert says in {fault.path: fault.message for fault in refusal.value.faults}[path]


def test_refusal_of_the_calculation_itself_is_one_fault() -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute({"calculation": "repeated_observations", "observations": [[1.0]]})

    [fault] = refusal.value.faults
    assert fault.path == "$"
    assert "two repetitions" in fault.message


ALL_PLACES = [(name, path) for name, data in everything().items() for path in places(data)]


@settings(max_examples=200, deadline=None)
@given(place=st.sampled_from(ALL_PLACES), value=st.sampled_from(ODD))
def test_schema_never_refuses_what_is_read(place: tuple[str, tuple[Any, ...]], value: Any) -> None:
    name, path = place
    data = changed(everything()[name], path, value)

    try:
        read(data)
    except WorksheetFaults:
        return

    VALIDATOR.validate(data)


@pytest.mark.parametrize("name", ["worksheet", *SAMPLES])
def test_what_is_alien_anywhere_is_refused_by_both(name: str) -> None:
    data = everything()[name]
    for path in places(data):
        alien = changed(data, path, {"alien": "3;4"})

        assert not VALIDATOR.is_valid(alien), path
        with pytest.raises(WorksheetFaults):
            read(alien)


@pytest.mark.parametrize("name", ["worksheet", *SAMPLES])
def test_unknown_field_anywhere_is_refused_by_both(name: str) -> None:
    data = everything()[name]
    objects = [(), *(path for path in places(data) if isinstance(_at(data, path), dict))]
    for path in objects:
        odd = changed(data, (*path, "colour"), "red")

        assert not VALIDATOR.is_valid(odd), path
        with pytest.raises(WorksheetFaults, match="colour"):
            read(odd)


def _at(data: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        data = data[step]
    return data


@pytest.mark.parametrize("name", ["worksheet", *SAMPLES])
def test_required_field_is_required_by_both_or_by_neither(name: str) -> None:
    data = everything()[name]
    for path in places(data):
        holder = _at(data, path[:-1])
        if not isinstance(holder, dict):
            continue
        without = copy.deepcopy(data)
        del _at(without, path[:-1])[path[-1]]

        is_computed = True
        try:
            read(without)
        except WorksheetFaults:
            is_computed = False
        assert VALIDATOR.is_valid(without) == is_computed, path


def test_names_that_are_no_text_become_text_in_json() -> None:
    found = plain({75: np.array([0.5, np.nan]), "pan": {"retained": (1, float("inf"))}})

    assert found == {"75": [0.5, None], "pan": {"retained": [1, None]}}
