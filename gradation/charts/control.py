"""The one model of a control chart, drawn on screen and on paper.

Points stand in the order of time, one step apart, as run rules count them; the marks along the
foot say the days. Above the level, below its scatter where there is such a chart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import chain

from gradation.charts.series import Mark, Span, span_of

__all__ = ["Bound", "BoundKind", "ControlFigure", "Event", "Flagged", "Panel", "Track"]


class BoundKind(StrEnum):
    """What a line across the chart stands for."""

    CENTRE = "centre"
    LIMIT = "limit"
    SPECIFICATION = "specification"


@dataclass(frozen=True)
class Bound:
    """A line across the chart; straight, or changing from point to point."""

    kind: BoundKind
    text: str
    at: tuple[float, ...]
    value: tuple[float, ...]


@dataclass(frozen=True)
class Track:
    """The points of one group, as many as are drawn; `said` is empty where there are too many."""

    label: str
    at: tuple[int, ...]
    value: tuple[float, ...]
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Flagged:
    """All points at which one rule was broken, with the rule's sentence."""

    reason: str
    at: tuple[int, ...]
    value: tuple[float, ...]
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Panel:
    """One of the pair of charts."""

    title: str
    tracks: tuple[Track, ...] = ()
    flagged: tuple[Flagged, ...] = ()
    bounds: tuple[Bound, ...] = ()

    def values(self) -> Iterator[float]:
        """Yield everything that must lie between foot and top."""
        yield from chain.from_iterable(track.value for track in self.tracks)
        yield from chain.from_iterable(each.value for each in self.flagged)
        yield from chain.from_iterable(bound.value for bound in self.bounds)

    def span(self) -> Span:
        """Return how far the panel reaches from foot to top."""
        least = max((abs(value) for value in self.values()), default=1.0) * 0.01 or 1.0
        return span_of(self.values(), room=0.1, least=least)


@dataclass(frozen=True)
class Event:
    """Something that happened between the points, such as a new sieve: from here on."""

    at: float
    kind: str
    words: str


@dataclass(frozen=True)
class ControlFigure:
    """Everything that one control chart shows."""

    title: str
    along_title: str
    count: int
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...] = ()
    events: tuple[Event, ...] = ()

    def along(self) -> Span:
        """Return how far the chart reaches along its foot."""
        return span_of(iter((0.0, float(max(self.count - 1, 0)))), room=0.02)

    def described(self) -> str:
        """Return the chart in one sentence, for those who cannot see it."""
        parts = [f"{self.title}: {self.count} points"]
        for panel in self.panels:
            parts += [f"{panel.title}: {bound.text}" for bound in panel.bounds]
            parts += [f"{len(each.at)} points: {each.reason}" for each in panel.flagged]
        return "; ".join(part.rstrip(".") for part in parts) + "."
