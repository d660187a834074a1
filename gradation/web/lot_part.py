"""The lot of a run or a sample, and what a sample reports, laid out for the pages they stand on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gradation.models import LotRule, SpecificationVersion
from gradation.queries.lots import LotVerdict
from gradation.queries.specifications import lot_words
from gradation.science.envelope_consistency import line_words
from gradation.science.rounding import round_reported

__all__ = ["LotRow", "lot_context", "lot_rows"]


@dataclass(frozen=True)
class LotRow:
    """One limit over the results of a lot."""

    name: str
    results: int
    mean: str
    sd: str
    share: str
    outcome: str
    reason: str


def lot_rows(lot: LotVerdict | None) -> list[LotRow]:
    """Lay out what a lot says, line by line."""
    if lot is None or lot.assessment is None:
        return []
    return [
        LotRow(
            name=line_words(each.line),
            results=each.results,
            mean=_rounded(each.mean, 2),
            sd=_rounded(each.sd, 2),
            share=_rounded(each.share_within_pct, 1),
            outcome=each.outcome.value,
            reason=each.reason,
        )
        for each in lot.assessment.lines
    ]


def lot_context(lot: LotVerdict | None, version: SpecificationVersion | None) -> dict[str, Any]:
    """Give `parts/lot.html` what it shows."""
    return {
        "lot": lot,
        "lot_lines": lot_rows(lot),
        "lot_words": lot_words(version) if version else "",
        "has_share": bool(version and version.lot_rule == LotRule.WITHIN_LIMITS),
    }


def _rounded(value: float | None, decimals: int) -> str:
    return "" if value is None else str(round_reported(value, decimals))
