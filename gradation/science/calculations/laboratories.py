"""Precision between laboratories or operators, and scores of a comparison."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Any

import numpy as np

from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    maybe,
    number,
    numbers,
    percents,
    table,
)
from gradation.science.calculations.writing import counted, from_memory, plain, record
from gradation.science.errors import NotDeterminable
from gradation.science.quality.outliers import OutlierTest
from gradation.science.quality.precision import (
    LIMIT_FACTOR,
    consistency,
    limit_from_deviation,
    precision,
    sieving_reproducibility_bound,
)
from gradation.science.quality.reliability import reliability
from gradation.science.quality.scores import (
    Robust,
    algorithm_a,
    en_scores,
    quartile_estimate,
    verdict_of_en,
    verdict_of_z,
    z_scores,
    zeta_scores,
)
from gradation.science.worksheet_reading import Fields

Cells = tuple[tuple[float, ...], ...]


class Score(StrEnum):
    """Which score."""

    Z = "z"
    ZETA = "zeta"
    EN = "en"


class Estimate(StrEnum):
    """Where assigned value and standard deviation come from."""

    STATED = "stated"
    QUARTILES = "quartiles"
    ALGORITHM_A = "algorithm_a"


def _precision_study(fields: Fields) -> Answer:
    """Repeatability and reproducibility, with consistency and outlier tests, level by level."""
    fields.only(("levels",))
    fields.require("levels")
    levels = [_level(each) for each in fields.objects("levels")]
    if fields.has("levels") and not levels:
        fields.fault("levels", "holds no level.")

    def answer() -> dict[str, Any]:
        found = [_level_json(name, cells) for name, cells in levels]
        counts = sorted({len(cells) for _, cells in levels})
        return {
            "levels": found,
            "unconfirmed": from_memory("grubbs_double", [str(count) for count in counts]),
        }

    return answer


def _level(fields: Fields) -> tuple[str, Cells]:
    """One material: its name, and the results of each laboratory."""
    fields.only(("name", "cells"))
    fields.require("cells")
    return fields.text("name"), table(fields, "cells")


def _level_json(name: str, cells: Cells) -> dict[str, Any]:
    """One level; what needs more laboratories or replicates is null with its reason."""
    return {
        "name": name or None,
        **_or_reason("precision", lambda: record(precision(cells))),
        **_or_reason("reliability", lambda: record(reliability(precision(cells)))),
        **_or_reason("consistency", lambda: _consistency_json(cells)),
    }


def _or_reason(key: str, answer: Answer) -> dict[str, Any]:
    """A part of the answer, or why there is none."""
    try:
        return {key: answer(), f"{key}_reason": None}
    except NotDeterminable as refusal:
        return {key: None, f"{key}_reason": str(refusal)}


def _consistency_json(cells: Cells) -> dict[str, Any]:
    """Mandel's statistics and the outlier tests."""
    found = consistency(cells)
    return {
        "h": plain(found.h),
        "k": plain(found.k),
        "h_critical": {"5_pct": found.h_critical[0], "1_pct": found.h_critical[1]},
        "k_critical": {"5_pct": plain(found.k_critical[0]), "1_pct": plain(found.k_critical[1])},
        "cochran": None if found.cochran is None else outlier_json(found.cochran),
        "grubbs": [outlier_json(each) for each in found.grubbs],
    }


def outlier_json(test: OutlierTest) -> dict[str, Any]:
    """Give an outlier test as plain data.

    Parameters
    ----------
    test : OutlierTest
        one test

    Returns
    -------
    dict
        as the test, its positions counted from 1

    Raises
    ------
    Nothing
        Every test can be written.

    Notes
    -----
    Nothing is left out because of a test.

    References
    ----------
    ISO 5725-2:1994, clause 7.3.

    Examples
    --------
    >>> from gradation.science.quality.outliers import grubbs_single
    >>> outlier_json(grubbs_single([25.1, 25.3, 24.9, 25.2, 31.0]))["positions"]
    [5]
    """
    return record(test) | {"positions": counted(test.positions)}


def _precision_limits(fields: Fields) -> Answer:
    """Limits that belong to standard deviations, and coefficients of variation."""
    fields.only(("sd", "mean", "factor"))
    fields.require("sd")
    deviations, means = numbers(fields, "sd", least=ZERO), numbers(fields, "mean", above=ZERO)
    factor = number(fields, "factor", LIMIT_FACTOR, above=ZERO)
    if means and len(means) != len(deviations):
        fields.fault("mean", "needs one value for each standard deviation.")

    def answer() -> dict[str, Any]:
        ratios = 100.0 * np.array(deviations) / np.array(means) if means else None
        return {
            "factor": factor,
            "limits": plain(limit_from_deviation(deviations, factor)),
            "coefficient_of_variation_pct": plain(ratios),
        }

    return answer


