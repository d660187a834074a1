"""The envelope strip: one row's passing against its limits on a line from 0 to 100 %."""

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from gradation.charts.figure import Side
from gradation.charts.markers import path
from gradation.charts.markup import Look, element, number, picture
from gradation.charts.nest import NestPiece, nest_column, nest_piece
from gradation.charts.palette import INK, MADDER, PALE_LICHEN, PAPER, STRONG_RULE

__all__ = ["NestPiece", "Strip", "StripVerdict", "envelope_strip", "nest_column", "nest_piece"]


class StripVerdict(StrEnum):
    """What the row's comparison said; the drawing gives each its own shape."""

    WITHIN = "within"
    OUTSIDE = "outside"
    UNDECIDED = "undecided"
    NONE = ""


@dataclass(frozen=True)
class Strip:
    """One row: passing, limits, target and expanded uncertainty, all in % or absent."""

    name: str
    passing_pct: float | None
    minimum_pct: float | None = None
    maximum_pct: float | None = None
    target_pct: float | None = None
    uncertainty_pct: float | None = None
    verdict: StripVerdict = StripVerdict.NONE

    def side(self) -> Side | None:
        """Return which limit the measured value exceeds, if either."""
        if self.passing_pct is None:
            return None
        if self.maximum_pct is not None and self.passing_pct > self.maximum_pct:
            return Side.ABOVE
        if self.minimum_pct is not None and self.passing_pct < self.minimum_pct:
            return Side.BELOW
        return None

    def described(self) -> str:
        """Return the strip in words."""
        measured = "not determined" if self.passing_pct is None else f"{self.passing_pct:g} %"
        limits = " to ".join(
            "open" if limit is None else f"{limit:g}"
            for limit in (self.minimum_pct, self.maximum_pct)
        )
        asked = "" if self._open() else f", limits {limits} %"
        said = f", {self.verdict}" if self.verdict else ""
        return f"{self.name}: passing {measured}{asked}{said}"

    def _open(self) -> bool:
        return self.minimum_pct is None and self.maximum_pct is None


@dataclass(frozen=True)
class _Ruler:
    width: float
    height: float

    @property
    def middle(self) -> float:
        return self.height / 2

    def x(self, passing_pct: float) -> float:
        room = 5.0  # px at each end, so that marks at 0 and 100 are not cut off
        inside = min(max(passing_pct, 0.0), 100.0)
        return room + inside / 100 * (self.width - 2 * room)


@lru_cache(maxsize=1024)
def envelope_strip(strip: Strip, width: float = 120, height: float = 14) -> str:
    """Return the strip as an SVG of `width` by `height` px."""
    ruler = _Ruler(width, height)
    drawn = (_scale(ruler), _allowed(ruler, strip), _target(ruler, strip), _measured(ruler, strip))
    return picture("".join(drawn), width, height, strip.described())


def _scale(ruler: _Ruler) -> str:
    y = number(ruler.middle)
    ticks = "".join(f"M{number(ruler.x(at))} {number(ruler.middle - 2)}v4" for at in (0, 50, 100))
    line = f"M{number(ruler.x(0))} {y}H{number(ruler.x(100))}{ticks}"
    return element("path", d=line, stroke=STRONG_RULE, stroke_width=0.6, fill="none")


def _allowed(ruler: _Ruler, strip: Strip) -> str:
    if strip.minimum_pct is None and strip.maximum_pct is None:
        return ""
    low = ruler.x(0 if strip.minimum_pct is None else strip.minimum_pct)
    high = ruler.x(100 if strip.maximum_pct is None else strip.maximum_pct)
    top, tall = 1.5, ruler.height - 3
    fill = element("rect", x=low, y=top, width=high - low, height=tall, fill=PALE_LICHEN)
    given = [
        x for x, limit in ((low, strip.minimum_pct), (high, strip.maximum_pct)) if limit is not None
    ]
    edges = "".join(f"M{number(x)} {number(top)}v{number(tall)}" for x in given)
    return fill + element("path", d=edges, stroke=STRONG_RULE, stroke_width=1.1)


def _target(ruler: _Ruler, strip: Strip) -> str:
    if strip.target_pct is None:
        return ""
    x = number(ruler.x(strip.target_pct))
    line = f"M{x} 1.5V{number(ruler.height - 1.5)}"
    return element("path", d=line, stroke=INK, stroke_width=0.7, stroke_dasharray="1.5 1.5")


def _measured(ruler: _Ruler, strip: Strip) -> str:
    if strip.passing_pct is None:
        return ""
    return _whisker(ruler, strip) + _mark(ruler, strip, ruler.x(strip.passing_pct))


def _whisker(ruler: _Ruler, strip: Strip) -> str:
    if strip.uncertainty_pct is None or strip.passing_pct is None:
        return ""
    low = ruler.x(strip.passing_pct - strip.uncertainty_pct)
    high = ruler.x(strip.passing_pct + strip.uncertainty_pct)
    y = number(ruler.middle)
    caps = "".join(f"M{number(x)} {number(ruler.middle - 2)}v4" for x in (low, high))
    return element(
        "path", d=f"M{number(low)} {y}H{number(high)}{caps}", stroke=INK, stroke_width=0.9
    )


def _mark(ruler: _Ruler, strip: Strip, x: float) -> str:
    """Draw a tick within, a solid wedge pointing out of the band outside, a hollow diamond else."""
    if strip.verdict is StripVerdict.OUTSIDE:
        return _wedge(ruler, x, strip.side())
    if strip.verdict is StripVerdict.UNDECIDED:
        reach = ruler.height / 3
        middle = ruler.middle
        corners = [(x, middle - reach), (x + 3.4, middle), (x, middle + reach), (x - 3.4, middle)]
        look: Look = {"fill": PAPER, "stroke": INK, "stroke_width": 1.1}
        return element("path", d=path(corners, closed=True), **look)
    tall = f"M{number(x)} 0.5V{number(ruler.height - 0.5)}"
    return element("path", d=tall, stroke=INK, stroke_width=1.9)


def _wedge(ruler: _Ruler, x: float, side: Side | None) -> str:
    out = -6.5 if side is Side.BELOW else 6.5
    points = [(x, 0.5), (x, ruler.height - 0.5), (x + out, ruler.middle)]
    return element("path", d=path(points, closed=True), fill=MADDER, stroke=MADDER, stroke_width=1)
