"""What a reading changes on the page of a run: the contents of its elements, by their ids.

A row's pieces are written by the same tags (`templatetags.run_rows`) that the page's template uses.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from django.template.loader import render_to_string
from django.utils.html import conditional_escape

from gradation.web.run_sheet import Row, Sheet
from gradation.web.templatetags.run_rows import row_load, row_offers, row_verdict

__all__ = ["live_parts"]

#: Pieces beside the rows that are written by a template of their own.
_BESIDE = {
    "live": "web/bench/live.html",
    "values": "parts/run_values.html",
    "wash-loss": "parts/run_wash_loss.html",
    "stages": "parts/run_stages.html",
    "shake-again": "parts/run_shake_again.html",
}


def live_parts(sheet: Sheet, shown: dict[str, Any], changed: Collection[str]) -> dict[str, str]:
    """Write what stands in each element of the page that a reading can change.

    `shown` is what the page's templates are given; `changed` names the rows whose own reading is
    new to the page.
    """
    parts: dict[str, str] = {
        name: render_to_string(template, shown) for name, template in _BESIDE.items()
    }
    parts["wash-share"] = sheet.wash_loss.share if sheet.wash_loss else ""
    for row in _rows(sheet):
        if row.name in changed:
            parts[f"cell-{row.name}"] = render_to_string(
                "parts/run_cell.html", {**shown, "row": row}
            )
        for name, piece in _pieces(row, writes=shown["writes"]):
            parts[f"{name}-{row.name}"] = conditional_escape(piece)
    return parts


def _rows(sheet: Sheet) -> Iterator[Row]:
    for row in (*sheet.portion_rows, *sheet.rows, sheet.pan):
        yield row
        yield from row.parts


def _pieces(row: Row, *, writes: bool) -> Iterator[tuple[str, str]]:
    yield "offers", row_offers(row, writes)
    yield "verdict", row_verdict(row)
    if not row.is_live:
        return
    if row.place.sieve:
        yield "load", row_load(row, writes)
    yield "nest", row.nest
    yield "retained", row.retained_pct
    yield "cumulative", row.cumulative_pct
    yield "passing", row.passing
    yield "spread", row.spread
    yield "strip", row.strip
