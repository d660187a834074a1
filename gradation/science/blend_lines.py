"""A blend against its envelope, line by line: how far it lies from every limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.blend_programme import BlendLimits
from gradation.science.errors import Impossible, OutOfRange

NOISE = 1e-9  # what binary arithmetic leaves of a share that lies on its limit


@dataclass(frozen=True, slots=True)
class BlendLine:
    """One aperture of a blend.

    Parameters
    ----------
    aperture_um : float
        aperture [µm]
    passing : float
        share passing of the blend
    lower, upper : float or None
        limits as shares; None where there is none
    margin : float
        distance to the nearer limit that can be broken, negative outside; nan where no limit
        can be broken
    nearer : str
        'lower', 'upper', or ''
    is_inside : bool
        whether both limits are kept; a blend on its limit keeps it
    """

    aperture_um: float
    passing: float
    lower: float | None
    upper: float | None
    margin: float
    nearer: str
    is_inside: bool


def blend_lines(passing: Sequence[float], limits: BlendLimits) -> tuple[BlendLine, ...]:
    """Margins of a blend at every aperture of its envelope.

    Parameters
    ----------
    passing : sequence of float
        share passing of the blend at the apertures of the envelope
    limits : BlendLimits
        the envelope

    Returns
    -------
    tuple of BlendLine
        one for each aperture, coarse to fine

    Raises
    ------
    Impossible
        when there is not one passing for each aperture

    Notes
    -----
    margin = min(P - L, U - P) over the limits that can be broken: at least 0 % and at most
    100 % cannot. Where the limits leave one value only (100 to 100 %), keeping it gives no
    margin and missing it a negative one: the rule of `meet_envelope`.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441 (limits of the linear programme).

    Examples
    --------
    >>> band = BlendLimits((4750, 75), (0.55, 0.0), (0.75, 0.08))
    >>> [(round(line.margin, 3), line.nearer) for line in blend_lines([0.65, 0.05], band)]
    [(0.1, 'lower'), (0.03, 'upper')]
    """
    if len(passing) != len(limits.apertures_um):
        raise Impossible("A blend needs one passing at each aperture of its envelope.")
    rows = zip(limits.apertures_um, passing, limits.lower, limits.upper, strict=True)
    return tuple(_line(*row) for row in rows)


def shares_on_step(shares: ArrayLike, step_pct: Decimal) -> tuple[Decimal, ...]:
    """Shares in percent on a step, adding to exactly 100.

    Parameters
    ----------
    shares : array_like, (k,)
        shares from 0 to 1, adding to 1
    step_pct : Decimal
        step [%] that divides 100, such as 0.1 for printing or 1 for dosing

    Returns
    -------
    tuple of Decimal
        shares [%], each within one step of its exact value

    Raises
    ------
    Impossible
        for shares below zero or that do not add to 1
    OutOfRange
        when the step is not above zero or does not divide 100

    Notes
    -----
    Every share is cut down to the step; the steps left over go to the largest remainders, the
    first of equals first. Rounding each by itself can add to 99.9 or 100.1.

    References
    ----------
    Method of largest remainders (Hamilton's apportionment): Balinski and Young, Fair
    Representation (1982), chapter 3 (from memory).

    Examples
    --------
    >>> [str(share) for share in shares_on_step([1 / 3, 1 / 3, 1 / 3], Decimal("0.1"))]
    ['33.4', '33.3', '33.3']
    """
    exact = np.asarray(shares, dtype=np.float64)
    if exact.ndim != 1 or not np.all(exact >= 0) or abs(float(exact.sum()) - 1) > 1e-6:
        raise Impossible("The shares of a blend cannot be negative and must add to 100 %.")
    if not 0 < step_pct <= 100 or 100 % step_pct:
        raise OutOfRange("A step of shares must be above 0 % and divide 100 %, such as 0.5 or 1.")
    steps = int(100 / step_pct)
    wanted = np.round(exact / exact.sum() * steps, 9)
    counts = np.floor(wanted).astype(int)
    by_remainder = sorted(range(exact.size), key=lambda place: counts[place] - wanted[place])
    for place in by_remainder[: steps - int(counts.sum())]:
        counts[place] += 1
    return tuple(int(count) * step_pct for count in counts)


def _line(
    aperture_um: float, passing: float, lower: float | None, upper: float | None
) -> BlendLine:
    margins = []
    if lower is not None and lower > 0:
        margins.append((passing - lower, "lower"))
    if upper is not None and upper < 1:
        margins.append((upper - passing, "upper"))
    margin, nearer = min(margins, default=(math.nan, ""))
    is_inside = all(each >= -NOISE for each, _ in margins)
    if is_inside and _is_rigid(lower, upper):
        margin, nearer = math.nan, ""
    return BlendLine(aperture_um, passing, lower, upper, margin, nearer, is_inside)


def _is_rigid(lower: float | None, upper: float | None) -> bool:
    """Whether the line can be met only exactly."""
    return lower is not None and (lower >= 1 or (upper is not None and upper <= lower))
