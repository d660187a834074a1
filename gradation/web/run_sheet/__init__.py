"""A run laid out for the page: one row per sieve with its drawing, figures, strip and verdict.

The figures come from the one calculation (`queries.runs` while open, the frozen result after);
here they are only placed and written.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.documents.certificate_content import Characteristic
from gradation.models import LotRule, Run, SpecificationLine
from gradation.queries.run_view import RunView
from gradation.queries.specifications import lot_words
from gradation.queries.verdicts import verdict_sentence
from gradation.science.envelopes import LineKind
from gradation.web.run_findings import ShownFinding
from gradation.web.run_sheet.layout import Layout, plain_rows, spreads_pct
from gradation.web.run_sheet.loads import loads_of
from gradation.web.run_sheet.rows import Load, Offer, Row, Verdict, lined_up, row_name
from gradation.web.run_sheet.tally import (
    StageLine,
    Tally,
    WashLoss,
    stage_lines,
    tally_of,
    wash_loss_of,
)
from gradation.web.run_sheet.work import ShakingPanel, handling_words, shaking_panel
from gradation.web.run_values import OtherLine, other_lines, values_of

__all__ = ["Load", "Offer", "Row", "Sheet", "Verdict", "row_name", "run_sheet"]

_BY_LOAD = (
    "Dark fill: the load of a sieve against its limit, the dotted line. "
    "Pale fill of the pan: its mass against the heaviest fraction."
)
_BY_SHARE = (
    "Pale fill: the mass of a fraction against the heaviest one; "
    "this procedure sets no limit on the load of a sieve."
)
Figures = Mapping[str, Any]


@dataclass(frozen=True)
class Sheet:
    """A run as bench, review and result page show it."""

    run: Run
    portion_rows: tuple[Row, ...]
    wash_loss: WashLoss | None
    rows: tuple[Row, ...]
    pan: Row
    tally: Tally
    stages: tuple[StageLine, ...]
    shaking: ShakingPanel
    handling: tuple[str, ...]
    flags: tuple[str, ...]
    outcome: str
    sentence: str
    values: tuple[Characteristic, ...]
    other_lines: tuple[OtherLine, ...]
    figures: Figures
    fault: str
    nest_legend: str
    findings: tuple[ShownFinding, ...] = ()

    @property
    def lot(self) -> str:
        """Say which results together the limits are held against; '' where each stands alone."""
        version = self.run.portion.sample.specification_version
        is_alone = version is None or version.lot_rule == LotRule.SINGLE
        return "" if version is None or is_alone else lot_words(version)


def run_sheet(view: RunView) -> Sheet:
    """Lay out a run: as far as it is weighed while open, as frozen when it was handed over."""
    figures = _figures(view)
    laid = _layout(view, figures)
    outcome, sentence = _said(view.run, figures)
    portion_rows = tuple(_portion_rows(view))
    fractions = (laid.row(at) for at in view.sieves)
    rows = lined_up([*portion_rows, *fractions, laid.pan(figures)])
    return Sheet(
        run=view.run,
        portion_rows=rows[: len(portion_rows)],
        wash_loss=wash_loss_of(view, figures),
        rows=rows[len(portion_rows) : -1],
        pan=rows[-1],
        tally=tally_of(view, figures),
        stages=stage_lines(figures),
        shaking=shaking_panel(view.run, figures),
        handling=handling_words(view.run),
        flags=tuple(warning["sentence"] for warning in figures.get("warnings", ())),
        outcome=outcome,
        sentence=sentence,
        values=values_of(figures),
        other_lines=other_lines(figures, (place.aperture_um for place in view.run.places.all())),
        figures=figures,
        fault=view.fault if view.run.is_editable else "",
        nest_legend=_BY_LOAD if view.run.procedure_version.loading_rule else _BY_SHARE,
    )


def _figures(view: RunView) -> Figures:
    if view.run.is_editable:
        return view.figures
    results = list(view.run.results.all())
    if not results:
        return view.figures
    frozen: Figures = results[0].values
    return frozen


def _layout(view: RunView, figures: Figures) -> Layout:
    warned: dict[Decimal, frozenset[str]] = defaultdict(frozenset)
    for warning in figures.get("warnings", ()):
        if warning.get("aperture_um") is not None:
            warned[Decimal(str(warning["aperture_um"]))] |= {warning["code"]}
    return Layout(
        view=view,
        table={Decimal(str(row["aperture_um"])): row for row in figures.get("table", ())},
        limits=_limits(view.run),
        lines=_lines(figures),
        loads=loads_of(view, figures),
        warned=warned,
        spreads_pct=spreads_pct(figures),
    )


def _said(run: Run, figures: Figures) -> tuple[str, str]:
    """Give the verdict of a whole run: its word and its sentence."""
    specification, compared = run.portion.sample.specification_version, figures.get("assessment")
    if specification is None or not compared or not figures.get("is_complete"):
        return "", ""
    return compared["outcome"], verdict_sentence(compared, str(specification.specification))


def _limits(run: Run) -> dict[Decimal, SpecificationLine]:
    specification = run.portion.sample.specification_version
    if specification is None:
        return {}
    return {
        line.aperture_um: line
        for line in specification.lines.all()
        if line.kind == LineKind.PASSING and line.aperture_um is not None
    }


def _lines(figures: Figures) -> dict[Decimal, Figures]:
    assessment = figures.get("assessment") or {}
    return {
        Decimal(str(line["aperture_um"])): line
        for line in assessment.get("lines", ())
        if line["kind"] == LineKind.PASSING and line["aperture_um"] is not None
    }


def _portion_rows(view: RunView) -> Iterator[Row]:
    yield plain_rows(view.dry_mass, "Dry mass of the portion")
    if view.washed_dry_mass:
        yield plain_rows(view.washed_dry_mass, "Dry mass after washing")
