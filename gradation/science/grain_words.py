"""Verbal classes of grain-size statistics: size of the mean, sorting, skewness, kurtosis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gradation.science.classification.fractions import grain_class
from gradation.science.errors import OutOfRange
from gradation.science.moments import FolkWard, Moments, Scale, phi_to_um
from gradation.science.tables import read_table

WORD_DECIMALS = 9  # binary noise is cut off before a value is compared with a class limit


@dataclass(frozen=True, slots=True)
class GrainWords:
    """Verbal classes of one run; '' where the measure is not known."""

    mean: str
    sorting: str
    skewness: str
    kurtosis: str


def grain_word(measure: str, value: float) -> str:
    """Verbal class of a graphic measure.

    Parameters
    ----------
    measure : str
        "sorting" (in phi), "skewness" or "kurtosis".
    value : float
        Its value.

    Returns
    -------
    str
        The word; '' for nan.

    Raises
    ------
    OutOfRange
        When the measure has no verbal classes.

    Notes
    -----
    The source leaves open to which class a value on a limit belongs; here it belongs to the
    class further from 0 (sorting 0.50 is moderately well sorted, skewness -0.10 is
    coarse-skewed). This is our own choice.

    References
    ----------
    R. L. Folk, Petrology of Sedimentary Rocks; US Geological Survey note on grain-size
    statistics (sorting). Limits stand in `data/grain_words.csv`.

    Examples
    --------
    >>> grain_word("sorting", 0.64), grain_word("skewness", 0.13), grain_word("kurtosis", 0.84)
    ('moderately well sorted', 'fine-skewed', 'platykurtic')
    """
    rows = [row for row in read_table("grain_words") if row["measure"] == measure]
    if not rows:
        raise OutOfRange(f"There are no verbal classes for {measure!r}.")
    rounded = round(float(value), WORD_DECIMALS)
    for row in rows:
        lower = float(row["lower"] or "-inf")
        upper = float(row["upper"] or "inf")
        is_inside = lower < rounded <= upper if rounded < 0 else lower <= rounded < upper
        if is_inside:
            return row["word"]
    return ""


def folk_ward_words(measures: FolkWard) -> GrainWords:
    """Verbal classes of the graphic measures of one run.

    Parameters
    ----------
    measures : FolkWard
        Measures of a single run.

    Returns
    -------
    GrainWords
        Grain class of the mean (Udden-Wentworth) and the words of Folk; '' where not known.

    Raises
    ------
    OutOfRange
        When the measures belong to several runs.

    Notes
    -----
    A mean exactly on a class limit belongs to the finer class, as what passes a sieve does.

    References
    ----------
    R. L. Folk, Petrology of Sedimentary Rocks; C. K. Wentworth, J. Geology 30 (1922) 377.

    Examples
    --------
    >>> from gradation.science.moments import folk_ward
    >>> words = folk_ward_words(folk_ward([0.7, 1.2, 1.5, 2.1, 2.5, 2.8, 3.3]))
    >>> words.mean, words.sorting
    ('fine sand', 'moderately sorted')
    """
    if np.ndim(measures.mean_phi) != 0:
        raise OutOfRange("Verbal classes are given for one run at a time.")
    return GrainWords(
        mean=grain_class(float(measures.mean_um)),
        sorting=grain_word("sorting", float(measures.sorting_phi)),
        skewness=grain_word("skewness", float(measures.skewness)),
        kurtosis=grain_word("kurtosis", float(measures.kurtosis)),
    )


def moment_words(measures: Moments) -> GrainWords:
    """Verbal classes of the phi moment measures of one run.

    Parameters
    ----------
    measures : Moments
        Measures of a single run on the phi scale.

    Returns
    -------
    GrainWords
        Grain class of the mean, sorting by Folk's limits, tail and peak in plain words.

    Raises
    ------
    OutOfRange
        When the measures belong to several runs or stand on another scale.

    Notes
    -----
    Folk's limits of skewness and kurtosis hold for the graphic measures only. Moment skewness
    is therefore told by its sign alone, moment kurtosis against 3, the value of a normal
    distribution in phi.

    References
    ----------
    R. L. Folk, Petrology of Sedimentary Rocks (sorting); sign and normal value: definition.

    Examples
    --------
    >>> from gradation.science.density import SizeClasses
    >>> from gradation.science.moments import moment_measures
    >>> classes = SizeClasses(np.array([500.0, 250.0]), np.array([1000.0, 500.0]),
    ...                       np.array([0.5, 0.5]))
    >>> words = moment_words(moment_measures(classes))
    >>> words.mean, words.sorting, words.skewness
    ('medium sand', 'moderately well sorted', 'symmetrical')
    """
    if measures.scale is not Scale.PHI or np.ndim(measures.mean) != 0:
        raise OutOfRange("Verbal classes are given for one run at a time, on the phi scale.")
    return GrainWords(
        mean=grain_class(float(phi_to_um(measures.mean))),
        sorting=grain_word("sorting", float(measures.standard_deviation)),
        skewness=_by_sign(
            measures.skewness, "tail of coarse grains", "symmetrical", "tail of fines"
        ),
        kurtosis=_by_sign(
            measures.kurtosis - 3.0, "flatter than normal", "as normal", "more peaked than normal"
        ),
    )


def _by_sign(value: NDArray[np.float64], below: str, at: str, above: str) -> str:
    number = round(float(value), WORD_DECIMALS)
    if np.isnan(number):
        return ""
    if number == 0:
        return at
    return above if number > 0 else below
