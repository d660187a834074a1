"""The verdict in one sentence of the trade's words, from a frozen comparison."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.queries.characteristic_figures import line_figure, value_name
from gradation.science.apertures import designation

__all__ = ["line_name", "verdict_sentence"]

Comparison = dict[str, Any]


def verdict_sentence(assessment: Comparison, specification: str) -> str:
    """Say what a comparison found and which limit is nearest, in one sentence.

    `assessment` is the calculation's own record: outcome and lines.
    """
    return f"{_said(assessment, specification).rstrip('. ')}."


def _said(assessment: Comparison, specification: str) -> str:
    lines = assessment["lines"]
    if assessment["outcome"] == "does_not_conform":
        outside = [line for line in lines if line["is_inside"] is False]
        return f"Outside {specification}: {'; '.join(_outside(line) for line in outside)}"
    if assessment["outcome"] == "not_decidable":
        near = [line for line in lines if line.get("outcome") == "not_decidable"]
        names = ", ".join(line_name(line) for line in near)
        return f"Not decidable at this confidence against {specification}: too near at {names}"
    untested = [line_name(line) for line in lines if line["is_inside"] is None]
    if assessment["outcome"] != "conforms":
        return f"Undecided against {specification}: not tested at {', '.join(untested)}"
    return f"Within {specification}{_nearest(lines)}"


def line_name(line: Comparison) -> str:
    """Name what a line limits, as the trade writes it."""
    if line["characteristic"]:
        return value_name(str(line["characteristic"]))
    name = designation(Decimal(str(line["aperture_um"])))
    if line["kind"] == "between":
        return f"{name} to {designation(Decimal(str(line['finer_um'])))}"
    return f"{name} retained" if line["kind"] == "retained" else name


@dataclass(frozen=True)
class _Shown:
    """A line's figure and limits as they are written, and the unit behind each."""

    text: str
    minimum: str
    maximum: str
    unit: str

    def near(self, end: str) -> str:
        """Give the distance between the figure and a limit, both as written."""
        return f"{abs(Decimal(end) - Decimal(self.text)):f}"


def _shown(line: Comparison) -> _Shown:
    if line["kind"] != "characteristic":
        return _Shown(line["reported"], line["min"] or "", line["max"] or "", " %")
    figure = line_figure(line)
    unit = f" {figure.unit}" if figure.unit else ""
    return _Shown(figure.text, figure.minimum, figure.maximum, unit)


def _outside(line: Comparison) -> str:
    shown = _shown(line)
    is_high = bool(shown.maximum) and (
        not shown.minimum or Decimal(shown.text) >= Decimal(shown.maximum)
    )
    limit, side = (shown.maximum, "above") if is_high else (shown.minimum, "below")
    if Decimal(shown.text) == Decimal(limit):  # a limit that is itself not inside
        side = "not below" if is_high else "not above"
    return f"{line_name(line)} {shown.text}{shown.unit}, {side} the limit {limit}{shown.unit}"


def _nearest(lines: list[Comparison]) -> str:
    # A limit that can only be met exactly (100 to 100 %) is never the interesting one.
    near = [line for line in lines if line["margin"] is not None and line["min"] != line["max"]]
    # Margins in different units cannot be ranked: percentages go before sizes and indices.
    of_one_unit = [line for line in near if line["kind"] != "characteristic"] or near[:1]
    if not of_one_unit:
        return ""
    line = min(of_one_unit, key=lambda one: Decimal(one["margin"]))
    shown = _shown(line)
    limit = shown.maximum if line["nearer_limit"] == "maximum" else shown.minimum
    return (
        f"; nearest limit {line_name(line)} ({shown.text}{shown.unit}, limit {limit}{shown.unit}), "
        f"margin {shown.near(limit)}{shown.unit}"
    )
