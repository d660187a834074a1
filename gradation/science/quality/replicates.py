"""Mean of replicate results, with outlier test and a verdict on their repeatability."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange, UnknownName
from gradation.science.quality.outliers import OutlierTest, OutlierVerdict, examine
from gradation.science.quality.series import FloatArray, checked_series
from gradation.science.tables import read_table


class Operators(StrEnum):
    """Who made the results compared: one operator, or several laboratories."""

    SINGLE_OPERATOR = "single-operator"
    MULTILABORATORY = "multilaboratory"


@dataclass(frozen=True, slots=True)
class ReplicateAssessment:
    """Replicate results of one figure.

    Parameters
    ----------
    mean, median : float
        of all results, none left out
    standard_deviation : float | None
        dividing by n - 1; None for a single result
    spread : float
        largest less smallest
    critical_range : float | None
        spread exceeded in one case of twenty; None when no repeatability is known
    is_repeatable : bool | None
        whether the spread stays within it; None when it cannot be told
    outlier_tests : tuple of OutlierTest
        from three results on
    sentence : str
        the verdict in words
    """

    mean: float
    median: float
    standard_deviation: float | None
    spread: float
    critical_range: float | None
    is_repeatable: bool | None
    outlier_tests: tuple[OutlierTest, ...]
    sentence: str


@cache
def critical_range_factor(results: int, probability: float = 0.95) -> float:
    """Factor from repeatability to the range that replicates stay within.

    Parameters
    ----------
    results : int
        number of results, >= 2
    probability : float
        probability of staying within, between 0 and 1

    Returns
    -------
    float
        range over standard deviation; 2.8 for two results, 3.3 for three

    Raises
    ------
    OutOfRange
        for fewer than two results or a probability outside 0 to 1

    Notes
    -----
    The point of the range of n standard normals (studentised range, infinite freedom).

    References
    ----------
    ISO 5725-6:1994, clause 4.2, table 1 (rounded to one decimal there).

    Examples
    --------
    >>> [round(critical_range_factor(n), 1) for n in (2, 3, 4, 5)]
    [2.8, 3.3, 3.6, 3.9]
    """
    from scipy.stats import studentized_range

    if results < 2 or not 0 < probability < 1:
        raise OutOfRange("A range needs two results or more and a probability between 0 and 1.")
    return float(studentized_range.ppf(probability, results, np.inf))


def assess_replicates(
    values: ArrayLike, repeatability_sd: float | None = None
) -> ReplicateAssessment:
    """Mean of replicate results, tested for outliers and for repeatability.

    Parameters
    ----------
    values : array_like, (n,)
        results of one figure in any one unit, n >= 1
    repeatability_sd : float, optional
        known standard deviation of repeatability in that unit, > 0

    Returns
    -------
    ReplicateAssessment
        mean, spread and verdicts

    Raises
    ------
    NotDeterminable
        for no value or one that is not a number
    OutOfRange
        for a repeatability of zero or below

    Notes
    -----
    Repeatable when ``largest - smallest <= f(n) s_r`` (`critical_range_factor`). If not, ISO
    5725-6 asks for further tests and, in the end, the median; both means are given and nothing
    is left out of either.

    References
    ----------
    ISO 5725-6:1994, clause 5.2.

    Examples
    --------
    >>> found = assess_replicates([42.0, 43.0], repeatability_sd=0.83)
    >>> found.mean, found.is_repeatable
    (42.5, True)
    """
    series = checked_series(values, at_least=1)
    if repeatability_sd is not None and not repeatability_sd > 0:
        raise OutOfRange("The standard deviation of repeatability must be above zero.")
    n, spread = series.size, float(np.ptp(series))
    judged = n > 1 and repeatability_sd is not None
    critical = critical_range_factor(n) * (repeatability_sd or 0.0) if judged else None
    repeatable = None if critical is None else spread <= critical * (1 + 1e-12)
    tests = examine(series) if n >= 3 else ()
    return ReplicateAssessment(
        mean=float(series.mean()),
        median=float(np.median(series)),
        standard_deviation=float(series.std(ddof=1)) if n > 1 else None,
        spread=spread,
        critical_range=critical,
        is_repeatable=repeatable,
        outlier_tests=tests,
        sentence=_sentence(n, spread, critical, tests),
    )


def assess_replicate_passing(
    passing: ArrayLike, repeatability_sds: ArrayLike | None = None
) -> tuple[ReplicateAssessment, ...]:
    """Replicate gradations, assessed aperture by aperture.

    Parameters
    ----------
    passing : array_like, (k, n)
        one row a replicate: share passing, or percent, at the same n apertures
    repeatability_sds : array_like, (n,), optional
        standard deviation of repeatability at each aperture in the same unit; nan where none
        is known

    Returns
    -------
    tuple of ReplicateAssessment
        one for each aperture

    Raises
    ------
    NotDeterminable
        when rows are missing or unequal, or a value is not a number
    OutOfRange
        for a repeatability of zero or below

    Notes
    -----
    Apertures are tested each on its own, though neighbours go together: a replicate that is
    coarser throughout shows at several.

    References
    ----------
    `assess_replicates`.

    Examples
    --------
    >>> [a.mean for a in assess_replicate_passing([[100.0, 42.0], [100.0, 43.0]])]
    [100.0, 42.5]
    """
    try:
        table = np.asarray(passing, dtype=np.float64)
    except ValueError as error:
        raise NotDeterminable("The replicates were not sieved on the same apertures.") from error
    if table.ndim != 2 or table.size == 0:
        raise NotDeterminable("Replicates are compared aperture by aperture; give one row each.")
    sds = np.full(table.shape[1], np.nan)
    if repeatability_sds is not None:
        sds = np.broadcast_to(np.asarray(repeatability_sds, dtype=np.float64), sds.shape)
    return tuple(
        assess_replicates(column, None if np.isnan(sd) else float(sd))
        for column, sd in zip(table.T, sds, strict=True)
    )


def published_sd_pct(
    passing_pct: ArrayLike,
    aggregate: str,
    operators: Operators = Operators.SINGLE_OPERATOR,
) -> FloatArray:
    """Published standard deviation of the percentage passing of an aggregate.

    Parameters
    ----------
    passing_pct : array_like, (...)
        percentage passing, 0 to 100
    aggregate : str
        'coarse' or 'fine'
    operators : Operators
        one operator or several laboratories

    Returns
    -------
    ndarray, (...)
        standard deviation (1s), in percentage points

    Raises
    ------
    OutOfRange
        for a percentage outside 0 to 100
    UnknownName
        for another aggregate

    Notes
    -----
    Steps of the printed table: a percentage on a boundary belongs to the step above it. The
    table is held from memory for the greater part; see its `source` column.

    References
    ----------
    ASTM C136-14, table 2 (`data/published_precision.csv`).

    Examples
    --------
    >>> float(published_sd_pct(42.5, "fine"))
    0.83
    """
    percent = np.asarray(passing_pct, dtype=np.float64)
    if not np.all((percent >= 0) & (percent <= 100)):
        raise OutOfRange("A percentage passing lies between 0 and 100.")
    steps = [
        row
        for row in read_table("published_precision")
        if row["aggregate"] == aggregate and row["precision"] == operators.value
    ]
    if not steps:
        raise UnknownName(f"No precision is published here for {aggregate!r}: coarse or fine only.")
    steps.sort(key=lambda row: float(row["passing_low"]))
    starts = np.array([float(row["passing_low"]) for row in steps])
    deviations = np.array([float(row["sd_1s"]) for row in steps])
    return np.asarray(deviations[np.searchsorted(starts, percent, side="right") - 1])


def _sentence(n: int, spread: float, critical: float | None, tests: tuple[OutlierTest, ...]) -> str:
    suspected = [test for test in tests if test.verdict is not OutlierVerdict.CORRECT]
    if n == 1:
        text = "A single result; nothing to compare it with."
    elif critical is None:
        text = f"{n} results spread over {spread:.3g}; no repeatability is known to judge by."
    elif spread <= critical * (1 + 1e-12):
        text = f"{n} results spread over {spread:.3g}, within the {critical:.3g} to be expected."
    else:
        text = (
            f"{n} results spread over {spread:.3g}, more than the {critical:.3g} exceeded once in "
            "twenty: test further portions, and look for the cause."
        )
    return " ".join([text, *(test.sentence for test in suspected)])
