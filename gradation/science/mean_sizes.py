"""Mean sizes after ISO 9276-2, and specific surface, from the mass distribution of a run.

The mass distribution stands for the volume distribution: all sizes have one particle density.
How the mass lies within a size class is an assumption (`WithinClass`) and goes with the result.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from gradation.science.density import NOISE, SizeClasses
from gradation.science.errors import NotDeterminable, OutOfRange


class WithinClass(StrEnum):
    """How the mass of a class is taken to lie between its two apertures."""

    EVEN_IN_SIZE = "even_in_size"
    EVEN_IN_LOG_SIZE = "even_in_log_size"
    ARITHMETIC_MIDPOINT = "arithmetic_midpoint"
    GEOMETRIC_MIDPOINT = "geometric_midpoint"


WITHIN_CLASS_WORDS = {
    WithinClass.EVEN_IN_SIZE: "Mass spread evenly over size within each class.",
    WithinClass.EVEN_IN_LOG_SIZE: "Mass spread evenly over log size within each class.",
    WithinClass.ARITHMETIC_MIDPOINT: "All mass of a class at its arithmetic midpoint.",
    WithinClass.GEOMETRIC_MIDPOINT: "All mass of a class at its geometric midpoint.",
}


@dataclass(frozen=True, slots=True)
class MeanSizes:
    """The mean sizes of ISO 9276-2 that sieving can support, one value a run [µm].

    `arithmetic` is De Brouckere's D[4,3], the mean of the mass distribution; `geometric` is
    D[3,3]; `sauter` is D[3,2]; `volume` is D[3,0], the size of the particle of mean volume;
    `number` is D[1,0], the mean of the particle count.
    """

    arithmetic_um: NDArray[np.float64]
    geometric_um: NDArray[np.float64]
    sauter_um: NDArray[np.float64]
    volume_um: NDArray[np.float64]
    number_um: NDArray[np.float64]
    within_class: WithinClass
    assumptions: tuple[str, ...]
    not_determinable: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpecificSurface:
    """Surface per volume and per mass of particles, with what was assumed for it."""

    per_volume_m2_per_cm3: NDArray[np.float64]
    per_mass_m2_per_kg: NDArray[np.float64] | None
    shape_factor: float
    particle_density_kg_m3: float | None
    assumptions: tuple[str, ...]


def _needs_log_at_zero(power: float, within: WithinClass) -> bool:
    """Whether a class reaching down to 0 µm has no finite mean of x**power."""
    if within is WithinClass.EVEN_IN_SIZE:
        return power <= -1
    return within is not WithinClass.ARITHMETIC_MIDPOINT


def _refuse_open_zero(classes: SizeClasses, power: float, within: WithinClass) -> None:
    reaches_zero = classes.lower_um <= 0
    holds_mass = np.any(classes.share > NOISE, axis=tuple(range(classes.share.ndim - 1)))
    if np.any(reaches_zero & holds_mass) and _needs_log_at_zero(power, within):
        raise NotDeterminable(
            "The pan is counted down to 0 µm, and this mean would be 0 or without bound. State "
            "a lower end of the pan above 0 µm, or leave this mean out."
        )


def _integral(
    lower: NDArray[np.float64], upper: NDArray[np.float64], m: float
) -> NDArray[np.float64]:
    """∫ x^m d ln x over each class."""
    if m == 0:
        return np.asarray(np.log(upper / lower), dtype=np.float64)
    return np.asarray((upper**m - lower**m) / m, dtype=np.float64)


def _log_integral(
    lower: NDArray[np.float64], upper: NDArray[np.float64], m: float
) -> NDArray[np.float64]:
    """∫ ln x · x^m d ln x over each class; x^m ln x is 0 at 0 for m > 0."""
    if m == 0:
        return np.asarray((np.log(upper) ** 2 - np.log(lower) ** 2) / 2, dtype=np.float64)
    log_lower = np.log(np.where(lower > 0, lower, 1.0))

    def antiderivative(x: NDArray[np.float64], log_x: NDArray[np.float64]) -> NDArray[np.float64]:
        return x**m * (log_x / m - 1 / m**2)

    return antiderivative(upper, np.log(upper)) - antiderivative(lower, log_lower)


def _class_means(
    classes: SizeClasses, power: float, within: WithinClass, *, of_log: bool = False
) -> NDArray[np.float64]:
    """Mean of x^power (or of x^power ln x) within each class."""
    lower, upper = classes.lower_um, classes.upper_um
    integral = _log_integral if of_log else _integral
    if within is WithinClass.EVEN_IN_SIZE:
        return integral(lower, upper, power + 1) / (upper - lower)
    if within is WithinClass.EVEN_IN_LOG_SIZE:
        return integral(lower, upper, power) / np.log(upper / lower)
    is_arithmetic = within is WithinClass.ARITHMETIC_MIDPOINT
    middle = (lower + upper) / 2 if is_arithmetic else np.sqrt(lower * upper)
    return middle**power * (np.log(middle) if of_log else 1.0)


def _summed(classes: SizeClasses, means: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share-weighted sum; an empty class counts nothing even where its mean is not finite."""
    weighted = np.where(classes.share == 0, 0.0, classes.share * means)
    total: NDArray[np.float64] = np.sum(weighted, axis=-1)
    return total


