"""How well a study of a given size pins down its standard deviations.

Public: `Reliability`, `reliability`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from gradation.science.errors import NotDeterminable
from gradation.science.quality.precision import Precision

FACTOR = 1.96  # ISO 5725-1:1994, clause 6.3.2.2: a probability of 95 %


@dataclass(frozen=True, slots=True)
class Reliability:
    """Relative half-widths within which the estimates lie from the true values, in 95 of 100.

    Parameters
    ----------
    repeatability, reproducibility : float
        of the standard deviations, and so of the limits `r` and `R`, as shares
    """

    repeatability: float
    reproducibility: float


def reliability(found: Precision) -> Reliability:
    """Relative uncertainty of the deviations, and of the limits, that a study found.

    Parameters
    ----------
    found : Precision
        what `precision` gave for one level

    Returns
    -------
    Reliability
        half-widths as shares of the estimates, at 95 %

    Raises
    ------
    NotDeterminable
        when the results do not scatter at all, or no laboratory repeated its test

    Notes
    -----
    With ``p`` laboratories of ``n`` results and ``g = s_R / s_r``::

        A_r = 1.96 sqrt(1 / (2 p (n - 1)))
        A_R = 1.96 sqrt((p (1 + n (g^2 - 1))^2 + (n - 1)(p - 1)) / (2 g^4 n^2 (p - 1) p))

    Derived for equal cells and normal scatter; for unequal cells ``n`` is the mean number of
    replicates of the standard. Above about 0.4 the interval is no longer symmetrical.

    References
    ----------
    ISO 5725-1:1994, clause 6.3.2, equations 9 and 10, tables 1 and 2 (memory).

    Examples
    --------
    >>> from gradation.science.quality.precision import precision
    >>> found = precision(([10.0, 12.0], [11.0, 12.0], [10.5, 11.5]))
    >>> round(reliability(found).repeatability, 2)
    0.8
    """
    p, n = found.laboratories, found.mean_replicates
    if not found.repeatability_sd > 0 or not n > 1:
        raise NotDeterminable("Without scatter between replicates nothing can be said of it.")
    g2 = (found.reproducibility_sd / found.repeatability_sd) ** 2
    top = p * (1 + n * (g2 - 1)) ** 2 + (n - 1) * (p - 1)
    return Reliability(
        repeatability=FACTOR * sqrt(1 / (2 * p * (n - 1))),
        reproducibility=FACTOR * sqrt(top / (2 * g2**2 * n**2 * (p - 1) * p)),
    )
