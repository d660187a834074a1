"""Figures that can be followed over time: how they are keyed, named and written, in which unit.

A figure is a passing at an aperture (`passing_600`), the loss, or a characteristic value under
the name the calculation gives it (`d50`, `fineness_modulus`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from gradation.models import Result
from gradation.queries.characteristic_figures import INDICES, is_size, value_name
from gradation.science.apertures import designation
from gradation.science.rounding import round_reported, round_significant

__all__ = [
    "CHARACTERISTICS",
    "LOSS",
    "aperture_of",
    "figure_heading",
    "figure_title",
    "figure_unit",
    "figures_of",
    "is_followable",
    "passing_key",
    "unit_suffix",
    "written",
]

LOSS = "loss"
_PASSING = re.compile(r"passing_(\d+(?:\.\d+)?)")
_PER_CENT = frozenset({LOSS, "fines"})
_MORE_SIZES = frozenset(
    {
        "mode",
        "arithmetic_mean_diameter",
        "geometric_mean_diameter",
        "sauter_mean_diameter",
        "volume_mean_diameter",
    }
)
#: Offered by name where a chart is opened; each that a result holds can be followed.
CHARACTERISTICS = (
    LOSS,
    *(f"d{share}" for share in (10, 16, 25, 30, 50, 60, 75, 84, 90)),
    *INDICES,
    "folk_ward_mean_phi",
    "folk_ward_sorting_phi",
    "geometric_mean_diameter",
    "sauter_mean_diameter",
    "specific_surface",
    "mode",
)
_SUFFIXES = {"%": "pct", "µm": "um", "phi": "phi", "m²/cm³": "m2_per_cm3"}


def passing_key(aperture_um: Decimal | float) -> str:
    """Give the key of the passing at an aperture.

    >>> passing_key(Decimal("600.00")), passing_key(37.5)
    ('passing_600', 'passing_37.5')
    """
    return f"passing_{Decimal(str(aperture_um)).normalize():f}"


def aperture_of(key: str) -> Decimal | None:
    """Give the aperture [µm] a key speaks of, or None."""
    found = _PASSING.fullmatch(key)
    return Decimal(found.group(1)) if found else None


def is_followable(key: str) -> bool:
    """Say whether a key names a figure that results can hold."""
    aperture = aperture_of(key)
    return key in CHARACTERISTICS if aperture is None else aperture > 0


def figure_title(key: str) -> str:
    """Name a figure as the trade does."""
    aperture = aperture_of(key)
    if aperture is not None:
        return f"passing {designation(aperture)}"
    return key.replace("_phi", "").replace("_", " ") if key.endswith("_phi") else value_name(key)


def figure_heading(key: str) -> str:
    """Name a figure at the head of a column or an axis; d50 stays d50."""
    title = figure_title(key)
    return title if title[1:2].isdigit() else title[0].upper() + title[1:]


def figure_unit(key: str) -> str:
    """Give the unit of a figure; '' for a pure number."""
    if key in _PER_CENT or aperture_of(key) is not None:
        return "%"
    if is_size(key) or key in _MORE_SIZES:
        return "µm"
    if key.endswith("_phi"):
        return "phi"
    return "m²/cm³" if key == "specific_surface" else ""


def unit_suffix(key: str) -> str:
    """Give the end of a field's name that says the unit: '_pct', '_um', or ''."""
    unit = figure_unit(key)
    return f"_{_SUFFIXES[unit]}" if unit else ""


def written(key: str, value: float) -> str:
    """Write a figure with digits enough to see it move: one more than is usually reported."""
    if figure_unit(key) == "µm":
        return f"{round_significant(value, 4):f}" if value else "0"
    return str(round_reported(value, 2 if figure_unit(key) == "%" else 3))


def figures_of(result: Result) -> Iterator[tuple[str, float]]:
    """Yield every figure of a result that was determinable, under its key."""
    for aperture_um, passing_pct in result.curve:
        if passing_pct is not None:
            yield passing_key(aperture_um), float(passing_pct)
    loss_pct = result.values.get("loss_pct")
    if loss_pct is not None:
        yield LOSS, float(loss_pct)
    for name, value in result.values.get("characteristics", {}).items():
        if value is not None and name in CHARACTERISTICS:
            yield name, float(value)
