"""Where an aperture or a passing value lies on the drawn axes, and which marks they carry."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext

from gradation.charts.figure import CurvePoint, Direction, GradationFigure, Quantity, Scale
from gradation.charts.markup import cut
from gradation.charts.series import Span, even_marks, span_of
from gradation.language import localized
from gradation.science.models import Model, paper_from_share

_EMPTY_RANGE_MM = (0.063, 63.0)
_ROOM, _ROOM_OF_BARS = 1.12, 1.35  # beside the outermost sizes, as a factor


@dataclass(frozen=True)
class _Paper:
    """The passing axis on the paper of a model: between which ends [%], with which marks."""

    model: Model
    low_pct: float
    high_pct: float
    marks_pct: tuple[float, ...]


# No paper has a place for 0 %, and only that of the power law one for 100 %; the trade prints
# 0.1 to 99.9.
_PAPERS = {
    Scale.PROBABILITY: _Paper(
        Model.LOG_NORMAL, 0.1, 99.9, (0.1, 1, 5, 10, 20, 30, 50, 70, 80, 90, 95, 99, 99.9)
    ),
    Scale.RRSB: _Paper(
        Model.RRSB, 0.1, 99.9, (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 50, 63.2, 80, 90, 99, 99.9)
    ),
    Scale.GGS: _Paper(Model.GGS, 0.1, 100, (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)),
}
_LOGARITHMIC = frozenset({Scale.LOG, *_PAPERS})


@dataclass(frozen=True)
class Tick:
    """One mark: where it stands (0-1 along the axis) and what is written; '' writes nothing."""

    at: float
    text: str


@dataclass(frozen=True)
class ApertureAxis:
    """The aperture axis between two sizes, on one scale, in one direction."""

    scale: Scale
    direction: Direction
    low_mm: float
    high_mm: float
    sieves_mm: tuple[float, ...] = ()

    def at(self, aperture_um: float) -> float:
        """Return the place of an aperture, 0 at the left end and 1 at the right end."""
        low, high = self._stretch(self.low_mm), self._stretch(self.high_mm)
        share = (self._stretch(aperture_um / 1000) - low) / (high - low)
        return 1 - share if self.direction is Direction.COARSE_LEFT else share

    def ticks(self) -> tuple[Tick, ...]:
        """Return the labelled marks along the bottom."""
        sizes_mm = self._labelled_mm()
        return tuple(Tick(self.at(size * 1000), self._written(size)) for size in sizes_mm)

    def minor(self) -> tuple[float, ...]:
        """Return the places of the fine unlabelled lines of logarithmic paper."""
        if self.scale not in _LOGARITHMIC:
            return ()
        return tuple(self.at(size * 1000) for size in self._decade_sizes_mm(range(1, 10)))

    def title(self) -> str:
        """Return the words under the axis."""
        if self.scale is Scale.PHI:
            return gettext("Aperture, φ = −log2 (size in mm)")
        if self.scale is Scale.POWER45:
            return gettext("Aperture, mm (axis divided by size to the power 0.45)")
        return gettext("Aperture, mm")

    def _stretch(self, size_mm: float) -> float:
        if self.scale is Scale.POWER45:
            return float(size_mm**0.45)
        return size_mm if self.scale is Scale.LINEAR else math.log10(size_mm)

    def _labelled_mm(self) -> tuple[float, ...]:
        if self.scale is Scale.PHI:
            first = math.ceil(-math.log2(self.high_mm))
            last = math.floor(-math.log2(self.low_mm))
            return tuple(2.0**-phi for phi in range(first, last + 1))
        if self.scale is Scale.POWER45:
            return (0.0, *self.sieves_mm)
        if self.scale is Scale.LINEAR:
            return self._even_mm()
        return self._decade_sizes_mm((1, 2, 5))

    def _even_mm(self) -> tuple[float, ...]:
        rough = self.high_mm / 8
        decade: float = 10.0 ** math.floor(math.log10(rough))
        step = next(m * decade for m in (1, 2, 5, 10) if m * decade >= rough)
        return tuple(i * step for i in range(int(self.high_mm / step) + 1))

    def _decade_sizes_mm(self, leading: tuple[int, ...] | range) -> tuple[float, ...]:
        first, last = (math.floor(math.log10(size)) for size in (self.low_mm, self.high_mm))
        sizes = (digit * 10.0**power for power in range(first, last + 1) for digit in leading)
        return tuple(size for size in sizes if self.low_mm <= size <= self.high_mm)

    def _written(self, size_mm: float) -> str:
        if self.scale is Scale.PHI:
            return f"{round(-math.log2(size_mm)):d}".replace("-", "−")
        return localized(f"{size_mm:.4g}")


def aperture_axis(figure: GradationFigure) -> ApertureAxis:
    """Return the axis that holds everything in `figure`, with a little room at its ends."""
    sizes_mm = sorted({aperture / 1000 for aperture in figure.apertures_um()})
    low, high = (sizes_mm[0], sizes_mm[-1]) if sizes_mm else _EMPTY_RANGE_MM
    if figure.scale in (Scale.LINEAR, Scale.POWER45):
        low, high = 0.0, high * 1.04
    else:
        least = _ROOM_OF_BARS if figure.quantity is Quantity.RETAINED else _ROOM
        room = max(least, (high / low) ** 0.03)
        low, high = low / room, high * room
    marks = tuple(sorted({sieve.aperture_um / 1000 for sieve in figure.sieves} or set(sizes_mm)))
    return ApertureAxis(figure.scale, figure.direction, low, high, marks)


def spaced(ticks: Iterable[Tick], least: float) -> list[Tick]:
    """Return the ticks that keep `least` of the axis between them, from the right end."""
    kept: list[Tick] = []
    for tick in sorted(ticks, key=lambda it: -it.at):
        if not kept or kept[-1].at - tick.at >= least:
            kept.append(tick)
    return kept


def passing_at(passing_pct: float, scale: Scale) -> float:
    """Return the height of a passing value, 0 at the foot and 1 at the top of the chart."""
    paper = _PAPERS.get(scale)
    if paper is None:
        return passing_pct / 100
    inside = min(max(passing_pct, paper.low_pct), paper.high_pct)
    shares = [each / 100 for each in (paper.low_pct, inside, paper.high_pct)]
    foot, height, top = paper_from_share(paper.model, shares).tolist()
    return float((height - foot) / (top - foot))


def has_place(passing_pct: float, scale: Scale) -> bool:
    """Return whether a passing value has a place on the paper at all."""
    paper = _PAPERS.get(scale)
    return paper is None or (passing_pct > 0 and (passing_pct < 100 or paper.high_pct == 100))


def passing_ticks(scale: Scale) -> tuple[tuple[float, Tick], ...]:
    """Return (passing %, mark) for the passing axis."""
    marks = _PAPERS[scale].marks_pct if scale in _PAPERS else tuple(range(0, 101, 10))
    return tuple((mark, Tick(passing_at(mark, scale), f"{mark:g}")) for mark in marks)


@dataclass(frozen=True)
class ValueAxis:
    """The upright axis: passing on its paper, or another quantity evenly divided."""

    quantity: Quantity
    scale: Scale
    span: Span
    against: str = ""

    def at(self, value: float) -> float:
        """Return the height of a value, 0 at the foot and 1 at the top."""
        if self.quantity is Quantity.PASSING:
            return passing_at(value, self.scale)
        return self.span.share(value)

    def ticks(self) -> tuple[tuple[float, Tick], ...]:
        """Return (value, mark) for every mark."""
        if self.quantity is Quantity.PASSING:
            return passing_ticks(self.scale)
        marks = even_marks(self.span, most=10)
        return tuple((mark.at, Tick(self.at(mark.at), mark.text)) for mark in marks)

    def title(self) -> str:
        """Return the words beside the axis."""
        return {
            Quantity.PASSING: gettext("Passing, %"),
            Quantity.RETAINED: "Retained on the sieve, %",
            Quantity.DENSITY: "Density, % per decade of size",
            Quantity.DIFFERENCE: f"Passing less that of {cut(self.against, 30)}, points",
        }[self.quantity]

    def unit(self) -> str:
        """Return the words behind a figure where it is read out."""
        return {
            Quantity.PASSING: "% passing",
            Quantity.RETAINED: "% retained",
            Quantity.DENSITY: "% per decade",
            Quantity.DIFFERENCE: "points",
        }[self.quantity]


def value_axis(figure: GradationFigure) -> ValueAxis:
    """Return the upright axis that holds every value of `figure`."""
    values = [point.passing_pct for curve in figure.curves for point in curve.drawn()]
    if figure.quantity is Quantity.DIFFERENCE:
        span = span_of(iter([*values, -1.0, 1.0]))
    else:
        span = Span(0.0, max([*values, 1.0]) * 1.06)
    return ValueAxis(figure.quantity, figure.scale, span, figure.against)


@dataclass(frozen=True)
class Bar:
    """One bar: from where to where along the axis, and how high."""

    left: float
    right: float
    top: float
    value: float


def bars_of(figure: GradationFigure, axis: ApertureAxis) -> tuple[tuple[Bar, ...], ...]:
    """Return the bars of every curve, side by side at each sieve."""
    places = sorted({axis.at(p.aperture_um) for curve in figure.curves for p in curve.drawn()})
    gaps = [right - left for left, right in pairwise(places)]
    room = [2 * places[0], 2 * (1 - places[-1])] if places else []
    width = 0.8 * min([*gaps, *room, 0.1]) / max(1, len(figure.curves))
    upright = value_axis(figure)
    return tuple(
        tuple(
            _bar(
                axis.at(point.aperture_um) + (i - len(figure.curves) / 2) * width,
                width,
                point,
                upright,
            )
            for point in curve.drawn()
        )
        for i, curve in enumerate(figure.curves)
    )


def _bar(left: float, width: float, point: CurvePoint, upright: ValueAxis) -> Bar:
    return Bar(left, left + width, upright.at(point.passing_pct), point.passing_pct)
