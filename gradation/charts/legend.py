"""The key under a printed chart: line, dash and marker beside each name."""

from collections.abc import Iterator

from gradation.charts.figure import GradationFigure
from gradation.charts.markers import markers
from gradation.charts.markup import Look, cut, element, label, number
from gradation.charts.palette import (
    PALE_LICHEN,
    QUIET,
    STRONG_RULE,
    TARGET_STYLE,
    CurveStyle,
    curve_style,
)

TEXT_PX = 9.0
CHARACTER_PX = 4.6  # mean width of a figure or letter of the bundled sans at 9 px
ROW_PX = 12.0
_KEY_PX = 24.0
_LONGEST_NAME = 90  # characters

LegendRow = list[tuple[float, str]]


def legend_rows(figure: GradationFigure, width: float) -> list[LegendRow]:
    """Return rows of (x, markup), each row no wider than `width` px."""
    rows: list[LegendRow] = [[]]
    x = 0.0
    for whole, key in _keys(figure):
        text = cut(whole, _LONGEST_NAME)
        step = _KEY_PX + len(text) * CHARACTER_PX + 14
        if rows[-1] and x + step > width:
            rows.append([])
            x = 0.0
        rows[-1].append((x, key + label(_KEY_PX, 0, text, fill=QUIET)))
        x += step
    return [row for row in rows if row]


def legend(rows: list[LegendRow], x: float, y: float) -> str:
    """Return the rows as one group whose first line of text stands at (x, y)."""
    keys = (
        element("g", key, transform=f"translate({number(across)} {number(ROW_PX * i)})")
        for i, row in enumerate(rows)
        for across, key in row
    )
    return element("g", "".join(keys), transform=f"translate({number(x)} {number(y)})")


def _keys(figure: GradationFigure) -> Iterator[tuple[str, str]]:
    for i, curve in enumerate(figure.curves):
        style = curve_style(i if curve.look is None else curve.look)
        yield curve.label, _line(style) + ("" if curve.fitted else markers(style, [(10, -3)]))
    if figure.target:
        yield figure.target.label, _line(TARGET_STYLE)
    if figure.band:
        look: Look = {"fill": PALE_LICHEN, "stroke": STRONG_RULE, "stroke_width": 0.9}
        yield figure.band.label, element("rect", x=0, y=-7, width=20, height=8, **look)


def _line(style: CurveStyle) -> str:
    return element("path", d="M0 -3H20", fill="none", stroke_width=1.5, **style.line())