def _sieving_precision(fields: Fields) -> Answer:
    """Reproducibility to be expected of sieving, and the tolerance it calls for."""
    fields.only(("passing_pct",))
    fields.require("passing_pct")
    passing = percents(fields, "passing_pct")

    def answer() -> dict[str, Any]:
        bound, tolerance = sieving_reproducibility_bound(np.array(passing) / 100.0)
        return {
            "reproducibility_sd_below_pct": plain(100.0 * bound),
            "tolerance_above_pct": plain(100.0 * tolerance),
        }

    return answer


def _scores(fields: Fields) -> Answer:
    """z, z', zeta or En of each result."""
    fields.only(
        ("results", "score", "estimate", "assigned", "sd", "u_assigned", "u_results",
         "U_assigned", "U_results")
    )  # fmt: skip
    fields.require("results")
    results = numbers(fields, "results")
    score, estimate = fields.choice("score", Score.Z), fields.choice("estimate", Estimate.STATED)
    fields.require(*_needed(score, estimate))
    spreads = _spreads(fields, len(results))
    known = {
        name: maybe(fields, name, least=None if name == "assigned" else ZERO)
        for name in ("assigned", "sd", "u_assigned", "U_assigned")
    }

    def answer() -> dict[str, Any]:
        robust = _robust(estimate, results)
        assigned, sd = _centre(known, robust)
        found = _scored(score, results, (assigned or 0.0, sd or 0.0), known, spreads)
        judge = verdict_of_en if score is Score.EN else verdict_of_z
        return {
            "score": score.value,
            "assigned": assigned,
            "sd": sd,
            "u_robust_mean": None if robust is None else float(robust.u_mean),
            "scores": plain(found),
            "verdicts": [judge(float(each)).value for each in found],
        }

    return answer


def _needed(score: Score, estimate: Estimate) -> Iterator[str]:
    """The fields that a score cannot do without."""
    if estimate is Estimate.STATED:
        yield "assigned"
        if score is Score.Z:
            yield "sd"
    uncertain = {Score.ZETA: ("u_results", "u_assigned"), Score.EN: ("U_results", "U_assigned")}
    yield from uncertain.get(score, ())


def _spreads(fields: Fields, count: int) -> dict[str, tuple[float, ...]]:
    """The uncertainties of the results: one for each, or none at all."""
    spreads = {name: numbers(fields, name, least=ZERO) for name in ("u_results", "U_results")}
    for name, values in spreads.items():
        if values and len(values) != count:
            fields.fault(name, "needs one value for each result.")
    return spreads


def _centre(
    known: Mapping[str, float | None], robust: Robust | None
) -> tuple[float | None, float | None]:
    """Assigned value and standard deviation: as stated, else from the results."""
    assigned, sd = known["assigned"], known["sd"]
    if robust is None:
        return assigned, sd
    return (
        float(robust.mean) if assigned is None else assigned,
        float(robust.standard_deviation) if sd is None else sd,
    )


def _robust(estimate: Estimate, results: Sequence[float]) -> Robust | None:
    """Robust mean and standard deviation of the results themselves."""
    if estimate is Estimate.STATED:
        return None
    return (quartile_estimate if estimate is Estimate.QUARTILES else algorithm_a)(results)


def _scored(
    score: Score,
    results: Sequence[float],
    centre: tuple[float, float],
    known: Mapping[str, float | None],
    spreads: Mapping[str, tuple[float, ...]],
) -> Sequence[float]:
    """The scores asked for."""
    assigned, sd = centre
    if score is Score.ZETA:
        u = known["u_assigned"] or 0.0
        return list(zeta_scores(results, spreads["u_results"], assigned, u))
    if score is Score.EN:
        U = known["U_assigned"] or 0.0
        return list(en_scores(results, spreads["U_results"], assigned, U))
    return list(z_scores(results, assigned, sd, known["u_assigned"] or 0.0))


CALCULATIONS: Mapping[str, Reader] = {
    "precision_study": _precision_study,
    "precision_limits": _precision_limits,
    "sieving_precision": _sieving_precision,
    "scores": _scores,
}
