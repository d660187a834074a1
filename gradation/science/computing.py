"""The one door for plain JSON data: a worksheet or a calculation in, its result out."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from gradation.science.calculations import calculate, is_calculation
from gradation.science.worksheet_evaluation import evaluate
from gradation.science.worksheet_output import as_json
from gradation.science.worksheet_parsing import parse_worksheet

_FOLDER = Path(__file__).parent
_FILES = {"worksheet": "worksheet.schema.json", "calculation": "calculations.schema.json"}


def compute(data: object) -> dict[str, Any]:
    """Give the result of a worksheet, or of a calculation asked for by name.

    Parameters
    ----------
    data : object
        plain JSON data: a worksheet, or `{"calculation": NAME, ...}`

    Returns
    -------
    dict
        the result as plain JSON data

    Raises
    ------
    WorksheetFaults
        with every fault found, each with its JSON path
    GradationError
        when masses or figures cannot be

    Notes
    -----
    Nothing is kept.

    References
    ----------
    `worksheet.schema.json` and `calculations.schema.json`.

    Examples
    --------
    >>> compute({"fractions": [{"aperture_um": 75, "mass_g": 8}], "pan_g": 2,
    ...          "dry_mass_g": 10})["table"][0]["passing_pct"]
    20.0
    """
    if is_calculation(data):
        return calculate(data)
    return as_json(evaluate(parse_worksheet(data)))


@cache
def schema_text() -> str:
    """Give the JSON Schema of everything `compute` takes, as text.

    Parameters
    ----------
    None

    Returns
    -------
    str
        one schema with that of the worksheet and that of the calculations inside it

    Raises
    ------
    OSError
        when the package was installed without its schema files

    Notes
    -----
    Its descriptions are the documentation of every key.

    References
    ----------
    JSON Schema, draft 2020-12, section 9.3 (schemas within schemas).

    Examples
    --------
    >>> sorted(json.loads(schema_text())["$defs"])
    ['calculation', 'worksheet']
    """
    parts = {
        name: json.loads((_FOLDER / file).read_text(encoding="utf-8"))
        for name, file in _FILES.items()
    }
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:gradation:compute",
        "title": "What compute takes: a worksheet, or a calculation by name",
        "if": {"type": "object", "required": ["calculation"]},
        "then": {"$ref": parts["calculation"]["$id"]},
        "else": {"$ref": parts["worksheet"]["$id"]},
        "$defs": parts,
    }
    return json.dumps(whole, indent=2, ensure_ascii=False)
