"""Which points of a long series are drawn: few enough to send, none left out that matters."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MOST_POINTS = 2000


def kept_points(
    values: NDArray[np.float64], flagged: NDArray[np.bool_], most: int = MOST_POINTS
) -> NDArray[np.int64]:
    """Return the places of the points to draw, in order: at most about `most`, and all flagged.

    A series that is short enough is kept whole. Of a longer one each stretch keeps its highest
    and its lowest point, so that the drawn band is as wide as the series; the first and the last
    point stay, and so does every flagged one.
    """
    count = values.size
    if count <= most:
        return np.arange(count)
    stretches = most // 2
    edges = np.linspace(0, count, stretches + 1).astype(np.int64)
    longest = int(np.diff(edges).max())
    places = edges[:-1, None] + np.arange(longest)
    is_own = places < edges[1:, None]
    drawn = values[np.minimum(places, count - 1)]
    low = np.where(is_own, drawn, np.inf).argmin(axis=1) + edges[:-1]
    high = np.where(is_own, drawn, -np.inf).argmax(axis=1) + edges[:-1]
    ends = np.array([0, count - 1])
    return np.unique(np.concatenate([ends, low, high, np.flatnonzero(flagged)]))


def corners(values: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the places at which a line of steps must be drawn: where it changes, and its ends."""
    if values.size < 3:
        return np.arange(values.size)
    changes = np.flatnonzero(np.diff(values) != 0)
    return np.unique(np.concatenate([[0, values.size - 1], changes, changes + 1]))
