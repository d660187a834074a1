"""All characteristic values of one run by name, each with its unit or the reason it lacks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from gradation.science.apertures import designation
from gradation.science.errors import NotDeterminable
from gradation.science.gradation import Gradation
from gradation.science.indices import (
    coefficient_of_curvature,
    coefficient_of_uniformity,
    grain_fineness_number,
    maximum_size_um,
    modulus_of,
    nominal_maximum_size_um,
    passing_on_set,
    sieve_set,
    span,
    trask_sorting,
)
from gradation.science.interpolation import FloatArray, Interpolation
from gradation.science.percentiles import Sizes, percentile_name, size_at_passing

MODULUS_SETS = {
    "fineness_modulus": "fineness_modulus_astm",
    "fineness_modulus_en": "fineness_modulus_en",
    "k_value": "k_value_de",
}
"""The set of sieves that each modulus is summed over."""

D_SHARES = (0.10, 0.16, 0.25, 0.30, 0.50, 0.60, 0.75, 0.84, 0.90)


@dataclass(frozen=True, slots=True)
class Characteristic:
    """One characteristic value, or why it could not be determined."""

    name: str
    value: float | None
    unit: str = "1"
    """'1' for a pure number, 'µm', '%'."""
    reason: str = ""


def characteristics(
    gradation: Gradation,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
    *,
    is_modulus_interpolated: bool = False,
) -> tuple[Characteristic, ...]:
    """Give the characteristic values of one run.

    Parameters
    ----------
    gradation : Gradation
        One run.
    interpolation : Interpolation
        How D-values are read.
    is_modulus_interpolated : bool
        Whether a sieve missing from the nest may be interpolated for a modulus.

    Returns
    -------
    tuple of Characteristic
        d10 ... d90 [µm]; span; coefficient_of_uniformity; coefficient_of_curvature;
        trask_sorting; effective_size [µm] and uniformity_coefficient (filter sand);
        fineness_modulus (ASTM set); fineness_modulus_en; k_value (German set);
        grain_fineness_number (AFS); maximum_size and nominal_maximum_size [µm];
        fines [%] (washed out and in the pan).

    Raises
    ------
    NotDeterminable
        When a batch is given.

    Notes
    -----
    Values are unrounded. A value that needs a D outside the measured range is None with the
    reason; nothing is extrapolated.

    References
    ----------
    As named by each function of `indices` and `percentiles`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([400, 200, 100], [0.0, 50.0, 50.0, 0.0], 100.0)
    >>> {c.name: c.value for c in characteristics(g)}["d50"]
    200.0
    """
    if gradation.passing.ndim != 1:
        raise NotDeterminable("Characteristic values are told for one run at a time.")
    sizes = size_at_passing(gradation.apertures_um, gradation.passing, D_SHARES, interpolation)
    d_values = tuple(
        _d_value(gradation, sizes, number, share) for number, share in enumerate(D_SHARES)
    )
    rule = interpolation if is_modulus_interpolated else None
    return (
        *d_values,
        *_ratios({each.name: each for each in d_values}),
        *_moduli(gradation, rule),
        _grain_fineness(gradation),
        _largest(gradation, "maximum_size", maximum_size_um),
        _largest(gradation, "nominal_maximum_size", nominal_maximum_size_um),
        Characteristic("fines", 100.0 * float(gradation.fines), "%"),
    )


def _d_value(gradation: Gradation, sizes: Sizes, number: int, share: float) -> Characteristic:
    """One D-value, or where it lies."""
    name = percentile_name(share)
    if sizes.is_below[number]:
        finest = designation(float(gradation.apertures_um[-1]))
        reason = f"{name.upper()} is smaller than the finest sieve, {finest}."
        return Characteristic(name, None, "µm", reason)
    if sizes.is_above[number]:
        coarsest = designation(float(gradation.apertures_um[0]))
        reason = f"{name.upper()} is larger than the coarsest sieve, {coarsest}."
        return Characteristic(name, None, "µm", reason)
    return Characteristic(name, float(sizes.size_um[number]), "µm")


def _ratios(d: dict[str, Characteristic]) -> tuple[Characteristic, ...]:
    """The values made of D-values."""
    d10, d25, d30, d50 = d["d10"], d["d25"], d["d30"], d["d50"]
    d60, d75, d90 = d["d60"], d["d75"], d["d90"]
    return (
        _ratio("span", span, (d10, d50, d90)),
        _ratio("coefficient_of_uniformity", coefficient_of_uniformity, (d10, d60)),
        _ratio("coefficient_of_curvature", coefficient_of_curvature, (d10, d30, d60)),
        _ratio("trask_sorting", trask_sorting, (d25, d75)),
        Characteristic("effective_size", d10.value, "µm", d10.reason),
        _ratio("uniformity_coefficient", coefficient_of_uniformity, (d10, d60)),
    )


def _ratio(
    name: str, formula: Callable[..., object], sizes: Sequence[Characteristic]
) -> Characteristic:
    """A value made of D-values, or the first reason one of them is missing."""
    for size in sizes:
        if size.value is None:
            return Characteristic(name, None, "1", size.reason)
    value = float(np.asarray(formula(*(size.value for size in sizes)), dtype=np.float64))
    return Characteristic(name, value)


def _moduli(gradation: Gradation, rule: Interpolation | None) -> tuple[Characteristic, ...]:
    """The moduli; the curve is read once for the sieves of all three sets."""
    sets = [(name, sieve_set(of).apertures_um) for name, of in MODULUS_SETS.items()]
    every = tuple(aperture_um for _, apertures_um in sets for aperture_um in apertures_um)
    passing = passing_on_set(gradation, every, rule)
    ends = accumulate(len(apertures_um) for _, apertures_um in sets)
    return tuple(
        _modulus(name, apertures_um, passing[end - len(apertures_um) : end], rule)
        for (name, apertures_um), end in zip(sets, ends, strict=True)
    )


def _modulus(
    name: str, apertures_um: tuple[float, ...], passing: FloatArray, rule: Interpolation | None
) -> Characteristic:
    """A fineness modulus, or the sieves missing for it."""
    is_missing = np.isnan(passing)
    if not is_missing.any():
        return Characteristic(name, float(modulus_of(passing)))
    pairs = zip(apertures_um, is_missing, strict=True)
    listed = ", ".join(designation(each) for each, missing in pairs if missing)
    if rule is not None:
        return Characteristic(name, None, "1", f"Sieves of the set lie outside the nest: {listed}.")
    return Characteristic(name, None, "1", f"Sieves of the set are not in the nest: {listed}.")


def _grain_fineness(gradation: Gradation) -> Characteristic:
    """The AFS grain fineness number, or why this nest does not give it."""
    name = "grain_fineness_number"
    value = float(grain_fineness_number(gradation))
    if np.isnan(value):
        reason = "The nest is not the AFS set where material was found."
        return Characteristic(name, None, "1", reason)
    return Characteristic(name, value)


def _largest(gradation: Gradation, name: str, size: Callable[[Gradation], float]) -> Characteristic:
    """A largest size, or why it cannot be told."""
    try:
        return Characteristic(name, size(gradation), "µm")
    except NotDeterminable as refusal:
        return Characteristic(name, None, "µm", str(refusal))