def moment(
    classes: SizeClasses, power: float, within: WithinClass = WithinClass.EVEN_IN_SIZE
) -> NDArray[np.float64]:
    """Moment M(k,3) of the mass distribution.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k).
    power : float
        Power k of size; may be negative or broken.
    within : WithinClass
        How mass lies within a class.

    Returns
    -------
    ndarray, (...)
        M(k,3) [µm^k].

    Raises
    ------
    NotDeterminable
        When a class with mass reaches down to 0 µm and the moment has no finite value.

    Notes
    -----
    M(k,3) = ∫ x^k q3(x) dx, summed class by class. With q3 constant over x in a class from a to
    b, its part is ΔQ3 (b^(k+1) - a^(k+1)) / ((k+1)(b - a)), and ΔQ3 ln(b/a)/(b - a) for k = -1.
    A missing share (nan) makes the moment nan.

    References
    ----------
    ISO 9276-2:2014, moments of a distribution given as a histogram (clause from memory).

    Examples
    --------
    >>> classes = SizeClasses(np.array([1.0]), np.array([101.0]), np.array([1.0]))
    >>> round(1 / float(moment(classes, -1)), 3)
    21.668
    """
    _refuse_open_zero(classes, power, within)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _summed(classes, _class_means(classes, power, within))


def mean_diameter(
    classes: SizeClasses, p: float, q: float, within: WithinClass = WithinClass.EVEN_IN_SIZE
) -> NDArray[np.float64]:
    """Mean diameter D[p,q] in the moment-ratio notation.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k) of mass.
    p, q : float
        The two powers; D[p,q] = D[q,p].
    within : WithinClass
        How mass lies within a class.

    Returns
    -------
    ndarray, (...)
        D[p,q] [µm].

    Raises
    ------
    NotDeterminable
        When a class with mass reaches down to 0 µm and a moment has no finite value.

    Notes
    -----
    From the mass distribution, D[p,q] = (M(p-3,3) / M(q-3,3))^(1/(p-q)); for p = q it is
    exp(∫ x^(p-3) ln x q3 dx / M(p-3,3)). D[4,3] is De Brouckere's, D[3,2] Sauter's, D[3,3] the
    geometric mean by mass, D[1,0] the mean by count. One particle density for all sizes.

    References
    ----------
    ISO 9276-2:2014, moment-ratio notation (clause from memory). R. A. Mugele and H. D. Evans,
    Droplet size distribution in sprays, Ind. Eng. Chem. 43 (1951) 1317.

    Examples
    --------
    >>> classes = SizeClasses(np.array([1.0]), np.array([101.0]), np.array([1.0]))
    >>> round(float(mean_diameter(classes, 3, 2)), 3), round(float(mean_diameter(classes, 4, 3)), 3)
    (21.668, 51.0)
    """
    if p == q:
        return _logarithmic_mean(classes, p - 3, within)
    ratio = moment(classes, p - 3, within) / moment(classes, q - 3, within)
    mean: NDArray[np.float64] = ratio ** (1.0 / (p - q))
    return mean


def _logarithmic_mean(
    classes: SizeClasses, power: float, within: WithinClass
) -> NDArray[np.float64]:
    whole = moment(classes, power, within)
    with np.errstate(divide="ignore", invalid="ignore"):
        of_log = _summed(classes, _class_means(classes, power, within, of_log=True))
    mean: NDArray[np.float64] = np.exp(of_log / whole)
    return mean


def mean_size(
    classes: SizeClasses, k: float, r: float, within: WithinClass = WithinClass.EVEN_IN_SIZE
) -> NDArray[np.float64]:
    """Mean size x(k,r) in the moment notation: the k-th power mean of the r-distribution.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k) of mass.
    k : float
        Power of the mean; 0 gives the geometric mean.
    r : float
        Kind of quantity: 0 number, 1 length, 2 area, 3 volume or mass.
    within : WithinClass
        How mass lies within a class.

    Returns
    -------
    ndarray, (...)
        x(k,r) [µm].

    Raises
    ------
    NotDeterminable
        When a class with mass reaches down to 0 µm and a moment has no finite value.

    Notes
    -----
    x(k,r) = M(k,r)^(1/k) = D[k+r, r]: the subscripts of the two notations differ. Sauter's mean
    is x(-1,3) = x(1,2) = D[3,2].

    References
    ----------
    ISO 9276-2:2014, moment notation and its relation to the moment-ratio notation (clause from
    memory).

    Examples
    --------
    >>> classes = SizeClasses(np.array([1.0]), np.array([101.0]), np.array([1.0]))
    >>> round(float(mean_size(classes, 1, 3)), 3), round(float(mean_size(classes, -1, 3)), 3)
    (51.0, 21.668)
    """
    return mean_diameter(classes, k + r, r, within)


