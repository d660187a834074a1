"""Where an aperture or a passing value lies on the drawn axes, and which marks they carry."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import NormalDist

from gradation.charts.figure import Direction, GradationFigure, Scale

_NORMAL = NormalDist()
_PROBABILITY_END_PCT = 0.1  # probability paper has no 0 and no 100; the trade prints 0.1 to 99.9
_EMPTY_RANGE_MM = (0.063, 63.0)
_PROBABILITY_MARKS_PCT = (0.1, 1, 5, 10, 20, 30, 50, 70, 80, 90, 95, 99, 99.9)


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
        if self.scale not in (Scale.LOG, Scale.PROBABILITY):
            return ()
        return tuple(self.at(size * 1000) for size in self._decade_sizes_mm(range(1, 10)))

    def title(self) -> str:
        """Return the words under the axis."""
        return {
            Scale.PHI: "Aperture, φ = −log2 (size in mm)",
            Scale.POWER45: "Aperture, mm (axis divided by size to the power 0.45)",
        }.get(self.scale, "Aperture, mm")

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
        return f"{size_mm:.4g}"


def aperture_axis(figure: GradationFigure) -> ApertureAxis:
    """Return the axis that holds everything in `figure`, with a little room at its ends."""
    sizes_mm = sorted({aperture / 1000 for aperture in figure.apertures_um()})
    low, high = (sizes_mm[0], sizes_mm[-1]) if sizes_mm else _EMPTY_RANGE_MM
    if figure.scale in (Scale.LINEAR, Scale.POWER45):
        low, high = 0.0, high * 1.04
    else:
        room = max(1.12, (high / low) ** 0.03)
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
    if scale is not Scale.PROBABILITY:
        return passing_pct / 100
    end = _PROBABILITY_END_PCT
    inside = min(max(passing_pct, end), 100 - end) / 100
    top = _NORMAL.inv_cdf(1 - end / 100)
    return (_NORMAL.inv_cdf(inside) + top) / (2 * top)


def passing_ticks(scale: Scale) -> tuple[tuple[float, Tick], ...]:
    """Return (passing %, mark) for the passing axis."""
    marks = _PROBABILITY_MARKS_PCT if scale is Scale.PROBABILITY else tuple(range(0, 101, 10))
    return tuple((mark, Tick(passing_at(mark, scale), f"{mark:g}")) for mark in marks)
