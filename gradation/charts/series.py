"""The one model of a chart of values against uses or time, drawn on screen and on paper.

An aperture, a tare or a control value over the life of an item, with the lines it must keep
within and, where the checks show one, its trend and where that meets a line. Days are counted as
`date.toordinal` counts them, so that one axis serves uses and days.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Along(StrEnum):
    """What runs along the foot of the chart."""

    USES = "uses"
    TIME = "time"


class LevelKind(StrEnum):
    """What a level line stands for."""

    LIMIT = "limit"
    NOMINAL = "nominal"


@dataclass(frozen=True)
class SeriesPoint:
    """One value found, with its expanded uncertainty and what is said of it."""

    at: float
    value: float
    said: str
    uncertainty: float | None = None
    is_outside: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.at) and math.isfinite(self.value)):
            raise ValueError(f"A point of a series needs two figures; this one says {self.said}.")

    def spread(self) -> tuple[float, float]:
        """Return the ends of the whisker."""
        half = self.uncertainty or 0.0
        return self.value - half, self.value + half


@dataclass(frozen=True)
class Series:
    """Values of one kind, in the order they were found."""

    label: str
    points: tuple[SeriesPoint, ...]
    joined: bool = True


@dataclass(frozen=True)
class Level:
    """A line across the chart: a limit, or the nominal value."""

    value: float
    text: str
    kind: LevelKind = LevelKind.LIMIT


@dataclass(frozen=True)
class Reach:
    """Where a trend meets a limit, with its interval; None where it is open on that side."""

    at: float
    earliest: float | None
    latest: float | None
    text: str


@dataclass(frozen=True)
class Trend:
    """The straight line through the points, its band, and where it meets a limit."""

    label: str
    line: tuple[tuple[float, float], ...]
    band: tuple[tuple[float, float, float], ...] = ()
    reach: Reach | None = None


@dataclass(frozen=True)
class SeriesFigure:
    """Everything that one chart of a series shows."""

    title: str
    along_title: str
    value_title: str
    series: tuple[Series, ...] = ()
    levels: tuple[Level, ...] = ()
    trend: Trend | None = None
    along: Along = Along.USES
    marks: tuple["Mark", ...] = ()
    """Names along the foot, where places are kinds and not figures."""

    @property
    def has_words_beside(self) -> bool:
        """Say whether words on levels stand beyond the right end: kinds fill the whole width."""
        return bool(self.marks and self.levels)

    def places(self) -> Iterator[float]:
        """Yield everything that must lie along the foot."""
        yield from (point.at for each in self.series for point in each.points)
        if self.trend:
            yield from (at for at, _ in self.trend.line)
            reach = self.trend.reach
            yield from () if reach is None else (reach.at,)

    def values(self) -> Iterator[float]:
        """Yield everything that must lie between foot and top."""
        for each in self.series:
            yield from (end for point in each.points for end in point.spread())
        yield from (level.value for level in self.levels)
        yield from (value for _, value in (self.trend.line if self.trend else ()))

    def described(self) -> str:
        """Return the chart in one sentence, for those who cannot see it."""
        parts = [f"{self.title}: {self.value_title} against {self.along_title}"]
        parts += [f"{each.label}, {len(each.points)} values" for each in self.series]
        parts += [level.text for level in self.levels]
        if self.trend and self.trend.reach:
            parts.append(self.trend.reach.text)
        return "; ".join(parts) + "."


@dataclass(frozen=True)
class Mark:
    """One mark of an axis: where it stands and what is written."""

    at: float
    text: str


@dataclass(frozen=True)
class Span:
    """From where to where an axis runs."""

    low: float
    high: float

    def share(self, at: float) -> float:
        """Return the place of a figure, 0 at the low end and 1 at the high end."""
        return (at - self.low) / (self.high - self.low)


def span_of(figures: Iterator[float], *, room: float = 0.06, least: float = 1.0) -> Span:
    """Return a span that holds all figures, with room at both ends."""
    known = list(figures) or [0.0]
    low, high = min(known), max(known)
    spare = max((high - low) * room, least / 2 if high == low else 0.0)
    return Span(low - spare, high + spare)


def spans_of(figure: SeriesFigure) -> tuple[Span, Span]:
    """Return how far the figure reaches along its foot and from foot to top."""
    least_value = max((abs(value) for value in figure.values()), default=1.0) * 0.01 or 1.0
    return span_of(figure.places()), span_of(figure.values(), room=0.1, least=least_value)


def even_marks(span: Span, most: int = 7) -> tuple[Mark, ...]:
    """Return marks at round figures: steps of 1, 2 or 5 times a power of ten."""
    rough = (span.high - span.low) / most
    decade = 10.0 ** math.floor(math.log10(rough))
    step = next(times * decade for times in (1, 2, 5, 10) if times * decade >= rough)
    decimals = max(0, -math.floor(math.log10(step)))
    first, last = math.ceil(span.low / step), math.floor(span.high / step)
    return tuple(Mark(i * step, _written(i * step, decimals)) for i in range(first, last + 1))


def _written(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}".replace("-", "\u2212")


_MONTHS_APART = (1, 2, 3, 6, 12, 24, 60, 120)


def day_marks(span: Span, most: int = 7) -> tuple[Mark, ...]:
    """Return marks on first days of months, as many months apart as there is room for."""
    first, last = (date.fromordinal(max(1, int(end))) for end in (span.low, span.high))
    months = (last.year - first.year) * 12 + last.month - first.month
    apart = next((it for it in _MONTHS_APART if months / it <= most), _MONTHS_APART[-1])
    begun = first.year * 12 + first.month - 1
    counts = range(begun - begun % apart, begun + months + 1, apart)
    days = [date(count // 12, count % 12 + 1, 1) for count in counts]
    shown = [day for day in days if span.low <= day.toordinal() <= span.high]
    return tuple(Mark(day.toordinal(), f"{day:%b %Y}") for day in shown)


def along_marks(figure: SeriesFigure, span: Span) -> tuple[Mark, ...]:
    """Return the marks along the foot."""
    if figure.marks:
        return figure.marks
    return day_marks(span) if figure.along is Along.TIME else even_marks(span)
