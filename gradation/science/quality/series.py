"""The check every series of values passes before it is charted, tested or compared."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import NotDeterminable

FloatArray = NDArray[np.float64]


def checked_series(values: ArrayLike, at_least: int) -> FloatArray:
    """Values as a one-dimensional array of numbers, or a refusal.

    Parameters
    ----------
    values : array_like, (n,)
        values in order of time
    at_least : int
        fewest values that will do

    Returns
    -------
    ndarray, (n,)
        the values

    Raises
    ------
    NotDeterminable
        for too few values or one that is not a number

    Notes
    -----
    Gaps must be left out before, so that a chart shows what was measured and nothing else.

    References
    ----------
    None; a check of the input.

    Examples
    --------
    >>> checked_series([1, 2], at_least=2).tolist()
    [1.0, 2.0]
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1 or series.size < at_least:
        raise NotDeterminable(
            f"There are too few values: {series.size if series.ndim == 1 else 'no single row'} "
            f"where {at_least} or more are needed."
        )
    if not np.all(np.isfinite(series)):
        position = int(np.argmin(np.isfinite(series))) + 1
        raise NotDeterminable(f"Value {position} is not a number; leave it out or complete it.")
    return series
