"""From masses on sieves to the gradation: retained, cumulative, passing, loss, splits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from gradation.science.errors import Impossible

FloatArray = npt.NDArray[np.float64]

# Shares this close to nothing are what double precision leaves of an exact zero.
NOISE = 1e-12


class Basis(StrEnum):
    """What the percentages are percentages of."""

    INITIAL_DRY = "initial_dry"
    SUM_OF_FRACTIONS = "sum_of_fractions"


@dataclass(frozen=True, slots=True)
class Gradation:
    """The gradation of one run, or of many with the same nest (leading batch axes)."""

    apertures_um: FloatArray
    """(n,) apertures of the nest [µm], coarse to fine."""
    retained_g: FloatArray
    """(..., n+1) mass on each sieve, pan last [g]; the wash loss is not in it."""
    basis: Basis
    dry_mass_g: FloatArray
    """(...) dry mass before washing [g]; NaN when it was not weighed."""
    washed_dry_mass_g: FloatArray | None
    """(...) dry mass after washing [g]; None for a run that was not washed."""
    wash_loss_g: FloatArray
    """(...) mass washed out [g]; zero for a run that was not washed."""
    base_g: FloatArray
    """(...) the mass that is 100 % [g]."""
    retained: FloatArray
    """(..., n+1) share retained on each sieve; the pan's share includes the wash loss."""
    cumulative_retained: FloatArray
    """(..., n) share coarser than each aperture; above 1 only where mass was gained."""
    passing: FloatArray
    """(..., n) share finer than each aperture, 0 to 1."""
    loss_g: FloatArray
    """(...) mass shaken minus mass recovered [g]; negative for a gain."""
    loss: FloatArray
    """(...) loss as a share of the mass shaken; NaN when that was not weighed."""

    @property
    def fines(self) -> FloatArray:
        """(...) share washed out or found in the pan."""
        return np.asarray(self.retained[..., -1])


def gradation(
    apertures_um: npt.ArrayLike,
    retained_g: npt.ArrayLike,
    dry_mass_g: npt.ArrayLike | None = None,
    washed_dry_mass_g: npt.ArrayLike | None = None,
    basis: Basis = Basis.INITIAL_DRY,
) -> Gradation:
    """Give the gradation that the masses of a sieving amount to.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures of the nest [µm], > 0, in any order, none twice.
    retained_g : array_like, (..., n+1)
        Mass on each sieve [g], in the order of the apertures, then the pan; >= 0.
    dry_mass_g : array_like, (...), optional
        Dry mass before washing [g], > 0. Needed for the basis `initial_dry`.
    washed_dry_mass_g : array_like, (...), optional
        Dry mass after washing [g], > 0, when the material was washed.
    basis : Basis
        What 100 % is.

    Returns
    -------
    Gradation
        Arrays coarse to fine, whatever the order of entry.

    Raises
    ------
    Impossible
        When an aperture is repeated or not positive, a mass is negative or missing, nothing
        was recovered, the dry mass is missing for `initial_dry`, or the dry mass after
        washing exceeds the one before.

    Notes
    -----
    With R_i the mass on sieve i, M1 the dry mass before and M2 after washing, P the pan:

    - `initial_dry`: Q3_i = 1 - sum(R_1..R_i) / M1. The sieving loss thus counts as finer
      than the finest sieve, like the wash loss M1 - M2. retained + loss_g/M1 sums to 1.
    - `sum_of_fractions`: Q3_i = 1 - sum(R_1..R_i) / (sum(R) + P + (M1 - M2)).
      retained sums to 1. Without washing the last term is zero.
    - loss = (M2 - sum(R) - P) / M2, M2 being M1 when nothing was washed: positive when mass
      is missing, negative when mass was gained. Verdicts look at its absolute value.

    All on one sieve: passing steps from 1 to 0 there. All in the pan: passing is 1
    everywhere. One sieve is enough. A gain can make the cumulative retained exceed 1;
    passing then stops at 0 and the loss is negative. An empty sieve gives two equal
    passing values, exactly equal. Sums run from coarse to fine in double precision; a
    passing below 1e-12 is an exact zero. Batch axes give the same digits as run by run.

    References
    ----------
    ASTM C136-14, 9.1 and AASHTO T 27: base is the total dry mass before washing (public
    copies); EN 933-1, clause 8 (BRE test-method page); M2 as the base of the loss: EN 933-1
    (from memory).

    Examples
    --------
    >>> g = gradation([4750, 2360], [50.0, 150.0, 300.0], dry_mass_g=500.0)
    >>> g.passing.tolist()
    [0.9, 0.6]
    """
    apertures = np.array(apertures_um, dtype=np.float64, ndmin=1, copy=None)
    masses = np.asarray(retained_g, dtype=np.float64)
    _check_apertures(apertures)
    _check_masses(apertures, masses)
    order = np.argsort(-apertures, kind="stable")
    # Fractions come first here: sums and shares then run along the runs, the longest axis.
    fractions = np.array(masses.T, order="C")
    if (order[1:] < order[:-1]).any():
        fractions = fractions[[*order, -1]]
    recovered = fractions.cumsum(axis=0)
    if not (recovered[-1] > 0).all():
        raise Impossible("All fractions weigh zero. Nothing was sieved, so there is no gradation.")
    dry, washed = _dry_masses(recovered[-1].T, dry_mass_g, washed_dry_mass_g, basis)
    return _from_sums(apertures[order], fractions, recovered, (dry, washed), basis)


