"""The same run with another curve: what would have been found with other passing values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import Impossible
from gradation.science.gradation import Gradation


def with_passing(gradation: Gradation, passing: ArrayLike) -> Gradation:
    """Give a run with other passing values and all else as it was.

    Parameters
    ----------
    gradation : Gradation
        one run, n sieves
    passing : array_like, (n,)
        the other passing values, 0 to 1, coarse to fine

    Returns
    -------
    Gradation
        the same basis, 100 % and sieving loss; masses and shares that belong to the curve

    Raises
    ------
    Impossible
        when the curve rises towards finer sieves or has another number of points

    Notes
    -----
    What leaves one sieve goes to the next finer one or the pan: R_i = P_(i-1) - P_i, and the
    pan moves as much as the finest passing. Loss and wash loss stay.

    References
    ----------
    ISO 9276-1 (retained as the step of the cumulative curve; from memory).

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> run = gradation([400, 200], [10.0, 40.0, 50.0], 100.0)
    >>> with_passing(run, [0.9, 0.45]).retained.round(3).tolist()
    [0.1, 0.45, 0.45]
    """
    curve = np.asarray(passing, dtype=np.float64)
    if curve.shape != gradation.passing.shape or np.any(np.diff(curve) > 0):
        raise Impossible("The other curve rises towards finer sieves, which no material does.")
    moved = curve[-1] - gradation.passing[-1]
    steps = -np.diff(curve, prepend=1.0)
    pan_g = gradation.retained_g[-1] + moved * gradation.base_g
    return replace(
        gradation,
        passing=curve,
        cumulative_retained=1.0 - curve,
        retained=np.append(steps, gradation.retained[-1] + moved),
        retained_g=np.append(steps * gradation.base_g, pan_g),
    )
