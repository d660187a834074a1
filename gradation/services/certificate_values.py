"""The characteristic values a certificate prints: name, value, unit, formula."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gradation.documents.certificate_content import Characteristic, Verdict
from gradation.models import Result
from gradation.science.rounding import round_reported, round_significant

__all__ = ["characteristic_values", "verdict_of"]

#: Name in the result, name on paper, formula with its source, significant digits or decimals.
_PRINTED: tuple[tuple[str, str, str], ...] = (
    ("coefficient_of_uniformity", "Coefficient of uniformity Cu", "d60/d10"),
    ("coefficient_of_curvature", "Coefficient of curvature Cc", "d30²/(d10·d60)"),
    ("fineness_modulus", "Fineness modulus", "ASTM set, sum of cumulative retained / 100"),
    ("grain_fineness_number", "AFS grain fineness number", "sum(% × factor) / sum(%)"),
)
_NOT_DETERMINED = "n.d."


def characteristic_values(result: Result) -> tuple[Characteristic, ...]:
    """Give the D-values asked for and the indices that could be determined."""
    values = result.values
    limits = _limits(values)
    sizes = [_size(name, found, limits.get(name)) for name, found in values["percentiles"].items()]
    indices = [
        _index(name, words, formula, values["characteristics"][name], limits.get(name))
        for name, words, formula in _PRINTED
        if values["characteristics"].get(name) is not None or name in limits
    ]
    return (*sizes, *indices)


def _limits(values: dict[str, Any]) -> dict[str, dict[str, Any]]:
    lines = (values["assessment"] or {}).get("lines", [])
    return {line["characteristic"]: line for line in lines if line["characteristic"]}


def _size(name: str, found: dict[str, Any], line: dict[str, Any] | None) -> Characteristic:
    text, unit = _millimetres(found["size_um"]) if found["size_um"] else (found["text"], "")
    passing = Decimal(str(found["passing_pct"])).normalize()
    formula = f"aperture at {passing:f} % passing"
    return _with_limits(Characteristic(name, text, unit, formula), line)


def _millimetres(size_um: float) -> tuple[str, str]:
    """Give a size to three figures in the unit the trade would write it in."""
    if size_um >= 1000:
        return f"{round_significant(size_um / 1000)}", "mm"
    return f"{round_significant(size_um)}", "µm"


def _index(
    name: str, words: str, formula: str, value: float | None, line: dict[str, Any] | None
) -> Characteristic:
    decimals = 1 if name == "grain_fineness_number" else 2
    text = _NOT_DETERMINED if value is None else str(round_reported(value, decimals))
    return _with_limits(Characteristic(words, text, "", formula), line)


def _with_limits(drawn: Characteristic, line: dict[str, Any] | None) -> Characteristic:
    if line is None:
        return drawn
    return Characteristic(
        drawn.name,
        drawn.value,
        drawn.unit,
        drawn.formula,
        lower=line["min"] or "",
        upper=line["max"] or "",
        verdict=verdict_of(line),
    )


def verdict_of(line: dict[str, Any]) -> Verdict:
    """Give the verdict of one line of a comparison."""
    if line["is_inside"] is None:
        return Verdict.NOT_TESTED
    return Verdict.WITHIN if line["is_inside"] else Verdict.OUTSIDE
