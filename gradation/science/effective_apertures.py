"""Effective apertures: what a sieve really separates at, and the gradation read there.

Public: `BesideNominal`, `beside_nominal`, `ReferenceCertificate`, `EffectiveAperture`,
`effective_aperture`.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import Impossible
from gradation.science.percentiles import Interpolation, size_at_passing
from gradation.science.propagation import FloatArray
from gradation.science.sensitivity import passing_at_nominal


class SizeScale(StrEnum):
    """On which scale a certificate's diameters are interpolated."""

    LINEAR = "linear"
    LOG = "log"


@dataclass(frozen=True)
class BesideNominal:
    """One gradation at nominal and at measured mean apertures."""

    apertures_um: FloatArray
    measured_um: FloatArray
    passing: FloatArray
    passing_at_nominal: FloatArray
    extended: NDArray[np.bool_]
    sizes_nominal_um: FloatArray
    sizes_measured_um: FloatArray


@dataclass(frozen=True)
class ReferenceCertificate:
    """Certified distribution of a reference material, fine to coarse as certificates print it.

    `passing` is the share finer (0-1). Standard uncertainties are of diameter, of share, or both.
    """

    diameters_um: tuple[float, ...]
    passing: tuple[float, ...]
    u_diameters_um: tuple[float, ...] = ()
    u_passing: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a table that is not a rising distribution."""
        sizes, shares = np.asarray(self.diameters_um), np.asarray(self.passing)
        lengths = {len(self.u_diameters_um) or sizes.size, len(self.u_passing) or sizes.size}
        if sizes.size < 2 or shares.shape != sizes.shape or lengths != {sizes.size}:
            raise Impossible("The certificate needs two or more rows, each with all its columns.")
        rising = np.all(np.diff(sizes) > 0) and np.all(np.diff(shares) > 0)
        if not (rising and sizes[0] > 0 and shares[0] >= 0 and shares[-1] <= 1):
            raise Impossible(
                "Diameter and percent finer must both rise from row to row of the certificate, "
                "between 0 and 100 %. Check what was typed."
            )


@dataclass(frozen=True)
class EffectiveAperture:
    """Effective apertures with standard uncertainty; NaN outside the certified range."""

    aperture_um: FloatArray
    standard_um: FloatArray
    below_range: NDArray[np.bool_]
    above_range: NDArray[np.bool_]


def beside_nominal(
    apertures_um: ArrayLike,
    measured_um: ArrayLike,
    passing: ArrayLike,
    shares: tuple[float, ...] = (0.1, 0.5, 0.9),
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> BesideNominal:
    """Give a gradation at each sieve's measured mean aperture beside the nominal one.

    Parameters
    ----------
    apertures_um, measured_um : array_like, (n,)
        nominal and measured mean apertures, coarse to fine [µm], n >= 2
    passing : array_like, (..., n)
        recorded passing, 0 to 1
    shares : tuple of float, (q,), optional
        passing at which D-values are read, 0 to 1
    interpolation : Interpolation, optional
        how D-values are read between sieves

    Returns
    -------
    BesideNominal
        passing as recorded (it belongs to the measured apertures), passing read at the nominal
        apertures (..., n), and D-values (..., q) [µm] by both

    Raises
    ------
    Impossible
        when measured apertures are not positive or do not fall
    NotDeterminable
        with a single sieve

    Notes
    -----
    The recorded passing of a sieve is the curve at its real aperture. A D-value outside the sieves
    is NaN. Passing at nominal apertures is straight on log aperture and marked where extended.

    References
    ----------
    ISO 2591-1 (use of measured apertures to compare sieves; from memory).

    Examples
    --------
    >>> both = beside_nominal([400, 200, 100], [404, 206, 101], [0.9, 0.5, 0.1], (0.5,))
    >>> both.sizes_nominal_um.round(1).tolist(), both.sizes_measured_um.round(1).tolist()
    ([200.0], [206.0])
    """
    nominal = np.asarray(apertures_um, dtype=np.float64)
    measured = np.asarray(measured_um, dtype=np.float64)
    recorded = np.asarray(passing, dtype=np.float64)
    read = passing_at_nominal(nominal, measured, recorded)
    sizes = [
        size_at_passing(grid, recorded, shares, interpolation).size_um
        for grid in (nominal, measured)
    ]
    return BesideNominal(nominal, measured, recorded, read.passing, read.extended, *sizes)


def effective_aperture(
    certificate: ReferenceCertificate,
    observed: ArrayLike,
    u_observed: ArrayLike = 0.0,
    scale: SizeScale = SizeScale.LINEAR,
) -> EffectiveAperture:
    """Give the effective aperture of a sieve from the share of a reference material it passes.

    Parameters
    ----------
    certificate : ReferenceCertificate
        certified diameters [µm] and shares finer, with standard uncertainties if stated
    observed : array_like, (...)
        share of the reference material that passed the sieve, 0 to 1
    u_observed : array_like, broadcastable to (...), optional
        standard uncertainty of the observed share, >= 0
    scale : SizeScale, optional
        straight line between certified points on diameter or on log diameter

    Returns
    -------
    EffectiveAperture
        aperture (...) [µm], standard uncertainty (...) [µm]; NaN and a flag outside the range

    Raises
    ------
    Impossible
        when the certificate is not a rising distribution (on building it)

    Notes
    -----
    d = d_0 + t (d_1 - d_0), t = (q - q_0) / (q_1 - q_0), or the same on ln d. First order:
    u_d^2 = s^2 (u_q^2 + (1 - t)^2 u_q0^2 + t^2 u_q1^2) + (1 - t)^2 u_d0^2 + t^2 u_d1^2 with
    s = (d_1 - d_0) / (q_1 - q_0); certified points taken as independent. A share exactly on a
    certified point uses the segment above it, the last point the segment below. Not extrapolated.

    References
    ----------
    Method described for glass-bead reference materials for sieve calibration (public catalogue of
    a national metrology institute); JCGM 100:2008, 5.1.2.

    Examples
    --------
    >>> beads = ReferenceCertificate((125, 140, 150, 160, 180), (0.1, 0.3, 0.5, 0.7, 0.9))
    >>> effective_aperture(beads, [0.46, 0.74]).aperture_um.round(3).tolist()
    [148.0, 164.0]
    """
    q = np.asarray(observed, dtype=np.float64)
    u_q = np.broadcast_to(np.asarray(u_observed, dtype=np.float64), q.shape)
    shares = np.asarray(certificate.passing, dtype=np.float64)
    sizes = np.asarray(certificate.diameters_um, dtype=np.float64)
    below, above = q < shares[0], q > shares[-1]
    segment = np.clip(np.searchsorted(shares, q, side="right") - 1, 0, shares.size - 2)
    t = (q - shares[segment]) / (shares[segment + 1] - shares[segment])
    coordinates = np.log(sizes) if scale is SizeScale.LOG else sizes
    x = coordinates[segment] + t * (coordinates[segment + 1] - coordinates[segment])
    aperture = np.exp(x) if scale is SizeScale.LOG else x
    standard = np.sqrt(_variance(certificate, segment, t, u_q, scale))
    standard = standard * aperture if scale is SizeScale.LOG else standard
    outside = below | above | np.isnan(q)
    return EffectiveAperture(
        np.where(outside, np.nan, aperture), np.where(outside, np.nan, standard), below, above
    )


def _variance(
    certificate: ReferenceCertificate,
    segment: NDArray[np.intp],
    t: FloatArray,
    u_q: FloatArray,
    scale: SizeScale,
) -> FloatArray:
    """Give the variance on the scale of interpolation (diameter, or its logarithm)."""
    sizes = np.asarray(certificate.diameters_um, dtype=np.float64)
    shares = np.asarray(certificate.passing, dtype=np.float64)
    none = np.zeros_like(sizes)
    u_size = np.asarray(certificate.u_diameters_um or none, dtype=np.float64)
    u_share = np.asarray(certificate.u_passing or none, dtype=np.float64)
    x = np.log(sizes) if scale is SizeScale.LOG else sizes
    u_x = u_size / sizes if scale is SizeScale.LOG else u_size
    steep = (x[segment + 1] - x[segment]) / (shares[segment + 1] - shares[segment])
    by_share = u_q**2 + ((1 - t) * u_share[segment]) ** 2 + (t * u_share[segment + 1]) ** 2
    by_size = ((1 - t) * u_x[segment]) ** 2 + (t * u_x[segment + 1]) ** 2
    return np.asarray(steep**2 * by_share + by_size, dtype=np.float64)
