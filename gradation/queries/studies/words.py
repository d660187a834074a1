"""What the kinds of study share: short figures, computing with faults beside their field."""

from __future__ import annotations

from typing import Any

from gradation.errors import Fault, Invalid
from gradation.science.computing import compute
from gradation.science.errors import GradationError
from gradation.science.rounding import round_significant
from gradation.science.worksheet import WorksheetFaults

__all__ = ["answered", "brief"]


def brief(value: float, digits: int = 3) -> str:
    """Write a figure of statistics with few digits."""
    return f"{round_significant(value, digits):f}" if value else "0"


def answered(request: dict[str, Any], field: str) -> dict[str, Any]:
    """Compute a request; what the calculation refuses is a fault of `field`."""
    try:
        return compute(request)
    except WorksheetFaults as error:
        raise Invalid(
            Fault(field, each.message, "cannot-compute") for each in error.faults
        ) from error
    except GradationError as error:
        raise Invalid.one(field, str(error), code="cannot-compute") from error
