"""Where a mistake at the bench shows in the curve: which points move, and which way.

Public: `BenchError`, `Direction`, `landing`, `landing_sentence`. The facts are in
`data/error_landing.csv`, each with its source.
"""

from collections.abc import Mapping
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.apertures import designation
from gradation.science.errors import OutOfRange
from gradation.science.gradation import Basis
from gradation.science.tables import read_table


class BenchError(StrEnum):
    """What went wrong; the position is the row of the sieve concerned, coarse to fine."""

    OVERSIZE_SIEVE = "oversize_sieve"
    UNDERSIZE_SIEVE = "undersize_sieve"
    OVERLOAD = "overload"
    BLINDED_SIEVE = "blinded_sieve"
    DAMP = "damp"
    SHORT_TIME = "short_time"
    MISSED_WASH = "missed_wash"
    LOST_FROM_SIEVE = "lost_from_sieve"
    LOST_FINES = "lost_fines"
    FRACTION_TOO_HEAVY = "fraction_too_heavy"
    DRY_MASS_TOO_HIGH = "dry_mass_too_high"
    SWAPPED_ROWS = "swapped_rows"
    SWAPPED_SIEVES = "swapped_sieves"


class Direction(StrEnum):
    """How the recorded passing stands to the true one."""

    TOO_FINE = "too_fine"
    TOO_COARSE = "too_coarse"
    UNCHANGED = "unchanged"
    EITHER = "either"


_WORDS = {
    Direction.TOO_FINE: "too much passing",
    Direction.TOO_COARSE: "too little passing",
    Direction.UNCHANGED: "unchanged",
    Direction.EITHER: "changed one way or the other",
}


def _row(error: BenchError, basis: Basis) -> Mapping[str, str]:
    """Give the row of the table for an error under a basis."""
    rows = [row for row in read_table("error_landing") if row["error"] == error.value]
    return next(row for row in rows if row["basis"] in ("any", basis.value))


def landing(error: BenchError, position: int, count: int, basis: Basis) -> NDArray[np.object_]:
    """Give, for each passing value, whether and which way a mistake moves it.

    Parameters
    ----------
    error : BenchError
        what went wrong
    position : int
        row of the sieve concerned, 0 for the coarsest [pure number]; for mistakes of the whole run
        any row does
    count : int
        number of sieves n [pure number]
    basis : Basis
        what 100 % is

    Returns
    -------
    ndarray of Direction, (n,)
        the recorded passing compared with the true one, coarse to fine

    Raises
    ------
    OutOfRange
        when there is no such row

    Notes
    -----
    Directions hold for points that carry mass: a point with nothing retained above it stays at
    100 % and cannot move.

    References
    ----------
    `data/error_landing.csv`, a source in each row.

    Examples
    --------
    >>> landing(BenchError.OVERLOAD, 1, 3, Basis.INITIAL_DRY).tolist()
    [<Direction.UNCHANGED: 'unchanged'>, <Direction.TOO_COARSE: 'too_coarse'>, \
<Direction.TOO_COARSE: 'too_coarse'>]
    """
    if not 0 <= position < count:
        raise OutOfRange(f"There is no sieve in row {position + 1} of a nest of {count}.")
    row = _row(error, basis)
    coarser, this, finer = (Direction(row[place]) for place in ("coarser", "this", "finer"))
    directions = [coarser] * position + [this] + [finer] * (count - position - 1)
    return np.array(directions, dtype=object)


def landing_sentence(
    error: BenchError, apertures_um: ArrayLike, position: int, basis: Basis
) -> str:
    """Give one sentence for the bench or for impact work: what moves, which way, and why.

    Parameters
    ----------
    error : BenchError
        what went wrong
    apertures_um : array_like, (n,)
        apertures, coarse to fine [µm]
    position : int
        row of the sieve concerned, 0 for the coarsest [pure number]
    basis : Basis
        what 100 % is

    Returns
    -------
    str
        a sentence in the words of the trade

    Raises
    ------
    OutOfRange
        when there is no such row

    Notes
    -----
    Names the sieve as the trade writes it; says 'coarser points', 'finer points' where they move.

    References
    ----------
    `data/error_landing.csv`, a source in each row.

    Examples
    --------
    >>> landing_sentence(BenchError.OVERSIZE_SIEVE, [500, 250, 125], 1, Basis.INITIAL_DRY)
    'At 250 µm: too much passing; coarser points: unchanged; finer points: unchanged \
(torn, stretched or worn cloth lets grains above the named size through; the next sieves catch \
them).'
    """
    sizes = np.asarray(apertures_um)
    landing(error, position, sizes.size, basis)
    row = _row(error, basis)
    parts = [f"At {designation(float(sizes[position]))}: {_WORDS[Direction(row['this'])]}"]
    if position > 0:
        parts.append(f"coarser points: {_WORDS[Direction(row['coarser'])]}")
    if position < sizes.size - 1:
        parts.append(f"finer points: {_WORDS[Direction(row['finer'])]}")
    return f"{'; '.join(parts)} ({row['cause']})."