def mean_sizes(classes: SizeClasses, within: WithinClass = WithinClass.EVEN_IN_SIZE) -> MeanSizes:
    """All common mean sizes of one or several runs, with what was assumed.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k) of mass.
    within : WithinClass
        How mass lies within a class.

    Returns
    -------
    MeanSizes
        Each (...) [µm]; nan, with the reason in `not_determinable`, where the pan counted down
        to 0 µm forbids a mean.

    Raises
    ------
    GradationError
        Never for a mean alone; those are told in `not_determinable`.

    Notes
    -----
    Means by count hang on the finest class alone; from sieving they are an indication only.

    References
    ----------
    ISO 9276-2:2014, mean sizes (clause from memory).

    Examples
    --------
    >>> classes = SizeClasses(np.array([0.0]), np.array([100.0]), np.array([1.0]))
    >>> result = mean_sizes(classes)
    >>> float(result.arithmetic_um), bool(np.isnan(result.sauter_um))
    (50.0, True)
    """
    missing: list[str] = []

    def mean(name: str, p: float, q: float) -> NDArray[np.float64]:
        try:
            return mean_diameter(classes, p, q, within)
        except NotDeterminable as reason:
            missing.append(f"{name}: {reason}")
            return np.full(classes.share.shape[:-1], np.nan)

    return MeanSizes(
        arithmetic_um=mean("D[4,3]", 4, 3),
        geometric_um=mean("D[3,3]", 3, 3),
        sauter_um=mean("D[3,2]", 3, 2),
        volume_um=mean("D[3,0]", 3, 0),
        number_um=mean("D[1,0]", 1, 0),
        within_class=within,
        assumptions=(*classes.assumptions, WITHIN_CLASS_WORDS[within]),
        not_determinable=tuple(missing),
    )


def specific_surface(
    classes: SizeClasses,
    *,
    particle_density_kg_m3: float | None = None,
    shape_factor: float = 1.0,
    within: WithinClass = WithinClass.EVEN_IN_SIZE,
) -> SpecificSurface:
    """Specific surface of the particles from their size distribution.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k) of mass.
    particle_density_kg_m3 : float, optional
        Density of the particles [kg/m³], > 0; without it only surface per volume is given.
    shape_factor : float
        Surface of a particle over that of the sphere of its size, >= 1; 1 is a sphere.
    within : WithinClass
        How mass lies within a class.

    Returns
    -------
    SpecificSurface
        S_V [m²/cm³] and S_m [m²/kg], each (...).

    Raises
    ------
    OutOfRange
        When the density is not above 0 or the shape factor is below 1.
    NotDeterminable
        When a class with mass reaches down to 0 µm.

    Notes
    -----
    S_V = 6 f / D[3,2] with f the shape factor, S_m = S_V / density. With D in µm, 1/µm equals
    1 m²/cm³. Pores and roughness are not counted, so a gas adsorption test gives more.

    References
    ----------
    ISO 9276-2:2014, volume-specific surface area (clause from memory). Coulson and Richardson,
    Chemical Engineering vol. 2, example 1.1, for the figures of the example.

    Examples
    --------
    >>> classes = SizeClasses(np.array([1.0]), np.array([101.0]), np.array([1.0]))
    >>> round(float(specific_surface(classes).per_volume_m2_per_cm3), 4)
    0.2769
    """
    if shape_factor < 1 or not np.isfinite(shape_factor):
        raise OutOfRange("The shape factor must be 1 (sphere) or more: no body has less surface.")
    if particle_density_kg_m3 is not None and not 0 < particle_density_kg_m3 < np.inf:
        raise OutOfRange("The particle density must be above 0 kg/m³.")
    per_volume = 6.0 * shape_factor / mean_diameter(classes, 3, 2, within)
    per_mass = None
    if particle_density_kg_m3 is not None:
        per_mass = per_volume * 1e6 / particle_density_kg_m3  # 1 m²/cm³ = 1e6 m²/m³
    said = f"Surface of a sphere times {shape_factor:g}; pores and roughness not counted."
    return SpecificSurface(
        per_volume_m2_per_cm3=per_volume,
        per_mass_m2_per_kg=per_mass,
        shape_factor=shape_factor,
        particle_density_kg_m3=particle_density_kg_m3,
        assumptions=(*classes.assumptions, WITHIN_CLASS_WORDS[within], said),
    )
