"""Calculations that are not about one sieving: sieves, charts, comparisons, blends, shaking.

Public: `calculate`, `calculation_names`, `is_calculation`. Each takes plain JSON data of the form
`{"calculation": NAME, ...}`, described in `gradation/science/calculations.schema.json`, and gives
plain JSON data back. One small module a topic: it reads, calls the functions that hold the
formulas, and writes.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from gradation.science.calculations import (
    blending,
    charts,
    decisions,
    laboratories,
    methods,
    shakers,
    sieves,
    statistics,
)
from gradation.science.calculations.reading import Reader
from gradation.science.errors import GradationError
from gradation.science.worksheet_form import Fault, WorksheetFaults
from gradation.science.worksheet_reading import Fields

__all__ = ["CALCULATIONS", "calculate", "calculation_names", "is_calculation"]

CALCULATIONS: Mapping[str, Reader] = MappingProxyType(
    {
        **sieves.CALCULATIONS,
        **charts.CALCULATIONS,
        **laboratories.CALCULATIONS,
        **methods.CALCULATIONS,
        **blending.CALCULATIONS,
        **decisions.CALCULATIONS,
        **statistics.CALCULATIONS,
        **shakers.CALCULATIONS,
    }
)


def calculation_names() -> tuple[str, ...]:
    """Give the names that `calculation` takes.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of str
        in the order of the documentation

    Raises
    ------
    Nothing
        The registry is part of the package.

    Notes
    -----
    Each has its definition in the schema.

    References
    ----------
    `calculations.schema.json`.

    Examples
    --------
    >>> "blend" in calculation_names()
    True
    """
    return tuple(CALCULATIONS)


def is_calculation(data: object) -> bool:
    """Say whether JSON data ask for a calculation, and are no worksheet.

    Parameters
    ----------
    data : object
        what `json.loads` gave

    Returns
    -------
    bool
        whether there is a field `calculation`

    Raises
    ------
    Nothing
        Anything may be asked about.

    Notes
    -----
    A worksheet has no such field.

    References
    ----------
    `calculations.schema.json`.

    Examples
    --------
    >>> is_calculation({"calculation": "blend"}), is_calculation({"fractions": []})
    (True, False)
    """
    return isinstance(data, Mapping) and "calculation" in data


def calculate(data: object) -> dict[str, Any]:
    """Give the result of the calculation that plain JSON data ask for.

    Parameters
    ----------
    data : object
        `{"calculation": NAME, ...}`

    Returns
    -------
    dict
        `calculation`, the figures, and `unconfirmed` (rules used that are kept from memory)

    Raises
    ------
    WorksheetFaults
        with every fault found, each with its JSON path; a refusal of the calculation itself is
        one fault at `$`

    Notes
    -----
    Positions in lists count from 1, as people count. A figure that cannot be determined is null,
    with its reason under `not_determinable` or beside it.

    References
    ----------
    As named by the functions called.

    Examples
    --------
    >>> calculate({"calculation": "precision_limits", "sd": ["0.05"], "factor": 2})["limits"]
    [0.1]
    """
    faults: list[Fault] = []
    fields = Fields(data, "$", faults)
    fields.require("calculation")
    name = fields.one_of("calculation", CALCULATIONS)
    if faults:
        raise WorksheetFaults(faults)
    rest = {key: value for key, value in fields.data.items() if key != "calculation"}
    answer = CALCULATIONS[name](Fields(rest, "$", faults))
    if faults:
        raise WorksheetFaults(faults)
    try:
        found = answer()
    except GradationError as refusal:
        raise WorksheetFaults([Fault("$", str(refusal))]) from refusal
    return {"calculation": name, **found, "unconfirmed": found.get("unconfirmed", [])}
