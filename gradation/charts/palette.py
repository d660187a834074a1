"""Colours, dashes and markers, the same on screen and on paper.

Every pair of curves differs by dash and marker as well as by colour, so that a black-and-white
copy still tells them apart.
"""

from dataclasses import dataclass

PAPER = "#FFFFFF"
INK = "#1D2324"
QUIET = "#566063"
RULE = "#DAD5C8"
STRONG_RULE = "#8B8778"
LICHEN = "#2F5D50"
PALE_LICHEN = "#E2E8E6"  # lichen at 14 % on white, as a solid so that it prints without blending
UMBER = "#7A4B2A"
SLATE = "#3B5B7A"
MADDER = "#8E2C2C"
STRAW = "#EFE3B8"
SANS = "'Source Sans 3', sans-serif"


@dataclass(frozen=True)
class CurveStyle:
    """How one curve looks: its colour, its dash pattern in px, its marker."""

    colour: str
    dash: tuple[float, ...]
    marker: str

    def line(self) -> dict[str, str | float]:
        """Return the SVG attributes of a line in this style."""
        look: dict[str, str | float] = {"stroke": self.colour}
        if self.dash:
            look["stroke_dasharray"] = " ".join(f"{step:g}" for step in self.dash)
        return look


CURVE_STYLES = (
    CurveStyle(LICHEN, (), "circle"),
    CurveStyle(UMBER, (6, 3), "square"),
    CurveStyle(SLATE, (2, 2.5), "triangle"),
    CurveStyle(INK, (12, 3), "diamond"),
    CurveStyle(QUIET, (4, 2), "cross"),
)


TARGET_STYLE = CurveStyle(INK, (8, 2.5, 1.5, 2.5), "none")


def curve_style(position: int) -> CurveStyle:
    """Return the style of the curve at `position`.

    After the last style the colours start again with other dashes and markers, so that the pair
    of dash and marker is the same for no two of 25 curves.
    """
    count = len(CURVE_STYLES)
    turn, place = divmod(position, count)
    return CurveStyle(
        CURVE_STYLES[place].colour,
        CURVE_STYLES[(place + turn) % count].dash,
        CURVE_STYLES[(place + 2 * turn) % count].marker,
    )