def _from_sums(
    apertures_um: FloatArray,
    fractions_g: FloatArray,
    recovered_g: FloatArray,
    dry_and_washed_g: tuple[FloatArray, FloatArray | None],
    basis: Basis,
) -> Gradation:
    """The gradation, from checked masses (n+1, ...) and their running sums."""
    dry, washed = dry_and_washed_g
    total = np.asarray(recovered_g[-1].T)
    wash_loss = np.zeros_like(total) if washed is None else dry - washed
    shaken = dry if washed is None else washed
    base = dry if basis is Basis.INITIAL_DRY else total + wash_loss
    retained = fractions_g / base.T
    retained[-1] = (fractions_g[-1] + wash_loss.T) / base.T
    cumulative = recovered_g[:-1] / base.T
    passing = base.T - recovered_g[:-1]
    passing /= base.T
    np.copyto(passing, 0.0, where=passing < NOISE)
    return Gradation(
        apertures_um=apertures_um,
        retained_g=fractions_g.T,
        basis=basis,
        dry_mass_g=dry,
        washed_dry_mass_g=washed,
        wash_loss_g=wash_loss,
        base_g=base,
        retained=retained.T,
        cumulative_retained=cumulative.T,
        passing=passing.T,
        loss_g=shaken - total,
        loss=(shaken - total) / shaken,
    )


def _check_apertures(apertures_um: FloatArray) -> None:
    """Refuse apertures that no nest can have."""
    if apertures_um.ndim != 1 or apertures_um.size == 0:
        raise Impossible("A gradation needs at least one sieve above the pan.")
    if not (np.isfinite(apertures_um) & (apertures_um > 0)).all():
        raise Impossible("Every aperture must be a number of micrometres above zero.")
    ordered = np.sort(apertures_um)
    twice = ordered[1:][ordered[1:] == ordered[:-1]]
    if twice.size:
        raise Impossible(
            f"The aperture {twice[0]:g} µm is entered twice. Add its masses together, or correct "
            "one of the two apertures."
        )


def _check_masses(apertures_um: FloatArray, masses_g: FloatArray) -> None:
    """Refuse masses that no balance can show."""
    if masses_g.ndim == 0 or masses_g.shape[-1] != apertures_um.size + 1:
        given = masses_g.shape[-1] if masses_g.ndim else 1
        raise Impossible(
            f"{apertures_um.size} sieves and a pan need {apertures_um.size + 1} masses, "
            f"but {given} were given."
        )
    if not np.isfinite(masses_g).all():
        raise Impossible("A mass is missing. Weigh every fraction; an empty sieve is 0.")
    if (masses_g < 0).any():
        raise Impossible("A mass is below zero. Check the tare of that sieve and weigh it again.")


def _dry_masses(
    recovered_g: FloatArray,
    dry_mass_g: npt.ArrayLike | None,
    washed_dry_mass_g: npt.ArrayLike | None,
    basis: Basis,
) -> tuple[FloatArray, FloatArray | None]:
    """Dry masses before and after washing, one for each run."""
    if dry_mass_g is None:
        if basis is Basis.INITIAL_DRY or washed_dry_mass_g is not None:
            raise Impossible("The dry mass before washing is missing. Weigh and enter it first.")
        return np.full(recovered_g.shape, np.nan), None
    dry = _one_for_each(recovered_g, dry_mass_g, "dry mass")
    if washed_dry_mass_g is None:
        return dry, None
    washed = _one_for_each(recovered_g, washed_dry_mass_g, "dry mass after washing")
    if (washed > dry).any():
        raise Impossible(
            "The dry mass after washing is larger than the one before washing. Check which is "
            "which, and that the portion was dry."
        )
    return dry, washed


def _one_for_each(recovered_g: FloatArray, mass_g: npt.ArrayLike, what: str) -> FloatArray:
    """A mass per run, shaped like the runs; refused when it is not above zero."""
    masses = np.broadcast_to(np.asarray(mass_g, dtype=np.float64), recovered_g.shape)
    if not (np.isfinite(masses) & (masses > 0)).all():
        raise Impossible(f"The {what} must be above zero. Weigh the test portion and enter it.")
    return masses


