"""The uncertainty a worksheet asks for: its budget from the weighings, and the answer as data."""

from __future__ import annotations

from math import erf, sqrt
from typing import Any

import numpy as np

from gradation.science.gradation import Combined, Gradation
from gradation.science.montecarlo import Sampled, confirms
from gradation.science.percentiles import percentile_name
from gradation.science.propagation import FloatArray
from gradation.science.size_uncertainty import SizeUncertainty, cross_check, size_uncertainty
from gradation.science.uncertainty import (
    Balance,
    PassingUncertainty,
    SplitUncertainty,
    Weighings,
    counting_covariance,
    passing_uncertainty,
    split_uncertainty,
)
from gradation.science.worksheet_form import Entry, Worksheet
from gradation.science.worksheet_masses import Weighed
from gradation.science.worksheet_refusals import known, sieve_name
from gradation.science.worksheet_requests import (
    ZERO,
    AtSieve,
    BalanceRequest,
    CrossCheckRequest,
    UncertaintyRequest,
)

METHOD = (
    "First-order propagation with covariance (JCGM 100:2008, 5.2.2) of the weighings, the "
    "apertures and the repeatability stated; U = k u. Sampling and division before the test "
    "portion are not in it. The aperture of a sieve moves its own point only; what repeats from "
    "portion to portion correlates as grains counted into classes."
)


def budget_of(
    worksheet: Worksheet, masses: Weighed, combined: Combined, curve: Gradation
) -> PassingUncertainty | None:
    """Give the uncertainty of the passing values, from what the worksheet states.

    Parameters
    ----------
    worksheet : Worksheet
        with `requests.uncertainty`, or without any
    masses : Weighed
        individual masses, completely weighed
    combined : Combined
        the same brought to the whole portion, with its factors
    curve : Gradation
        what they amount to

    Returns
    -------
    PassingUncertainty or None
        None when no uncertainty was asked for

    Raises
    ------
    NotDeterminable
        when a single sieve has an uncertain aperture, since its curve has no slope

    Notes
    -----
    An empty sieve was not weighed, so it adds no reading. Cumulative masses start anew below a
    split and in the pan. A split adds the weighings of both its parts, and what is stated for
    how well the part stands for the whole.

    References
    ----------
    As `uncertainty.passing_uncertainty`.

    Examples
    --------
    >>> from gradation.science.gradation import combine_splits, gradation
    >>> from gradation.science.worksheet_masses import weighed
    >>> sheet = Worksheet(())
    >>> run = gradation([75], [9.0, 1.0], 10.0)
    >>> budget_of(sheet, weighed(sheet), combine_splits([75], [9.0, 1.0], []), run) is None
    True
    """
    asked = worksheet.requests.uncertainty
    if asked is None:
        return None
    return passing_uncertainty(
        curve,
        _weighings(worksheet, masses, combined, asked),
        aperture_u_um=_by_sieve(curve, asked.apertures, "u_um"),
        repeatability=_repeatability(curve, asked),
    )


def _weighings(
    worksheet: Worksheet, masses: Weighed, combined: Combined, asked: UncertaintyRequest
) -> Weighings:
    """How the masses came about."""
    balance = _balance(asked.balance)
    counts = [len(each.increments_g) for each in masses.fractions]
    held = [*masses.masses_g, masses.pan_g or ZERO]
    readings = [*counts, len(worksheet.pan_increments_g)]
    return Weighings(
        balance=balance,
        dry_balance=_dry_balance(asked),
        cumulative=worksheet.entry is Entry.CUMULATIVE,
        increments=tuple(n if held_g else 0 for n, held_g in zip(readings, held, strict=True)),
        factors=tuple(combined.factors.tolist()),
        splits=_splits(worksheet, asked, balance),
        starts=_starts(worksheet, masses),
    )


def _balance(asked: BalanceRequest) -> Balance:
    """A balance in floating point."""
    return Balance(
        readability_g=float(asked.readability_g),
        repeatability_g=float(asked.repeatability_g),
        linearity_g=float(asked.linearity_g),
        scale_relative=float(asked.scale_u_pct) / 100.0,
        calibration_g=float(asked.calibration_u_g),
    )


