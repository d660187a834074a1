"""The verdict in one sentence of the trade's words, from a frozen comparison."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gradation.science.apertures import designation

__all__ = ["line_name", "verdict_sentence"]

Comparison = dict[str, Any]


def verdict_sentence(assessment: Comparison, specification: str) -> str:
    """Say what a comparison found and which limit is nearest.

    `assessment` is the calculation's own record: outcome and lines.
    """
    lines = assessment["lines"]
    if assessment["outcome"] == "does_not_conform":
        outside = [line for line in lines if line["is_inside"] is False]
        return f"Outside {specification}: {'; '.join(_outside(line) for line in outside)}."
    untested = [line_name(line) for line in lines if line["is_inside"] is None]
    if assessment["outcome"] != "conforms":
        return f"Undecided against {specification}: not tested at {', '.join(untested)}."
    return f"Within {specification}{_nearest(lines)}."


def line_name(line: Comparison) -> str:
    """Name what a line limits, as the trade writes it."""
    if line["characteristic"]:
        return str(line["characteristic"]).replace("_", " ")
    name = designation(Decimal(str(line["aperture_um"])))
    if line["kind"] == "between":
        return f"{name} to {designation(Decimal(str(line['finer_um'])))}"
    return f"{name} retained" if line["kind"] == "retained" else name


def _outside(line: Comparison) -> str:
    high = line["max"] is not None and Decimal(line["reported"]) > Decimal(line["max"])
    limit, side = (line["max"], "above") if high else (line["min"], "below")
    return (
        f"{line_name(line)} {line['reported']}{_unit(line)}, {side} the limit {limit}{_unit(line)}"
    )


def _nearest(lines: list[Comparison]) -> str:
    # A limit that can only be met exactly (100 to 100 %) is never the interesting one.
    near = [line for line in lines if line["margin"] is not None and line["min"] != line["max"]]
    if not near:
        return ""
    line = min(near, key=lambda one: Decimal(one["margin"]))
    limit = line["max"] if line["nearer_limit"] == "maximum" else line["min"]
    unit = _unit(line)
    return (
        f"; nearest limit {line_name(line)} ({line['reported']}{unit}, limit {limit}{unit}), "
        f"margin {line['margin']}{unit}"
    )


def _unit(line: Comparison) -> str:
    return "" if line["kind"] == "characteristic" else " %"
