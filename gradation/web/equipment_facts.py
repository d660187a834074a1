"""What an item's card says in words: figures with their units, readings of a check."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from gradation.models import Check, Equipment, Instrument
from gradation.web.forms.instruments import FIGURES, InstrumentFigures
from gradation.web.templatetags.notebook import NOTHING, figure, plain

_MINUTES_IN_HOUR = 60
_UNITS = {
    "_um": "µm",
    "_mm": "mm",
    "_pct": "%",
    "_g": "g",
    "_s": "s",
    "_c": "°C",
    "_hz": "Hz",
}


def hours_of(item: Equipment) -> str:
    """Give the hours an item was in use, to a tenth."""
    return figure(f"{item.minutes_used / _MINUTES_IN_HOUR:.1f}")


def facts_of(item: Instrument) -> Iterator[tuple[str, str]]:
    """Give what the card of an instrument says, by its kind."""
    for name in ("model", "firmware", *FIGURES[item.kind], "limits_source"):
        field: Any = InstrumentFigures.base_fields[name]
        value = getattr(item, name)
        unit = getattr(field, "unit", "")
        shown = value if isinstance(value, str) else plain(value)
        known = value not in (None, "")
        if known or name in FIGURES[item.kind]:
            yield str(field.label), f"{shown} {unit}".strip() if known else NOTHING


def readings_of(check: Check) -> Iterator[tuple[str, str]]:
    """Give the figures of a check under their names, units in brackets."""
    for name, value in check.readings.items():
        if value in (None, "", []):
            continue
        if name == "items":
            yield from ((point, "yes" if seen else "no") for point, seen in value.items())
        elif name == "rows":
            rows = (f"{nominal} → {reading} ± {limit} g" for nominal, reading, limit in value)
            yield "nominal → reading ± limit", "; ".join(rows)
        else:
            shown = "  ".join(str(it) for it in value) if isinstance(value, list) else str(value)
            yield _named(name), shown


def _named(name: str) -> str:
    for ending, unit in _UNITS.items():
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return name.replace("_", " ")
