"""How characteristic values are written: their name, their figure, the unit of the trade.

One place for certificate, screen and verdict, so that the same value never reads differently.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _noop

from gradation.language import spoken
from gradation.science.apertures import designation
from gradation.science.rounding import round_reported, round_significant

__all__ = ["INDICES", "Figure", "Index", "is_size", "line_figure", "value_figure", "value_name"]

Comparison = dict[str, Any]

_UM_PER_MM = 1000
#: Digits tried beyond the usual ones until the figure shows on which side of a limit it lies.
_MORE_DIGITS = 4
_D_VALUE = re.compile(r"d\d+")


@dataclass(frozen=True)
class Index:
    """A value that is no D-value: its name on paper, its formula, the decimals it is given with."""

    words: str
    formula: str
    decimals: int = 2


#: In the order in which a certificate prints them.
INDICES: dict[str, Index] = {
    "coefficient_of_uniformity": Index(_noop("Coefficient of uniformity Cu"), "d60/d10"),
    "coefficient_of_curvature": Index(_noop("Coefficient of curvature Cc"), "d30²/(d10·d60)"),
    "fineness_modulus": Index(
        _noop("Fineness modulus"), _noop("ASTM set, sum of cumulative retained / 100")
    ),
    "grain_fineness_number": Index(
        _noop("AFS grain fineness number"),
        _noop("sum(% × factor) / sum(%)"),
        decimals=1,
    ),
    "fineness_modulus_en": Index(
        _noop("Fineness modulus, EN set"),
        _noop("EN set, sum of cumulative retained / 100"),
    ),
    "k_value": Index(
        _noop("Grading coefficient k"),
        _noop("German set, sum of cumulative retained / 100"),
    ),
    "span": Index(_noop("Span"), "(d90 − d10)/d50"),
    "trask_sorting": Index(_noop("Trask sorting coefficient"), "√(d75/d25)"),
    "uniformity_coefficient": Index(_noop("Uniformity coefficient"), "d60/d10"),
    "effective_size": Index(_noop("Effective size"), "d10"),
    "maximum_size": Index(_noop("Maximum size"), _noop("smallest sieve that everything passes")),
    "nominal_maximum_size": Index(
        _noop("Nominal maximum size"),
        _noop("as the method defines it, from the sieves of the nest"),
    ),
    "fines": Index(
        _noop("Fines"),
        _noop("washed out and in the pan, of the dry mass"),
        decimals=1,
    ),
}
_SIEVES = frozenset({"maximum_size", "nominal_maximum_size"})
_SIZES = _SIEVES | {"effective_size"}
_PER_CENT = frozenset({"fines"})


@dataclass(frozen=True)
class Figure:
    """A value as it is written, with the limits it was compared with in the same unit."""

    text: str
    unit: str = ""
    minimum: str = ""
    maximum: str = ""


def is_size(name: str) -> bool:
    """Say whether a characteristic value is a size in µm."""
    return name in _SIZES or _D_VALUE.fullmatch(name) is not None


def value_name(name: str) -> str:
    """Give the name of a characteristic value as sentences use it."""
    if name in INDICES:
        words = gettext(INDICES[name].words)
        keeps_its_capital = words.startswith("AFS") or spoken() == "de"
        return words if keeps_its_capital else words[0].lower() + words[1:]
    return name.replace("_", " ")


def value_figure(name: str, value: float) -> Figure:
    """Write a characteristic value with its usual digits: sizes to three, in µm or mm."""
    return _written(name, value, 0)


def line_figure(line: Comparison) -> Figure:
    """Write the value a limit looked at, with digits enough to show which side it lies on.

    Usually these are the usual digits. 54.04 above a limit of 54 is not written 54.0; a value
    that was rounded to the limit's decimals before it was compared is written so.
    """
    name, value = line["characteristic"], line["value"]
    limits = _limits(line, in_mm=is_size(name) and value is not None and value >= _UM_PER_MM)
    if value is None:
        return Figure("", _unit(name), *limits)
    candidates = (_written(name, value, more) for more in range(_MORE_DIGITS + 1))
    told = next((each for each in candidates if _agrees(each, limits, line["is_inside"])), None)
    if told is None:
        told = _as_compared(name, line["reported"], value_figure(name, value))
    return Figure(told.text, told.unit, *limits)


def _written(name: str, value: float, more: int) -> Figure:
    if name in _SIEVES:
        return Figure(*designation(Decimal(str(value))).rsplit(" ", 1))
    if not is_size(name):
        decimals = (INDICES[name].decimals if name in INDICES else 2) + more
        return Figure(str(round_reported(value, decimals)), _unit(name))
    if value >= _UM_PER_MM:
        return Figure(str(round_significant(value / _UM_PER_MM, 3 + more)), "mm")
    return Figure(str(round_significant(value, 3 + more)), "µm")


def _unit(name: str) -> str:
    if is_size(name):
        return "µm"
    return "%" if name in _PER_CENT else ""


def _limits(line: Comparison, *, in_mm: bool) -> tuple[str, str]:
    low, high = ("" if each is None else _scaled(each, in_mm=in_mm) for each in _ends(line))
    return low, high


def _ends(line: Comparison) -> Iterator[str | None]:
    yield line["min"]
    yield line["max"]


def _scaled(text: str, *, in_mm: bool) -> str:
    return f"{(Decimal(text) / _UM_PER_MM).normalize():f}" if in_mm else text


def _agrees(figure: Figure, limits: tuple[str, str], is_inside: bool | None) -> bool:
    """Say whether a reader who compares the figure with the limits finds the same verdict."""
    low, high = (Decimal(each) if each else None for each in limits)
    found = Decimal(figure.text)
    if is_inside is False:
        return (low is not None and found < low) or (high is not None and found > high)
    return (low is None or found >= low) and (high is None or found <= high)


def _as_compared(name: str, reported: str, usual: Figure) -> Figure:
    return Figure(_scaled(reported, in_mm=is_size(name) and usual.unit == "mm"), usual.unit)