def _dry_balance(asked: UncertaintyRequest) -> Balance | None:
    """The balance of the dry mass, or one that gives the uncertainty stated for it."""
    if asked.dry_balance is not None:
        return _balance(asked.dry_balance)
    if asked.dry_mass_u_g is None:
        return None
    return Balance(0.0, repeatability_g=float(asked.dry_mass_u_g) / sqrt(2))  # two readings a mass


def _splits(
    worksheet: Worksheet, asked: UncertaintyRequest, balance: Balance
) -> tuple[SplitUncertainty, ...]:
    """What each reduction adds: its weighings, and what is stated."""
    weighed = (
        split_uncertainty(
            float(each.below_um), float(each.passing_g), float(each.reduced_g), balance
        )
        for each in worksheet.splits_in_order
    )
    stated = (
        SplitUncertainty(float(each.below_um), float(each.u_pct) / 100.0) for each in asked.splits
    )
    return (*weighed, *stated)


def _starts(worksheet: Worksheet, masses: Weighed) -> tuple[int, ...]:
    """Rows at which cumulative masses start anew: below each split, and the pan."""
    apertures = [each.aperture_um for each in masses.fractions]
    below = [sum(1 for size in apertures if size >= each.below_um) for each in worksheet.splits]
    return tuple(sorted({*below, len(apertures)}))


def _by_sieve(curve: Gradation, stated: tuple[AtSieve, ...], name: str) -> FloatArray:
    """What is stated at each sieve, 0 where nothing is."""
    values = {float(each.aperture_um): float(getattr(each, name)) for each in stated}
    return np.array([values.get(float(size), 0.0) for size in curve.apertures_um])


def _repeatability(curve: Gradation, asked: UncertaintyRequest) -> FloatArray:
    """Covariance of repeated tests."""
    if asked.repeatability_sd_pct is None:
        sd = _by_sieve(curve, asked.repeatability, "sd_pct") / 100.0
    else:
        moves = (curve.passing > 0) & (curve.passing < 1)
        sd = np.where(moves, float(asked.repeatability_sd_pct) / 100.0, 0.0)
    return counting_covariance(sd, curve.passing)


def uncertainty_json(worksheet: Worksheet, found: PassingUncertainty) -> dict[str, Any]:
    """Give the uncertainty as plain data.

    Parameters
    ----------
    worksheet : Worksheet
        with the coverage factor, percentiles and interpolation
    found : PassingUncertainty
        of its passing values

    Returns
    -------
    dict
        coverage_factor, rows (u and U of passing, share of each source), correlation, sizes,
        cross_check, method

    Raises
    ------
    Nothing
        A D-value outside the sieves has null and a reason.

    Notes
    -----
    U = k u.

    References
    ----------
    JCGM 100:2008, 6.2.1 and 7.2.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.gradation import gradation
    >>> from gradation.science.worksheet_requests import Requests
    >>> run = gradation([1000, 500], [100.0, 150.0, 250.0], 500.0)
    >>> asked = UncertaintyRequest(BalanceRequest(Decimal("0.1")))
    >>> sheet = Worksheet((), requests=Requests(uncertainty=asked))
    >>> answer = uncertainty_json(sheet, passing_uncertainty(run, Weighings(Balance(0.1))))
    >>> [round(row["U_pct"], 4) for row in answer["rows"]]
    [0.0167, 0.0245]
    """
    asked = worksheet.requests.uncertainty
    k = 2.0 if asked is None else float(asked.coverage_factor)
    sizes = _sizes(worksheet, found)
    check = worksheet.requests.cross_check
    return {
        "coverage_factor": k,
        "rows": _rows(found, k),
        "correlation": found.correlation.tolist(),
        "sizes": _sizes_json(sizes, k),
        "cross_check": None if check is None else _checked(worksheet, found, (check, k, sizes)),
        "method": METHOD,
    }


