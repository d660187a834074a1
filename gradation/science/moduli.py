"""Moduli on fixed sets of sieves: fineness modulus, grading number k, AFS grain fineness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.gradation import Gradation
from gradation.science.interpolation import FloatArray, Interpolation
from gradation.science.percentiles import passing_at_size
from gradation.science.tables import read_table


@dataclass(frozen=True, slots=True)
class SieveSet:
    """The sieves an index is defined on, coarse to fine, and the factor of each."""

    name: str
    title: str
    apertures_um: tuple[float, ...]
    factors: tuple[float, ...]
    pan_factor: float


@cache
def sieve_set(name: str) -> SieveSet:
    """Give one of the tabulated sieve sets.

    Parameters
    ----------
    name : str
        `fineness_modulus_astm`, `fineness_modulus_is`, `fineness_modulus_bs`,
        `fineness_modulus_en`, `k_value_de` or `afs_grain_fineness`.

    Returns
    -------
    SieveSet
        Apertures [µm] coarse to fine with their factors.

    Raises
    ------
    UnknownName
        When there is no such set.

    Notes
    -----
    For the moduli every factor is 1.

    References
    ----------
    `data/afs_multipliers.csv`, where each row names its source.

    Examples
    --------
    >>> sieve_set("fineness_modulus_en").apertures_um
    (4000.0, 2000.0, 1000.0, 500.0, 250.0, 125.0)
    """
    table = read_table("afs_multipliers")
    rows = [row for row in table if row["set"] == name]
    if not rows:
        known = ", ".join(dict.fromkeys(row["set"] for row in table))
        raise UnknownName(f"There is no sieve set {name!r}. Known: {known}.")
    sieves = [row for row in rows if float(row["aperture_um"]) > 0]
    pan = [float(row["multiplier"]) for row in rows if float(row["aperture_um"]) == 0]
    return SieveSet(
        name=name,
        title=rows[0]["title"],
        apertures_um=tuple(float(row["aperture_um"]) for row in sieves),
        factors=tuple(float(row["multiplier"]) for row in sieves),
        pan_factor=pan[0] if pan else 0.0,
    )


def fineness_modulus(
    gradation: Gradation,
    apertures_um: tuple[float, ...],
    interpolation: Interpolation | None = None,
    *,
    is_top_closed: bool = False,
) -> FloatArray:
    """Give the fineness modulus on a fixed set of sieves.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    apertures_um : tuple of float
        The sieves of the set [µm], as from `sieve_set`.
    interpolation : Interpolation, optional
        How to read the passing at a sieve of the set that is not in the nest; without it
        such a sieve makes the modulus not determinable.
    is_top_closed : bool
        Whether nothing on the coarsest sieve is taken to be larger than the next coarser
        sieve of the set.

    Returns
    -------
    ndarray, (...)
        Modulus, a pure number; NaN where it cannot be determined.

    Raises
    ------
    OutOfRange
        When the set is empty.

    Notes
    -----
    Sum over the set of the cumulative share retained (that is, of cumulative % / 100). A
    sieve coarser than the nest counts 0 when the coarsest sieve passed everything, one finer
    than the nest counts 1 when the finest sieve passed nothing: both are certain. Sieves of
    the nest outside the set do not count.

    References
    ----------
    ASTM C136-14, 9.2 (public copy); EN 12620:2002+A1:2008, Annex B (two public copies).

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([4000, 2000, 1000], [0.0, 50.0, 50.0, 0.0], 100.0)
    >>> fineness_modulus(g, (4000.0, 2000.0, 1000.0, 500.0)).item()
    2.5
    """
    if not apertures_um:
        raise OutOfRange("A fineness modulus needs a set of sieves.")
    return modulus_of(
        passing_on_set(gradation, apertures_um, interpolation, is_top_closed=is_top_closed)
    )


def modulus_of(passing_on_set: npt.ArrayLike) -> FloatArray:
    """Give the fineness modulus from the passing at every sieve of the set.

    Parameters
    ----------
    passing_on_set : array_like, (..., k)
        Shares passing, 0 to 1, in the order of the set.

    Returns
    -------
    ndarray, (...)
        Modulus, a pure number; NaN where a passing is.

    Raises
    ------
    Nothing
        What is not known comes as NaN and stays NaN.

    Notes
    -----
    Sum of 1 - Q3 over the set, sieve by sieve: the digits of a batch are then those of its
    runs one by one.

    References
    ----------
    As for `fineness_modulus`.

    Examples
    --------
    >>> modulus_of([1.0, 0.5, 0.0]).item()
    1.5
    """
    retained = 1.0 - np.asarray(passing_on_set, dtype=np.float64).T
    return np.asarray(sum(retained[1:], start=retained[0])).T


def passing_on_set(
    gradation: Gradation,
    apertures_um: tuple[float, ...],
    interpolation: Interpolation | None = None,
    *,
    is_top_closed: bool = False,
) -> FloatArray:
    """Give the passing at every sieve of a set, as far as the run tells it.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    apertures_um : tuple of float
        The sieves of the set [µm].
    interpolation : Interpolation, optional
        How to read sieves that are not in the nest; None: not at all.
    is_top_closed : bool
        Whether sieves coarser than the nest are taken to let everything through.

    Returns
    -------
    ndarray, (..., k)
        Shares passing in the order of the set; NaN where the run does not tell.

    Raises
    ------
    OutOfRange
        When an aperture of the set is not above zero.

    Notes
    -----
    Certain without interpolation: sieves of the nest; sieves beyond its ends when nothing
    was retained or passed there; sieves between two that pass the same share.

    References
    ----------
    As for `fineness_modulus`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([4000, 1000], [0.0, 50.0, 50.0], 100.0)
    >>> passing_on_set(g, (8000.0, 4000.0, 2000.0)).tolist()
    [1.0, 1.0, nan]
    """
    wanted = np.asarray(apertures_um, dtype=np.float64)
    if interpolation is not None:
        found = passing_at_size(gradation.apertures_um, gradation.passing, wanted, interpolation)
    elif (wanted > 0).all():
        found = _certain(gradation, wanted)
    else:
        raise OutOfRange("The sieves of a set have apertures above zero.")
    return closed_at_top(gradation, wanted, found) if is_top_closed else found


def closed_at_top(
    gradation: Gradation, apertures_um: npt.ArrayLike, passing: FloatArray
) -> FloatArray:
    """Give the passing on a set when sieves coarser than the nest let everything through.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    apertures_um : array_like, (k,)
        The sieves of the set [µm].
    passing : ndarray, (..., k)
        Shares passing at them, NaN where the run does not tell.

    Returns
    -------
    ndarray, (..., k)
        The same with 1 at every sieve coarser than the nest.

    Raises
    ------
    Nothing
        Other sieves stay as they are.

    Notes
    -----
    An assumption, to be named beside every value that rests on it: the nest was chosen so
    that its coarsest sieve is the coarsest of the set that holds anything.

    References
    ----------
    Common practice: tables of worked examples begin at the coarsest sieve that holds material.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([4000, 2000], [10.0, 60.0, 30.0], 100.0)
    >>> closed_at_top(g, [8000.0, 1000.0], np.array([np.nan, np.nan])).tolist()
    [1.0, nan]
    """
    is_coarser = np.asarray(apertures_um, dtype=np.float64) > gradation.apertures_um[0]
    return np.where(is_coarser, 1.0, passing)


def standard_modulus(
    gradation: Gradation, sets: Sequence[str], interpolation: Interpolation | None = None
) -> FloatArray:
    """Give the modulus on the first of several sets that a run tells it for.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    sets : sequence of str
        Names of sets in order of preference, as for `sieve_set`.
    interpolation : Interpolation, optional
        How to read sieves that are not in the nest; None: not at all.

    Returns
    -------
    ndarray, (...)
        Modulus, a pure number; NaN where no set gives one.

    Raises
    ------
    UnknownName
        When there is no such set.

    Notes
    -----
    Every set is tried as it is before any is tried with its top closed (`closed_at_top`).

    References
    ----------
    As for `fineness_modulus`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([4000, 2000, 1000], [20.0, 30.0, 50.0, 0.0], 100.0)
    >>> round(standard_modulus(g, ["fineness_modulus_en"]).item(), 6)
    4.7
    """
    found = np.full(gradation.passing.shape[:-1], np.nan)
    for is_top_closed in (False, True):
        for name in sets:
            if not np.isnan(found).any():
                return found
            value = fineness_modulus(
                gradation, sieve_set(name).apertures_um, interpolation, is_top_closed=is_top_closed
            )
            found = np.where(np.isnan(found), value, found)
    return found


def _certain(gradation: Gradation, wanted_um: FloatArray) -> FloatArray:
    """Passing at sieves of the nest and between two that pass the same share; else NaN."""
    nest = gradation.apertures_um
    place = np.searchsorted(-nest, -wanted_um)
    is_sieve = nest.take(place, mode="clip") == wanted_um
    edge = gradation.passing.T[:1]
    rows = np.concatenate((np.ones_like(edge), gradation.passing.T, np.zeros_like(edge)))
    coarser, finer = rows.take(place, axis=0).T, rows.take(place + 1, axis=0).T
    return np.where(is_sieve | (coarser == finer), finer, np.nan)


def grain_fineness_number(gradation: Gradation, *, is_top_closed: bool = False) -> FloatArray:
    """Give the AFS grain fineness number of a foundry sand.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch, on the sieves of the AFS set.
    is_top_closed : bool
        Whether nothing on the coarsest sieve is taken to be larger than the next coarser
        sieve of the set.

    Returns
    -------
    ndarray, (...)
        AFS grain fineness number, a pure number; NaN where a sieve of the set that is not in
        the nest could have held material, or another sieve did.

    Raises
    ------
    UnknownName
        When the table of factors is missing.

    Notes
    -----
    sum(m_i f_i) / sum(m_i) over all sieves and the pan, with m_i the mass on sieve i and
    f_i its factor (pan 300). The divisor is the sand recovered: clay washed out before
    sieving is in neither sum. The basis of the percentages does not matter.

    References
    ----------
    AFS 1106 (from memory); factors and apertures as in a public foundry digest citing
    GB/T 9442, see `data/afs_multipliers.csv`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([300, 212, 150], [0.0, 50.0, 50.0, 0.0], 100.0)
    >>> grain_fineness_number(g).item()
    60.0
    """
    table = sieve_set("afs_grain_fineness")
    by_aperture = dict(zip(table.apertures_um, table.factors, strict=True))
    factors = np.asarray(
        [by_aperture.get(float(each), np.nan) for each in gradation.apertures_um]
        + [table.pan_factor]
    )
    masses = gradation.retained_g
    is_unsure = _may_hold_more(gradation, table) | np.isnan(factors)
    if is_top_closed:
        is_unsure[0] = np.isnan(factors[0])
    weighted = (masses * np.where(np.isnan(factors), 0.0, factors)).cumsum(axis=-1)[..., -1]
    number = weighted / masses.cumsum(axis=-1)[..., -1]
    return np.where((is_unsure & (masses > 0)).any(axis=-1), np.nan, number)


def _may_hold_more(gradation: Gradation, table: SieveSet) -> npt.NDArray[np.bool_]:
    """Which fractions, pan last, span a sieve of the set that is not in the nest."""
    nest = gradation.apertures_um
    spans = np.zeros(nest.size + 1, dtype=np.bool_)
    of_set = np.asarray(table.apertures_um)
    place = np.searchsorted(-nest, -of_set)
    spans[place[nest.take(place, mode="clip") != of_set]] = True
    return spans
