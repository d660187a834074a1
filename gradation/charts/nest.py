"""The drawn nest: sieves as they stand, each filled by its mass against its load limit.

Where no limit is known the fill is lighter and only compares the fractions with one another.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from gradation.charts.markup import element, number, picture
from gradation.charts.palette import (
    INK,
    LICHEN,
    MADDER,
    PALE_LICHEN,
    PAPER,
    QUIET,
    STRONG_RULE,
)

_INSET = 3.0
_SHOWN_LOAD_PCT = 130.0  # the frame's full height; above 100 % the load stands over the limit line


@dataclass(frozen=True)
class NestPiece:
    """One sieve or the pan: its name, its load in % of the limit, and why not to use it.

    Without a limit `share_pct` says how full to draw it: its mass in % of the heaviest fraction.
    """

    name: str
    load_pct: float | None = None
    unusable_reason: str = ""
    is_pan: bool = False
    share_pct: float | None = None

    def described(self) -> str:
        """Return the piece in words."""
        parts = [self.name]
        if self.load_pct is not None:
            over = ", overloaded" if self.load_pct > 100 else ""
            parts.append(f"load {self.load_pct:.0f} % of its limit{over}")
        elif self.share_pct is not None:
            parts.append(f"{self.share_pct:.0f} % of the mass of the heaviest fraction")
        if self.unusable_reason:
            parts.append(f"not to be used: {self.unusable_reason}")
        return "; ".join(parts)


@lru_cache(maxsize=1024)
def nest_piece(piece: NestPiece, width: float = 72, height: float = 28) -> str:
    """Return one piece as an SVG of its own, the row header of its table row.

    Drawings are remembered: of a nest that is weighed again and again, most pieces stay the same.
    """
    return picture(_piece(piece, 0, width, height), width, height, piece.described())


def nest_column(pieces: Sequence[NestPiece], width: float = 72, row_height: float = 28) -> str:
    """Return the whole nest, coarse on top and pan below, one piece to `row_height` px."""
    drawn = "".join(_piece(it, i * row_height, width, row_height) for i, it in enumerate(pieces))
    said = "Nest from the top: " + "; ".join(piece.described() for piece in pieces)
    return picture(drawn, width, max(1.0, row_height * len(pieces)), said)


def _piece(piece: NestPiece, top: float, width: float, height: float) -> str:
    inner = (_INSET, top + 2, width - 2 * _INSET, height - 4)
    hatch = _hatch(*inner) if piece.unusable_reason else ""
    return hatch + _load(piece, *inner) + _frame(piece, *inner)


def _load(piece: NestPiece, x: float, top: float, width: float, height: float) -> str:
    if piece.load_pct is None:
        return _share(piece, x, top, width, height)
    if not piece.load_pct or piece.load_pct < 0:
        return ""
    over = piece.load_pct > 100
    shown = height * min(piece.load_pct, _SHOWN_LOAD_PCT) / _SHOWN_LOAD_PCT
    colour = MADDER if over else (QUIET if piece.is_pan else LICHEN)
    fill = element(
        "rect", x=x + 1, y=top + height - shown, width=width - 2, height=shown, fill=colour
    )
    return fill + (_pennant(x + width - 12, top + height - shown) if over else "")


def _share(piece: NestPiece, x: float, top: float, width: float, height: float) -> str:
    """Draw a fill that means no limit: pale, with a line on top so that a copy shows it too."""
    if not piece.share_pct or piece.share_pct < 0:
        return ""
    shown = height * min(piece.share_pct, 100) / _SHOWN_LOAD_PCT
    place = {"x": x + 1, "y": top + height - shown, "width": width - 2, "height": shown}
    level = f"M{number(x + 1)} {number(top + height - shown)}h{number(width - 2)}"
    return element("rect", fill=PALE_LICHEN, **place) + element(
        "path", d=level, stroke=LICHEN, stroke_width=1
    )


def _pennant(x: float, y: float) -> str:
    flag = f"M{number(x)} {number(y + 1)}v8M{number(x)} {number(y + 1.5)}l8 2.5l-8 2.5Z"
    return element("path", d=flag, fill=PAPER, stroke=PAPER, stroke_width=1.2)


def _frame(piece: NestPiece, x: float, top: float, width: float, height: float) -> str:
    """Draw walls, the limit line, and mesh below (dashed), or the pan's closed floor."""
    limit_y = top + height * (1 - 100 / _SHOWN_LOAD_PCT)
    foot = top + height
    walls = "".join(f"M{number(wall)} {number(top)}V{number(foot)}" for wall in (x, x + width))
    rim = f"M{number(x - 2)} {number(top)}h4M{number(x + width - 2)} {number(top)}h4"
    floor = {"d": f"M{number(x)} {number(foot)}h{number(width)}", "stroke": INK}
    mesh = element(
        "path", stroke_width=1.8, stroke_dasharray="none" if piece.is_pan else "2 1.2", **floor
    )
    line = f"M{number(x)} {number(limit_y)}h{number(width)}"
    limit = element("path", d=line, stroke=STRONG_RULE, stroke_width=0.8, stroke_dasharray="1 2")
    return (
        element("path", d=walls + rim, stroke=INK, stroke_width=1.2)
        + mesh
        + ("" if piece.is_pan or piece.load_pct is None else limit)
    )


def _hatch(x: float, top: float, width: float, height: float, step: float = 6.0) -> str:
    """Draw 45-degree lines cut at the frame, without a pattern that would need an id."""
    strokes = []
    for i in range(1, math.ceil((width + height) / step)):
        run = i * step
        x1, y1 = x + max(0.0, run - height), top + min(run, height)
        x2, y2 = x + min(run, width), top + max(0.0, run - width)
        strokes.append(f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}")
    return element("path", d="".join(strokes), stroke=MADDER, stroke_width=1.3)
