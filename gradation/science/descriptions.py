"""Measures and words that describe the shape of a gradation, gathered for one run.

The worksheet asks for them by name; each brings characteristic values, or plain JSON data
for what is a table, a list or a name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, SupportsFloat

import numpy as np

from gradation.science.characteristics import Characteristic
from gradation.science.classification import (
    Plasticity,
    Share,
    classify_curve,
    fraction_tables,
    schemes,
)
from gradation.science.density import OpenEnds, modes, size_classes
from gradation.science.errors import GradationError
from gradation.science.gradation import Gradation
from gradation.science.grain_words import folk_ward_words, moment_words
from gradation.science.interpolation import Interpolation
from gradation.science.mean_sizes import mean_sizes, specific_surface
from gradation.science.moments import folk_ward_gaps, folk_ward_of_curve, moment_measures


class Description(StrEnum):
    """What can be asked for."""

    FOLK_WARD = "folk_ward"
    MOMENTS = "moments"
    MEAN_SIZES = "mean_sizes"
    MODES = "modes"
    FRACTIONS = "fractions"
    USCS = "uscs"


@dataclass(frozen=True, slots=True)
class Soil:
    """What must be known beside the sieving for some descriptions."""

    ends: OpenEnds = field(default_factory=OpenEnds)
    """Stated ends of what is on the coarsest sieve and in the pan."""
    plasticity: Plasticity | None = None


@dataclass(frozen=True, slots=True)
class Described:
    """What was found: single values by name, and everything else as plain data."""

    values: tuple[Characteristic, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)


def describe(
    gradation: Gradation,
    wanted: Sequence[Description],
    soil: Soil,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> Described:
    """Give the descriptions asked for, of one run.

    Parameters
    ----------
    gradation : Gradation
        One run.
    wanted : sequence of Description
        What is asked for.
    soil : Soil
        Ends of the open classes and plasticity, as far as known.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    Described
        Values in the order asked for; data by the name of the description.

    Raises
    ------
    Nothing
        What cannot be determined has None and the reason.

    Notes
    -----
    `folk_ward` and `moments` are in phi. `moments` and `mean_sizes` need closed classes: when
    material lies on the coarsest sieve or in the pan, the end must be stated.

    References
    ----------
    As named by `moments`, `mean_sizes`, `density` and `classification`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([1000, 500, 250, 125], [0.0, 25.0, 50.0, 25.0, 0.0], 100.0)
    >>> found = describe(g, [Description.MOMENTS], Soil())
    >>> found.values[0].name, round(found.values[0].value, 6)
    ('moment_mean_phi', 1.5)
    """
    values: list[Characteristic] = []
    data: dict[str, Any] = {}
    for each in wanted:
        found = _MAKERS[each](gradation, soil, interpolation)
        values.extend(found.values)
        data.update(found.data)
    return Described(tuple(values), data)


def _named(
    names: Sequence[tuple[str, str]], values: Sequence[SupportsFloat], reason: str
) -> tuple[Characteristic, ...]:
    """Values under their names, with the reason where there is no number."""
    found = []
    for (name, unit), value in zip(names, values, strict=True):
        number = float(value)
        is_known = math.isfinite(number)
        found.append(
            Characteristic(name, number if is_known else None, unit, "" if is_known else reason)
        )
    return tuple(found)


def _none(names: Sequence[tuple[str, str]], reason: str) -> Described:
    """All values missing for one reason."""
    return Described(tuple(Characteristic(name, None, unit, reason) for name, unit in names))


FOLK_WARD_NAMES = (
    ("folk_ward_mean_phi", "phi"),
    ("folk_ward_sorting_phi", "phi"),
    ("folk_ward_skewness", "1"),
    ("folk_ward_kurtosis", "1"),
)
MOMENT_NAMES = (
    ("moment_mean_phi", "phi"),
    ("moment_standard_deviation_phi", "phi"),
    ("moment_skewness", "1"),
    ("moment_kurtosis", "1"),
)
MEAN_NAMES = (
    ("arithmetic_mean_diameter", "µm"),
    ("geometric_mean_diameter", "µm"),
    ("sauter_mean_diameter", "µm"),
    ("volume_mean_diameter", "µm"),
    ("specific_surface", "m²/cm³"),
)


def _folk_ward(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Graphic measures with their words."""
    nest, curve = gradation.apertures_um, gradation.passing
    measures = folk_ward_of_curve(nest, curve, rule)
    found = (measures.mean_phi, measures.sorting_phi, measures.skewness, measures.kurtosis)
    reason = ""
    if not np.isfinite(found).all():
        reason = " ".join(folk_ward_gaps(nest, curve, rule)) or "The curve has no spread."
    values = _named(FOLK_WARD_NAMES, found, reason)
    words = {}
    if all(each.value is not None for each in values):
        words = _words(folk_ward_words(measures))
    return Described(values, {"folk_ward_words": words})