def individual_from_cumulative(cumulative_g: npt.ArrayLike) -> FloatArray:
    """Give the mass on each sieve from masses weighed cumulatively.

    Parameters
    ----------
    cumulative_g : array_like, (..., n)
        Mass on this sieve and all coarser ones [g], coarse to fine, >= 0.

    Returns
    -------
    ndarray, (..., n)
        Mass on each sieve alone [g].

    Raises
    ------
    Impossible
        When a cumulative mass is smaller than the one before it, or below zero.

    Notes
    -----
    R_i = C_i - C_(i-1), R_1 = C_1. Two equal cumulative masses are an empty sieve.

    References
    ----------
    WAQTC FOP for AASHTO T 27/T 11, cumulative-mass form (from memory).

    Examples
    --------
    >>> individual_from_cumulative([0.0, 125.9, 604.1]).round(1).tolist()
    [0.0, 125.9, 478.2]
    """
    cumulative = np.asarray(cumulative_g, dtype=np.float64)
    individual = np.diff(cumulative, axis=-1, prepend=0.0)
    if (individual < 0).any():
        row = int(np.argwhere(individual < 0)[0][-1]) + 1
        raise Impossible(
            f"The cumulative mass in row {row} is smaller than the one above it. A cumulative mass "
            "never falls from coarse to fine; check whether the rows are individual masses."
        )
    return individual


@dataclass(frozen=True, slots=True)
class Split:
    """Below one sieve only a reduced part of what passed it was sieved on."""

    below_um: float
    passing_g: float
    reduced_g: float
    washed_reduced_g: float | None = None

    @property
    def factor(self) -> float:
        """What a fraction of the reduced part is multiplied by."""
        return self.passing_g / self.reduced_g


@dataclass(frozen=True, slots=True)
class Combined:
    """Fractions of all stages, brought to the mass of the whole portion."""

    retained_g: FloatArray
    """(..., n+1) masses as if everything had been sieved [g], pan last."""
    factors: FloatArray
    """(n+1,) what each weighed mass was multiplied by."""
    wash_loss_g: float
    """Mass washed out of reduced parts, brought to the whole portion [g]."""


def combine_splits(
    apertures_um: npt.ArrayLike, weighed_g: npt.ArrayLike, splits: Sequence[Split]
) -> Combined:
    """Give the fractions of a split sieving as masses of the whole portion.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures of the nest [µm], in any order.
    weighed_g : array_like, (..., n+1)
        Masses as weighed [g], in the order of the apertures, then the pan.
    splits : sequence of Split
        Where the material was reduced, in any order; none means nothing changes.

    Returns
    -------
    Combined
        Masses, their factors and the wash loss of washed reduced parts.

    Raises
    ------
    Impossible
        When a split is not at a sieve of the nest, is repeated, its reduced mass is not
        above zero or exceeds the passing mass, or its washed mass exceeds the reduced one.

    Notes
    -----
    A fraction finer than the split is multiplied by passing / reduced; below several splits
    by the product of their factors. The sieve at the split itself belongs to the coarse
    side. A split with passing equal to reduced changes nothing.

    References
    ----------
    WAQTC FOP for AASHTO T 27/T 11, Method C (from memory); ASTM C136-14, 8.6 (from memory).

    Examples
    --------
    >>> whole = combine_splits([4750, 75], [100.0, 20.0, 5.0], [Split(4750, 400.0, 100.0)])
    >>> whole.retained_g.tolist()
    [100.0, 80.0, 20.0]
    """
    apertures = np.asarray(apertures_um, dtype=np.float64)
    factors = np.ones(apertures.size + 1)
    wash_loss_g = 0.0
    placed: set[float] = set()
    for split in sorted(splits, key=lambda each: -each.below_um):
        _check_split(split, apertures, placed)
        placed.add(split.below_um)
        factors[:-1][apertures < split.below_um] *= split.factor
        factors[-1] *= split.factor
        if split.washed_reduced_g is not None:
            wash_loss_g += (split.reduced_g - split.washed_reduced_g) * float(factors[-1])
    weighed = np.asarray(weighed_g, dtype=np.float64)
    return Combined(weighed * factors, factors, wash_loss_g)


def _check_split(split: Split, apertures_um: FloatArray, placed: set[float]) -> None:
    """Refuse a split that cannot have been made."""
    where = f"The split at {split.below_um:g} µm"
    if split.below_um not in apertures_um:
        raise Impossible(f"{where} is at no sieve of this nest. Enter the sieve that separated it.")
    if split.below_um in placed:
        raise Impossible(f"{where} is entered twice. Keep one of them.")
    if not 0 < split.reduced_g <= split.passing_g:
        raise Impossible(
            f"{where} has a reduced mass that is zero or larger than the mass that passed. The "
            "reduced part is taken from what passed; check the two masses."
        )
    if split.washed_reduced_g is not None and not 0 < split.washed_reduced_g <= split.reduced_g:
        raise Impossible(
            f"{where} has a mass after washing that is zero or larger than before washing. Check "
            "the two masses."
        )
