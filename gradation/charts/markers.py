"""The small shapes on a curve: markers, and the notch that shows an exceeded limit."""

from collections.abc import Iterable

from gradation.charts.figure import Side
from gradation.charts.markup import element, number
from gradation.charts.palette import MADDER, PAPER, CurveStyle

_CORNERS = {
    "square": ((-1, -1), (1, -1), (1, 1), (-1, 1)),
    "triangle": ((0, -1), (1, 1), (-1, 1)),
    "diamond": ((0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)),
}


def path(points: list[tuple[float, float]], closed: bool = False) -> str:
    """Return the path data of straight segments through `points`."""
    if not points:
        return ""
    joined = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{joined}{'Z' if closed else ''}"


def markers(style: CurveStyle, places: Iterable[tuple[float, float]], radius: float = 2.6) -> str:
    """Return the markers of `style` at all `places` as one path."""
    data = "".join(_shape(style.marker, x, y, radius) for x, y in places)
    inside = style.colour if style.marker == "circle" else PAPER
    return element("path", d=data, fill=inside, stroke=style.colour, stroke_width=1.3)


def notch(x: float, y: float, side: Side, size: float = 5.0) -> str:
    """Return the notch of an exceeded limit: a solid wedge whose flat side is the limit."""
    lift = -size if side is Side.ABOVE else size
    wedge = [(x - size * 0.75, y + lift), (x + size * 0.75, y + lift), (x, y + 0.25 * lift)]
    return element("path", d=path(wedge, closed=True), fill=MADDER, stroke=PAPER, stroke_width=0.6)


def _shape(name: str, x: float, y: float, radius: float) -> str:
    """Return the path data of one marker; a circle is two half turns."""
    if name == "circle":
        turn = f"a{radius} {radius} 0 1 0 "
        return f"M{x - radius:.2f} {y:.2f}{turn}{2 * radius} 0{turn}{-2 * radius} 0Z"
    if name == "cross":
        reach = 2 * radius
        return f"M{x - radius:.2f} {y:.2f}h{reach}M{x:.2f} {y - radius:.2f}v{reach}"
    return path([(x + radius * dx, y + radius * dy) for dx, dy in _CORNERS[name]], closed=True)