def _rows(found: PassingUncertainty, k: float) -> list[dict[str, Any]]:
    """Passing with its uncertainty and the sources of it, sieve by sieve."""
    parts = {name: found.contribution(name) for name in found.sources}
    curve = found.gradation
    return [
        {
            "aperture_um": sieve_name(float(size)),
            "passing_pct": 100.0 * float(curve.passing[row]),
            "u_pct": 100.0 * float(found.standard[row]),
            "U_pct": 100.0 * k * float(found.standard[row]),
            "sources_pct": {
                name.replace(" ", "_"): 100.0 * float(u[row]) for name, u in parts.items()
            },
        }
        for row, size in enumerate(curve.apertures_um)
    ]


def _shares(worksheet: Worksheet) -> tuple[float, ...]:
    """Percentiles that have a slope: those below 100 %."""
    return tuple(float(each / 100) for each in worksheet.percentiles_pct if each < 100)


def _sizes(worksheet: Worksheet, found: PassingUncertainty) -> SizeUncertainty | None:
    """D-values with their uncertainty; None when none is asked for."""
    shares = _shares(worksheet)
    return size_uncertainty(found, shares, worksheet.interpolation) if shares else None


def _sizes_json(sizes: SizeUncertainty | None, k: float) -> dict[str, Any]:
    """D-values with u and U."""
    if sizes is None:
        return {}
    answers = {}
    for share, size_um, u_um in zip(sizes.shares, sizes.sizes_um, sizes.standard_um, strict=True):
        is_known = known(u_um) is not None
        answers[percentile_name(share)] = {
            "size_um": known(size_um),
            "u_um": known(u_um),
            "U_um": known(k * u_um),
            "reason": None if is_known else "This size lies outside the sieves of the nest.",
        }
    return answers


def _checked(
    worksheet: Worksheet,
    found: PassingUncertainty,
    asked: tuple[CrossCheckRequest, float, SizeUncertainty | None],
) -> dict[str, Any]:
    """The same uncertainty by drawing, beside the first-order law."""
    check, k, sizes = asked
    shares = _shares(worksheet)
    drawn = cross_check(
        found,
        shares,
        worksheet.interpolation,
        draws=int(check.draws),
        generator=np.random.default_rng(int(check.seed)),
    )
    names = [sieve_name(float(size)) for size in found.gradation.apertures_um]
    values = (found.gradation.passing, found.standard)
    confidence = erf(k / sqrt(2))  # what k covers of a normal distribution
    rows = [
        {"aperture_um": name} | _beside(drawn.draws[:, [c]], values, (c, 100.0), (k, confidence))
        for c, name in enumerate(names)
    ]
    by_size = {
        percentile_name(share): _beside(
            drawn.draws[:, [len(names) + c]],
            (sizes.sizes_um, sizes.standard_um), (c, 1.0), (k, confidence),
        )
        for c, share in enumerate(shares)
        if sizes is not None
    }  # fmt: skip
    return {
        "seed": int(check.seed),
        "draws": int(check.draws),
        "confidence": confidence,
        "rows": rows,
        "sizes_um": by_size,
    }


def _beside(
    draws: FloatArray,
    values: tuple[FloatArray, FloatArray],
    place: tuple[int, float],
    coverage: tuple[float, float],
) -> dict[str, Any]:
    """One value by drawing; first order counts as confirmed when two digits of u agree."""
    column, scale = place
    value, standard = (float(each[column]) for each in values)
    k, confidence = coverage
    if not (np.isfinite(draws).all() and np.isfinite(standard)):
        reason = "Some draws lie outside the sieves of the nest, so there is nothing to compare."
        return {"u_drawn": None, "low": None, "high": None, "confirmed": None, "reason": reason}
    sampled = Sampled(draws)
    low, high = sampled.interval(confidence)
    spread = float(sampled.standard[0])
    confirmed: bool | None = standard == 0.0
    if spread > 0.0:
        first_order = np.array([value]), np.array([k * standard])
        confirmed = bool(confirms(sampled, *first_order, confidence)[0] <= 1.0)
    return {
        "u_drawn": scale * spread,
        "low": scale * float(low[0]),
        "high": scale * float(high[0]),
        "confirmed": confirmed,
        "reason": None,
    }