def _words(words: object) -> dict[str, str]:
    """Verbal classes by measure."""
    names = ("mean", "sorting", "skewness", "kurtosis")
    return {name: getattr(words, name) for name in names if getattr(words, name, "")}


def _moments(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Moment measures in phi with their words."""
    try:
        classes = size_classes(gradation.apertures_um, gradation.passing, soil.ends)
        measures = moment_measures(classes)
    except GradationError as refusal:
        return _none(MOMENT_NAMES, str(refusal))
    values = _named(
        MOMENT_NAMES,
        (measures.mean, measures.standard_deviation, measures.skewness, measures.kurtosis),
        "All mass lies in one class, so there is no spread.",
    )
    words = {}
    if all(each.value is not None for each in values):
        words = _words(moment_words(measures))
    return Described(
        values, {"moment_words": words, "moment_assumptions": list(measures.assumptions)}
    )


def _mean_sizes(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Mean diameters of ISO 9276-2 and the specific surface of spheres."""
    try:
        classes = size_classes(gradation.apertures_um, gradation.passing, soil.ends)
        means = mean_sizes(classes)
    except GradationError as refusal:
        return _none(MEAN_NAMES, str(refusal))
    sizes = (means.arithmetic_um, means.geometric_um, means.sauter_um, means.volume_um)
    reason = " ".join(means.not_determinable)
    try:
        surface = float(specific_surface(classes).per_volume_m2_per_cm3)
    except GradationError as refusal:
        surface, reason = float("nan"), reason or str(refusal)
    values = _named(MEAN_NAMES, (*sizes, surface), reason)
    return Described(values, {"mean_size_assumptions": list(means.assumptions)})


def _modes(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Peaks of the density over ln x, the highest first."""
    try:
        found = modes(gradation.apertures_um, gradation.passing)
    except GradationError as refusal:
        missing = Characteristic("mode", None, "µm", str(refusal))
        return Described((missing,), {"modes": []})
    listed = [
        {
            "size_um": each.size_um,
            "lower_um": each.lower_um,
            "upper_um": each.upper_um,
            "relative_height": each.relative_height,
            "is_at_edge": each.is_at_edge,
        }
        for each in found
    ]
    reason = "" if found else "Nothing lies between the sieves."
    first = found[0].size_um if found else None
    return Described((Characteristic("mode", first, "µm", reason),), {"modes": listed})


def _fractions(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Shares of the classes of every scheme, and of gravel, sand and fines of the USCS."""
    tables = {}
    values: tuple[Characteristic, ...] = ()
    for table in fraction_tables(gradation.apertures_um, gradation.passing, schemes(), rule):
        tables[table.scheme] = [_share(each) for each in table.rows()]
        if table.scheme == "USCS":
            values = tuple(
                Characteristic(
                    f"uscs_{each.name.replace(' ', '_')}",
                    None if math.isnan(each.share) else 100 * each.share,
                    "%",
                    _between(each) if math.isnan(each.share) else "",
                )
                for each in table.groups()
            )
    return Described(values, {"fractions": tables})


def _between(share: Share) -> str:
    """What the nest tells of a share it does not cover."""
    return (
        f"The nest does not cover the limits of {share.name}: between {100 * share.least:.1f} and "
        f"{100 * share.most:.1f} %."
    )


def _share(share: Share) -> dict[str, Any]:
    """One class of a fraction table as plain data."""
    return {
        "name": share.name,
        "symbol": share.symbol or None,
        "lower_um": share.lower_um,
        "upper_um": share.upper_um if math.isfinite(share.upper_um) else None,
        "share_pct": None if math.isnan(share.share) else 100 * share.share,
        "least_pct": 100 * share.least,
        "most_pct": 100 * share.most,
    }


def _uscs(gradation: Gradation, soil: Soil, rule: Interpolation) -> Described:
    """Group symbol and group name, or what is missing for them."""
    try:
        found = classify_curve(gradation.apertures_um, gradation.passing, soil.plasticity, rule)
    except GradationError as refusal:
        return Described((), {"uscs": {"symbol": None, "name": None, "needs": [str(refusal)]}})
    return Described(
        (),
        {
            "uscs": {
                "outcome": found.outcome.value,
                "symbol": found.symbol or None,
                "name": found.name or None,
                "possible_symbols": list(found.possible_symbols),
                "possible_names": list(found.possible_names),
                "needs": list(found.needs),
                "reasons": list(found.reasons),
                "cautions": list(found.cautions),
                "assumptions": list(found.assumptions),
            }
        },
    )


_MAKERS: Mapping[Description, Callable[[Gradation, Soil, Interpolation], Described]] = {
    Description.FOLK_WARD: _folk_ward,
    Description.MOMENTS: _moments,
    Description.MEAN_SIZES: _mean_sizes,
    Description.MODES: _modes,
    Description.FRACTIONS: _fractions,
    Description.USCS: _uscs,
}
