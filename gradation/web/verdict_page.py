"""The verdict of a run laid out for its page: lines with margins, chart with bars, replay."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.charts.figure import (
    Curve,
    CurvePoint,
    FailingPoint,
    GradationFigure,
    Side,
)
from gradation.queries.characteristic_figures import line_figure, value_figure
from gradation.queries.verdicts import line_name
from gradation.queries.what_ifs import RunVerdict, deciding_line
from gradation.science.apertures import designation
from gradation.science.rounding import (
    FURTHER_THAN_PASSING,
    round_reported,
    round_significant,
    uncertainty_beside,
)
from gradation.science.rounding_replay import Replay
from gradation.science.what_if import DRY_MASS, PAN, WASHED_DRY_MASS
from gradation.web.specification_figure import specification_figure

__all__ = [
    "ReplayedLine",
    "VerdictLine",
    "mass_name",
    "replay_rows",
    "verdict_figure",
    "verdict_lines",
]  # fmt: skip

Comparison = dict[str, Any]
COVERAGE = 2


@dataclass(frozen=True)
class VerdictLine:
    """One limit: what was found with its uncertainty, how far off, and what if."""

    name: str
    unit: str
    found: str
    spread: str
    minimum: str
    maximum: str
    margin: str
    nearer: str
    outcome: str
    probability: str
    note: str
    decides: bool
    found_if_so: str = ""
    margin_if_so: str = ""
    change: str = ""
    outcome_if_so: str = ""
    is_flipped: bool = False


def verdict_lines(found: RunVerdict) -> list[VerdictLine]:
    """Lay out the lines of a comparison; the one that decides is marked."""
    assessment = found.assessment
    if assessment is None:
        return []
    decides = deciding_line(assessment)
    return [_line(line, place == decides) for place, line in enumerate(assessment["lines"])]


def _line(line: Comparison, decides: bool) -> VerdictLine:
    shown = line_figure(line) if line["characteristic"] else None
    unit = shown.unit if shown else "%"
    scale = Decimal(1000) if shown and shown.unit == "mm" else Decimal(1)
    found = shown.text if shown else line["reported"] or ""
    return VerdictLine(
        name=line_name(line),
        unit=unit,
        found=found,
        spread=_spread(line["u"], scale, found, 0 if shown else FURTHER_THAN_PASSING),
        minimum=shown.minimum if shown else line["min"] or "",
        maximum=shown.maximum if shown else line["max"] or "",
        margin=_margin(line["margin"], scale, shown.text if shown else ""),
        nearer={"minimum": "at least", "maximum": "at most"}.get(line["nearer_limit"] or "", ""),
        outcome=_word(line["outcome"]),
        probability=_probability(line["probability"]),
        note=line["reason"] or _notes(line),
        decides=decides,
        found_if_so=_found_if_so(line),
        change=_change(line, scale),
        margin_if_so=_margin(line.get("margin_if_so"), scale, shown.text if shown else ""),
        outcome_if_so=_word(line.get("outcome_if_so", "")),
        is_flipped=line.get("is_flipped", False),
    )


def _found_if_so(line: Comparison) -> str:
    value = line.get("value_if_so")
    if value is None:
        return ""
    if line["characteristic"]:
        return value_figure(str(line["characteristic"]), value).text
    return line["reported_if_so"] or ""


def _change(line: Comparison, scale: Decimal) -> str:
    """Write the change of the unrounded value; empty when nothing moved."""
    value, moved = line["value"], line.get("value_if_so")
    if value is None or moved is None or abs(moved - value) < _NOTHING:
        return ""
    change = round_significant((moved - value) / float(scale), 2)
    return f"{change:+f}".replace("-", "−")


_NOTHING = 1e-9


def _word(outcome: str) -> str:
    return outcome.replace("_", " ")


def _spread(standard: float | None, scale: Decimal, found: str, further: int) -> str:
    """Write the expanded uncertainty by what was found."""
    if not standard or not found:
        return ""
    return f"{uncertainty_beside(COVERAGE * standard / float(scale), found, further):f}"


def _margin(text: str | None, scale: Decimal, found: str) -> str:
    """Write a margin with as many places as the figure it belongs to; a percentage has them."""
    if text is None or not found:
        return text or ""
    places = max(-int(Decimal(found).as_tuple().exponent), 0)
    return str(round_reported(float(Decimal(text) / scale), places))


def _probability(value: float | None) -> str:
    if value is None:
        return ""
    return f"{100 * value:.1f}" if 0.0005 < value < 0.9995 else f"{100 * value:.0f}"


def _notes(line: Comparison) -> str:
    notes = ["read between the neighbouring sieves" if line["is_interpolated"] else ""]
    notes += ["rounding moves it across its limit" if line["is_moved_by_rounding"] else ""]
    return "; ".join(filter(None, notes))


def mass_name(name: str) -> str:
    """Name a mass that a what-if may move, as the bench does."""
    words = {DRY_MASS: "dry mass", WASHED_DRY_MASS: "dry mass after washing", PAN: "pan"}
    return words[name] if name in words else designation(Decimal(name))


def verdict_figure(found: RunVerdict) -> GradationFigure:
    """Give the curve with its uncertainty as bars, the envelope, and the curve if it was so."""
    specification = found.specification
    lines = list(specification.lines.all()) if specification else []
    curves = [Curve(str(found.run), tuple(_points(found)))]
    if found.moved is not None:
        curves.append(Curve("if it was so", tuple(_moved_points(found))))
    base = specification_figure(str(specification or found.run), lines, tuple(curves))
    return GradationFigure(
        title=f"Run {found.run}",
        curves=base.curves,
        band=base.band,
        target=base.target,
        failing=tuple(_failing(found)),
        sieves=base.sieves,
    )


def _points(found: RunVerdict) -> Iterator[CurvePoint]:
    budget = found.figures["uncertainty"] or {}
    spreads = {row["aperture_um"]: row["U_pct"] for row in budget.get("rows", ())}
    for row in found.figures["table"]:
        if row["passing_pct"] is not None:
            spread = spreads.get(row["aperture_um"])
            shown = None if spread is None else round(spread, 2)
            yield CurvePoint(float(row["aperture_um"]), row["passing_pct"], shown)


def _moved_points(found: RunVerdict) -> Iterator[CurvePoint]:
    passing = found.moved.passing_pct if found.moved else ()
    for row, moved in zip(found.figures["table"], passing, strict=False):
        if moved is not None:
            yield CurvePoint(float(row["aperture_um"]), moved)


def _failing(found: RunVerdict) -> Iterator[FailingPoint]:
    assessment = found.figures["assessment"] or {"lines": ()}
    for line in assessment["lines"]:
        if line["kind"] == "passing" and line["is_inside"] is False:
            side = Side.ABOVE if line["nearer_limit"] == "maximum" else Side.BELOW
            at = float(line["aperture_um"])
            yield FailingPoint(at, line["value"], side, f"{line['reported']} %")


@dataclass(frozen=True)
class ReplayedLine:
    """One sieve under every rounding rule: the figure, and whether it differs from the record."""

    name: str
    unrounded: str
    cells: tuple[tuple[str, bool], ...]


def replay_rows(found: Replay) -> Sequence[ReplayedLine]:
    """Lay out a rounding replay row by row."""
    return [
        ReplayedLine(
            designation(row.aperture_um),
            "" if row.passing_pct is None else f"{row.passing_pct:.3f}",
            tuple(
                ("" if cell.reported is None else str(cell.reported), cell.is_other)
                for cell in row.cells
            ),
        )
        for row in found.rows
    ]
