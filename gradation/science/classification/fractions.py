"""Fraction tables: a curve split at the size limits of a classification scheme."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.density import NOISE, checked_curve
from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.percentiles import Interpolation, passing_at_size
from gradation.science.tables import read_table

STANDS_IN_WITHIN = 0.01  # 63 µm stands for the limit 62.5 µm: common practice
WORD_DIGITS = 12  # binary noise is cut off before a size is compared with a limit


class LimitSource(StrEnum):
    """Where the passing at a limit comes from."""

    SIEVE = "sieve"
    NEAREST_SIEVE = "nearest_sieve"
    INTERPOLATED = "interpolated"
    BEYOND_NEST = "beyond_nest"


_SOURCES = tuple(LimitSource)


@dataclass(frozen=True, slots=True)
class SizeClass:
    """One row of a scheme; an open end is 0 or infinite."""

    name: str
    symbol: str
    group: str
    lower_um: float
    upper_um: float


class Share(NamedTuple):
    """Share of one class, or of a group, of one run, 0-1.

    `share` is nan when a limit lies beyond the nest; it then lies from `least` to `most`.
    """

    name: str
    symbol: str
    lower_um: float
    upper_um: float
    share: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class FractionTable:
    """Shares of all classes of a scheme, coarse to fine, for one or several runs.

    Parameters
    ----------
    scheme : str
        Name of the scheme.
    classes : tuple of SizeClass, k
        Its classes, coarse to fine.
    passing_least, passing_most : ndarray, (..., k + 1)
        Bounds of the passing at every limit, 1 above the first class and 0 below the last;
        equal where the curve covers the limit.
    limit_sources : tuple of LimitSource, k - 1
        Where the passing at each limit between two classes comes from.
    interpolation : Interpolation
        How the curve was read between the sieves.
    """

    scheme: str
    classes: tuple[SizeClass, ...]
    passing_least: NDArray[np.float64]
    passing_most: NDArray[np.float64]
    limit_sources: tuple[LimitSource, ...]
    interpolation: Interpolation

    @property
    def least(self) -> NDArray[np.float64]:
        """Least possible share of each class, (..., k)."""
        return np.clip(self.passing_least[..., :-1] - self.passing_most[..., 1:], 0.0, None)

    @property
    def most(self) -> NDArray[np.float64]:
        """Largest possible share of each class, (..., k)."""
        return np.clip(self.passing_most[..., :-1] - self.passing_least[..., 1:], 0.0, None)

    @property
    def share(self) -> NDArray[np.float64]:
        """Share of each class, (..., k); nan where the nest does not cover a limit."""
        return np.where(self.most - self.least <= NOISE, self.most, np.nan)

    def rows(self) -> tuple[Share, ...]:
        """One row for each class; one run only."""
        lowest, highest = self._bounds()
        return tuple(
            Share(
                item.name,
                item.symbol,
                item.lower_um,
                item.upper_um,
                *_within(lowest[at] - highest[at + 1], highest[at] - lowest[at + 1]),
            )
            for at, item in enumerate(self.classes)
        )

    def groups(self) -> tuple[Share, ...]:
        """One row for each group (gravel, sand, fines ...), coarse to fine; one run only."""
        places: dict[str, list[int]] = {}
        for place, item in enumerate(self.classes):
            places.setdefault(item.group, []).append(place)
        lowest, highest = self._bounds()
        return tuple(
            Share(
                name,
                "",
                self.classes[at[-1]].lower_um,
                self.classes[at[0]].upper_um,
                *_within(lowest[at[0]] - highest[at[-1] + 1], highest[at[0]] - lowest[at[-1] + 1]),
            )
            for name, at in places.items()
        )

    def _bounds(self) -> tuple[list[float], list[float]]:
        if self.passing_least.ndim != 1:
            raise OutOfRange("Rows of a fraction table are given for one run at a time.")
        return self.passing_least.tolist(), self.passing_most.tolist()


def _within(least: float, most: float) -> tuple[float, float, float]:
    """The share, NaN when it is not known, and its bounds free of noise below nothing."""
    least = 0.0 if least < 0 else least
    most = 0.0 if most < 0 else most
    return most if most - least <= NOISE else math.nan, least, most


@cache
def schemes() -> tuple[str, ...]:
    """Names of the classification schemes.

    Returns
    -------
    tuple of str
        In the order of the table.

    Raises
    ------
    GradationError
        Never.

    Notes
    -----
    The schemes stand in `data/fractions.csv`, each row with its source and how sure it is.

    References
    ----------
    ASTM D2487, ISO 14688-1, Udden-Wentworth, AASHTO M 145, USDA, IS 1498, EN 12620; see the
    table for what was seen and what is from memory.

    Examples
    --------
    >>> "USCS" in schemes()
    True
    """
    return tuple(dict.fromkeys(row["scheme"] for row in read_table("fractions")))


@cache
def _classes(scheme: str) -> tuple[SizeClass, ...]:
    rows = [row for row in read_table("fractions") if row["scheme"] == scheme]
    if not rows:
        known = ", ".join(schemes())
        raise UnknownName(f"There is no scheme of size classes {scheme!r}. Known: {known}.")
    return tuple(
        SizeClass(
            name=row["class"],
            symbol=row["symbol"],
            group=row["group"],
            lower_um=float(row["lower_um"] or "0"),
            upper_um=float(row["upper_um"] or "inf"),
        )
        for row in rows
    )


def grain_class(size_um: float, scheme: str = "Udden-Wentworth") -> str:
    """Name of the class of a scheme in which a size lies.

    Parameters
    ----------
    size_um : float
        Size [µm], > 0.
    scheme : str
        Name of the scheme.

    Returns
    -------
    str
        Name of the class; '' for nan.

    Raises
    ------
    OutOfRange
        When the size is not above 0.
    UnknownName
        When there is no such scheme.

    Notes
    -----
    A class holds what passes its upper limit: lower < size <= upper. A size on a limit thus
    belongs to the finer class.

    References
    ----------
    C. K. Wentworth, J. Geology 30 (1922) 377, and `data/fractions.csv`.

    Examples
    --------
    >>> grain_class(300), grain_class(250), grain_class(300, "USCS")
    ('medium sand', 'fine sand', 'fine sand')
    """
    if size_um <= 0:
        raise OutOfRange("A size must be above 0 µm to have a class.")
    size = float(f"{size_um:.{WORD_DIGITS}g}")
    for item in _classes(scheme):
        if item.lower_um < size <= item.upper_um:
            return item.name
    return ""


def fraction_table(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    scheme: str,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> FractionTable:
    """Shares of the classes of a scheme in one or several curves.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    scheme : str
        Name of the scheme, as in `schemes()`.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    FractionTable
        Shares with their bounds; equal where the nest covers both limits of a class.

    Raises
    ------
    UnknownName
        When there is no such scheme.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Share = passing at the upper limit - passing at the lower limit. A limit is read at its own
    sieve, at a sieve within 1 % of it (63 µm for 62.5 µm: common practice), or between two
    sieves. Beyond the nest nothing is extrapolated: a class has bounds there. A run with a
    missing passing value (nan) has nan where that value is needed.

    References
    ----------
    Limits of the schemes: `data/fractions.csv`.

    Examples
    --------
    >>> table = fraction_table([75000, 4750, 75], [1.0, 0.6, 0.1], "USCS")
    >>> [(row.name, round(row.share, 3)) for row in table.groups()][1:]
    [('gravel', 0.4), ('sand', 0.5), ('fines', 0.1)]
    """
    [table] = fraction_tables(apertures_um, passing, (scheme,), interpolation)
    return table


def fraction_tables(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    schemes: Sequence[str],
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> tuple[FractionTable, ...]:
    """Shares of the classes of several schemes in one or several curves.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    schemes : sequence of str
        Names of the schemes, as in `schemes()`.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    tuple of FractionTable
        One for each scheme, as by `fraction_table`.

    Raises
    ------
    UnknownName
        When there is no such scheme.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    The curve is read once for the limits of all schemes.

    References
    ----------
    As for `fraction_table`.

    Examples
    --------
    >>> tables = fraction_tables([2000, 63], [1.0, 0.1], ["USCS", "ISO 14688-1"])
    >>> [table.scheme for table in tables]
    ['USCS', 'ISO 14688-1']
    """
    apertures, shares = checked_curve(apertures_um, passing)
    limits = _limits_um(tuple(schemes))
    least, most, sources = limit_bounds(apertures, shares, limits, interpolation)
    tables, start = [], 0
    for scheme in schemes:
        classes = _classes(scheme)
        at = slice(start, start + len(classes) - 1)
        start = at.stop
        tables.append(
            FractionTable(
                scheme=scheme,
                classes=classes,
                passing_least=_with_ends(least[..., at]),
                passing_most=_with_ends(most[..., at]),
                limit_sources=sources[at],
                interpolation=interpolation,
            )
        )
    return tuple(tables)


def _with_ends(passing: NDArray[np.float64]) -> NDArray[np.float64]:
    """The passing at the limits of a scheme, with 1 above the first and 0 below the last class."""
    whole = np.empty((*passing.shape[:-1], passing.shape[-1] + 2))
    whole[..., 0], whole[..., 1:-1], whole[..., -1] = 1.0, passing, 0.0
    return whole


@cache
def _limits_um(schemes: tuple[str, ...]) -> NDArray[np.float64]:
    """Limits between the classes of all these schemes, one scheme after the other."""
    return np.array([item.lower_um for scheme in schemes for item in _classes(scheme)[:-1]])


def limit_bounds(
    apertures: NDArray[np.float64],
    shares: NDArray[np.float64],
    limits_um: NDArray[np.float64],
    interpolation: Interpolation,
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[LimitSource, ...]]:
    """Bounds of the passing at size limits, and where each comes from.

    Parameters
    ----------
    apertures : ndarray, (n,)
        Apertures, coarse to fine [µm].
    shares : ndarray, (..., n)
        Passing shares, 0-1.
    limits_um : ndarray, (m,)
        Sizes to read at [µm].
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    tuple
        Least and largest possible passing, each (..., m), and the m sources.

    Raises
    ------
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Above the coarsest sieve passing lies from that of the coarsest sieve to 1; below the finest
    from 0 to that of the finest. Both bounds are equal everywhere else.

    References
    ----------
    A cumulative distribution never falls towards coarser sizes (ISO 9276-1).

    Examples
    --------
    >>> least, most, sources = limit_bounds(np.array([500.0, 250.0]), np.array([0.9, 0.2]),
    ...                                     np.array([500.0, 63.0]), Interpolation.LOG_LINEAR)
    >>> least.tolist(), most.tolist()
    ([0.9, 0.0], [0.9, 0.2])
    """
    read_at, sources = _on_sieves(apertures, limits_um)
    known = passing_at_size(apertures, shares, read_at, interpolation)
    is_above, is_below = read_at > apertures[0], read_at < apertures[-1]
    least = np.where(is_below, 0.0, np.where(is_above, shares[..., :1], known))
    most = np.where(is_above, 1.0, np.where(is_below, shares[..., -1:], known))
    return least, most, sources


def _on_sieves(
    apertures: NDArray[np.float64], limits_um: NDArray[np.float64]
) -> tuple[NDArray[np.float64], tuple[LimitSource, ...]]:
    """Sizes at which the limits are read, and the source of each."""
    return _on_nest(
        np.asarray(apertures, np.float64).tobytes(), np.asarray(limits_um, np.float64).tobytes()
    )


@lru_cache(maxsize=64)
def _on_nest(nest: bytes, limits: bytes) -> tuple[NDArray[np.float64], tuple[LimitSource, ...]]:
    """The same nest meets the same limits in every run of a procedure; worked out once."""
    apertures, limits_um = np.frombuffer(nest), np.frombuffer(limits)
    nearest = apertures[np.argmin(np.abs(np.log(apertures / limits_um[:, np.newaxis])), axis=-1)]
    stands_in = np.abs(nearest - limits_um) <= STANDS_IN_WITHIN * limits_um
    read_at = np.where(stands_in, nearest, limits_um)
    is_inside = (limits_um > apertures[-1]) & (limits_um < apertures[0])
    codes = np.where(nearest == limits_um, 0, np.where(stands_in, 1, np.where(is_inside, 2, 3)))
    return read_at, tuple(map(_SOURCES.__getitem__, codes.tolist()))
