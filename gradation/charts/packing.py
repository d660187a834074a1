"""Long rows of numbers as plotly.js takes them in few bytes: binary in base64, or a step."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from typing import Any

import numpy as np

__all__ = ["SHORT", "places", "values"]

#: Rows up to so many numbers stay plain, so that a page can be read.
SHORT = 400


def places(at: Sequence[int]) -> dict[str, Any]:
    """Give points counted from 0 as the keys of a trace: a first one and a step, if they follow.

    >>> places([7, 8, 9])
    {'x': [7, 8, 9]}
    >>> places(range(10, 1000))
    {'x0': 10, 'dx': 1}
    """
    if len(at) <= SHORT:
        return {"x": list(at)}
    numbers = np.asarray(at)
    if (np.diff(numbers) == 1).all():
        return {"x0": at[0], "dx": 1}
    return {"x": _packed(numbers, "u2" if numbers.max() < 2**16 else "u4")}


def values(found: Sequence[float]) -> list[float] | dict[str, str]:
    """Give figures as a list, or binary with the seven digits of single precision."""
    if len(found) <= SHORT:
        return list(found)
    return _packed(np.asarray(found), "f4")


def _packed(numbers: np.ndarray[Any, Any], kind: str) -> dict[str, str]:
    # Little-endian: what every browser's typed arrays are.
    return {"dtype": kind, "bdata": b64encode(numbers.astype(f"<{kind}").tobytes()).decode()}
