"""All characteristic values of one run by name, each with its unit or the reason it lacks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gradation.science.apertures import designation
from gradation.science.errors import NotDeterminable
from gradation.science.gradation import Gradation
from gradation.science.indices import (
    SieveSet,
    closed_at_top,
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
    "fineness_modulus": ("fineness_modulus_astm", "fineness_modulus_is", "fineness_modulus_bs"),
    "fineness_modulus_en": ("fineness_modulus_en",),
    "k_value": ("k_value_de",),
}
"""The sets of sieves that each modulus may be summed over, in order of preference."""

D_SHARES = (0.10, 0.16, 0.25, 0.30, 0.50, 0.60, 0.75, 0.84, 0.90)


@dataclass(frozen=True, slots=True)
class Characteristic:
    """One characteristic value and what it rests on, or why it could not be determined."""

    name: str
    value: float | None
    unit: str = "1"
    """'1' for a pure number, 'µm', '%'."""
    reason: str = ""
    """Why there is no value."""
    note: str = ""
    """What was taken for granted to give the value."""


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
        fineness_modulus (ASTM set, or its counterpart of IS 383 or BS 410 sieves);
        fineness_modulus_en; k_value (German set);
        grain_fineness_number (AFS); maximum_size and nominal_maximum_size [µm];
        fines [%] (washed out and in the pan).

    Raises
    ------
    NotDeterminable
        When a batch is given.

    Notes
    -----
    Values are unrounded. A value that needs a D outside the measured range is None with the
    reason; nothing is extrapolated. Sums over a set of sieves whose coarser sieves are not in
    the nest take nothing on the coarsest sieve to be larger than the next one of the set, and
    say so in `note`.

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
    """The moduli; the curve is read once for the sieves of all their sets."""
    sets = {of: sieve_set(of) for several in MODULUS_SETS.values() for of in several}
    every = tuple(each for one in sets.values() for each in one.apertures_um)
    passing = passing_on_set(gradation, every, rule)
    closed = closed_at_top(gradation, every, passing)
    known, known_closed = ((~np.isnan(each)).tolist() for each in (passing, closed))
    read = {}
    end = 0
    for name, one in sets.items():
        start, end = end, end + len(one.apertures_um)
        part = slice(start, end)
        read[name] = _OnSet(one, closed[part], known[part], known_closed[part])
    return tuple(
        _modulus(gradation, name, [read[of] for of in several], rule)
        for name, several in MODULUS_SETS.items()
    )


@dataclass(frozen=True, slots=True)
class _OnSet:
    """The passing on one set with its top closed, and where it is known."""

    of: SieveSet
    passing: FloatArray
    is_known: list[bool]
    """Without the top closed."""
    is_known_closed: list[bool]


def _modulus(
    gradation: Gradation, name: str, sets: Sequence[_OnSet], rule: Interpolation | None
) -> Characteristic:
    """A modulus on the first set that tells it, or the sieves missing for it."""
    for is_top_closed in (False, True):
        for each in sets:
            if all(each.is_known_closed if is_top_closed else each.is_known):
                notes = [_set_note(each.of)] if each is not sets[0] else []
                notes += [_top_note(gradation, each.of)] if is_top_closed else []
                return Characteristic(name, float(modulus_of(each.passing)), note=" ".join(notes))
    pairs = zip(sets[0].of.apertures_um, sets[0].is_known_closed, strict=True)
    listed = ", ".join(designation(each) for each, is_known in pairs if not is_known)
    where = "are not in the nest" if rule is None else "lie outside the nest"
    return Characteristic(name, None, "1", f"Sieves of the set {where}: {listed}.")


def _set_note(of: SieveSet) -> str:
    """Which other set a modulus was summed over."""
    return f"Summed over the set kept from memory as {of.title}."


def _top_note(gradation: Gradation, of: SieveSet) -> str:
    """What is taken to be the largest size on the coarsest sieve."""
    coarsest = float(gradation.apertures_um[0])
    larger = designation(min(each for each in of.apertures_um if each > coarsest))
    return (
        f"Taken: nothing on the coarsest sieve, {designation(coarsest)}, is larger than {larger}."
    )


def standard_grain_fineness(gradation: Gradation) -> FloatArray:
    """Give the AFS grain fineness number, with the top of the nest closed where it must be.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.

    Returns
    -------
    ndarray, (...)
        AFS grain fineness number, a pure number; NaN where the nest does not give it.

    Raises
    ------
    UnknownName
        When the table of factors is missing.

    Notes
    -----
    Material on the coarsest sieve of the nest is taken to pass the next coarser sieve of the
    set; a sieve missing further down is never guessed.

    References
    ----------
    As for `moduli.grain_fineness_number`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> standard_grain_fineness(gradation([300, 212], [50.0, 50.0, 0.0], 100.0)).item()
    45.0
    """
    return grain_fineness_number(gradation, is_top_closed=True)


def _grain_fineness(gradation: Gradation) -> Characteristic:
    """The AFS grain fineness number, or why this nest does not give it."""
    name = "grain_fineness_number"
    value = float(standard_grain_fineness(gradation))
    if np.isnan(value):
        reason = "The nest is not the AFS set where material was found."
        return Characteristic(name, None, "1", reason)
    is_sure = not np.isnan(grain_fineness_number(gradation))
    note = "" if is_sure else _top_note(gradation, sieve_set("afs_grain_fineness"))
    return Characteristic(name, value, note=note)


def _largest(gradation: Gradation, name: str, size: Callable[[Gradation], float]) -> Characteristic:
    """A largest size, or why it cannot be told."""
    try:
        return Characteristic(name, size(gradation), "µm")
    except NotDeterminable as refusal:
        return Characteristic(name, None, "µm", str(refusal))
