"""The one model of a gradation chart, drawn by `interactive` and by `printed`.

Passing runs 0-100 % upward; apertures are micrometres. The figure holds what is drawn, not how.
Besides passing a figure may show what is retained on each sieve, the density of the distribution,
or differences in passing: `quantity` says which.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum


class Scale(StrEnum):
    """How the aperture axis is divided; on the papers of models the passing axis too."""

    LOG = "log"
    POWER45 = "power45"
    PHI = "phi"
    LINEAR = "linear"
    PROBABILITY = "probability"
    RRSB = "rrsb"
    GGS = "ggs"


class Quantity(StrEnum):
    """What stands on the upright axis."""

    PASSING = "passing"
    RETAINED = "retained"
    """Percent on each single sieve, as bars."""
    DENSITY = "density"
    """Percent per decade of size, class by class, as steps."""
    DIFFERENCE = "difference"
    """Passing less that of a reference curve, in points."""


class Direction(StrEnum):
    """Which end of the aperture axis stands on the left; a choice of the report form."""

    COARSE_LEFT = "coarse_left"
    FINE_LEFT = "fine_left"


class Side(StrEnum):
    """The side on which a limit is exceeded."""

    ABOVE = "above"
    BELOW = "below"


def _refuse_aperture(aperture_um: float) -> None:
    if not (math.isfinite(aperture_um) and aperture_um > 0):
        raise ValueError(f"An aperture on a chart must be above 0 µm; this one is {aperture_um}.")


@dataclass(frozen=True)
class CurvePoint:
    """Passing measured at one sieve, with its expanded uncertainty where it is known.

    In a figure of another quantity `passing_pct` is that quantity. A corner of a step carries no
    marker; `said` is read out instead of aperture and figure.
    """

    aperture_um: float
    passing_pct: float
    uncertainty_pct: float | None = None
    is_corner: bool = False
    said: str = ""

    def __post_init__(self) -> None:
        _refuse_aperture(self.aperture_um)

    def spread(self) -> tuple[float, float]:
        """Return the ends of the whisker, never outside 0 to 100 %."""
        half = self.uncertainty_pct or 0.0
        return max(0.0, self.passing_pct - half), min(100.0, self.passing_pct + half)


@dataclass(frozen=True)
class Curve:
    """One distribution; `fitted` marks a model's smooth line, drawn without markers.

    `look` is the place of its style among the curves; its own place unless given, so that a
    fitted line can wear the style of what it was fitted to.
    """

    label: str
    points: tuple[CurvePoint, ...]
    fitted: bool = False
    look: int | None = None

    def drawn(self) -> tuple[CurvePoint, ...]:
        """Return the points that have a figure, coarse to fine (an empty row leaves a gap)."""
        known = [point for point in self.points if math.isfinite(point.passing_pct)]
        return tuple(sorted(known, key=lambda point: -point.aperture_um))


@dataclass(frozen=True)
class BandLimit:
    """The limits at one specified sieve; None where the specification is silent."""

    aperture_um: float
    minimum_pct: float | None
    maximum_pct: float | None

    def __post_init__(self) -> None:
        _refuse_aperture(self.aperture_um)

    def described(self) -> str:
        """Return the limits in words."""
        if self.minimum_pct is None and self.maximum_pct is None:
            return "no limits"
        if self.minimum_pct is None:
            return f"at most {self.maximum_pct:g} %"
        if self.maximum_pct is None:
            return f"at least {self.minimum_pct:g} %"
        return f"{self.minimum_pct:g} to {self.maximum_pct:g} %"

    def lower(self) -> float:
        """Return the lower edge of the band here; nothing asked means from 0."""
        return 0.0 if self.minimum_pct is None else self.minimum_pct

    def upper(self) -> float:
        """Return the upper edge of the band here; nothing asked means up to 100."""
        return 100.0 if self.maximum_pct is None else self.maximum_pct


@dataclass(frozen=True)
class Band:
    """A specification envelope, known only at its specified sieves."""

    label: str
    limits: tuple[BandLimit, ...]

    def ordered(self) -> tuple[BandLimit, ...]:
        """Return the limits coarse to fine."""
        return tuple(sorted(self.limits, key=lambda limit: -limit.aperture_um))


@dataclass(frozen=True)
class FailingPoint:
    """A point outside its limit, with the words written beside it."""

    aperture_um: float
    passing_pct: float
    side: Side
    text: str

    def __post_init__(self) -> None:
        _refuse_aperture(self.aperture_um)


@dataclass(frozen=True)
class SieveName:
    """A sieve as the trade writes it, for the top edge of the chart."""

    aperture_um: float
    name: str

    def __post_init__(self) -> None:
        _refuse_aperture(self.aperture_um)


@dataclass(frozen=True)
class GradationFigure:
    """Everything that one gradation chart shows."""

    title: str
    curves: tuple[Curve, ...] = ()
    band: Band | None = None
    target: Curve | None = None
    failing: tuple[FailingPoint, ...] = ()
    sieves: tuple[SieveName, ...] = ()
    scale: Scale = Scale.LOG
    direction: Direction = Direction.FINE_LEFT
    retained_axis: bool = False
    quantity: Quantity = Quantity.PASSING
    against: str = ""
    """The name of the reference that differences are taken from."""

    def apertures_um(self) -> Iterator[float]:
        """Yield every aperture that must lie inside the axis."""
        for curve in (*self.curves, *((self.target,) if self.target else ())):
            yield from (point.aperture_um for point in curve.points)
        yield from (limit.aperture_um for limit in (self.band.limits if self.band else ()))
        yield from (sieve.aperture_um for sieve in self.sieves)

    def described(self) -> str:
        """Return the chart in one sentence, for those who cannot see it."""
        parts = [f"{self.title}: {self._upright()} against aperture"]
        parts += [f"{curve.label}, {len(curve.drawn())} points" for curve in self.curves]
        if self.band:
            parts.append(f"envelope {self.band.label}")
        parts += [point.text for point in self.failing]
        return "; ".join(parts) + "."

    def _upright(self) -> str:
        return {
            Quantity.PASSING: "percent passing",
            Quantity.RETAINED: "percent retained on each sieve",
            Quantity.DENSITY: "density in percent per decade of size",
            Quantity.DIFFERENCE: f"difference in passing from {self.against}",
        }[self.quantity]
