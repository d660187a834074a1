"""Small valid science dataclasses, every part of them overridable by keyword."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Any

from gradation.science.envelopes import EnvelopeLine
from gradation.science.gradation import Basis, Gradation, gradation
from gradation.science.worksheet import Worksheet, parse_worksheet

SAND_UM = (4750, 2360, 1180, 600, 300, 150, 75)
SAND_G = (10, 40, 100, 120, 110, 70, 30)
"""With 20 g in the pan exactly 500 g: passing 98, 90, 70, 46, 24, 10, 4 %."""


def make_gradation(
    *,
    apertures_um: Sequence[float] = SAND_UM,
    retained_g: Sequence[float] = (*SAND_G, 20),
    dry_mass_g: float | None = 500,
    washed_dry_mass_g: float | None = None,
    basis: Basis = Basis.INITIAL_DRY,
) -> Gradation:
    """A sand of 500 g whose percentages are whole numbers."""
    return gradation(apertures_um, retained_g, dry_mass_g, washed_dry_mass_g, basis)


def from_passing(apertures_um: Sequence[float], passing_pct: Sequence[float]) -> Gradation:
    """A gradation of 100 g with the given percentages passing."""
    steps = [100, *passing_pct, 0]
    retained_g = [coarser - finer for coarser, finer in pairwise(steps)]
    return gradation(apertures_um, retained_g, 100.0)


def worksheet_data(**changes: Any) -> dict[str, Any]:
    """The JSON of the same sand; a change of None takes a field away."""
    data: dict[str, Any] = {
        "dry_mass_g": "500.0",
        "fractions": [
            {"aperture_um": aperture_um, "mass_g": f"{mass_g}.0"}
            for aperture_um, mass_g in zip(SAND_UM, SAND_G, strict=True)
        ],
        "pan_g": "20.0",
        **changes,
    }
    return {name: value for name, value in data.items() if value is not None}


def make_worksheet(**changes: Any) -> Worksheet:
    """The worksheet of the same sand."""
    return parse_worksheet(worksheet_data(**changes))


def make_line(**changes: Any) -> EnvelopeLine:
    """A line of 80 to 95 % passing 2.36 mm; numbers may be given as text."""
    texts: Mapping[str, Any] = {"aperture_um": "2360", "minimum": "80", "maximum": "95", **changes}
    numbers = ("aperture_um", "finer_um", "minimum", "maximum", "target", "tolerance")
    return EnvelopeLine(
        **{
            name: Decimal(value) if name in numbers and value is not None else value
            for name, value in texts.items()
        }
    )
