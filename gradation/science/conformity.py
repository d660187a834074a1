"""Conformity of a test sieve: measured apertures against the permitted deviations.

The edition of the standard is the laboratory's choice and is kept with the verdict, because
editions differ: the 2016 ISO table allows nine tenths of what the ASTM formula allows.

Public: `Edition`, `Grade`, `Measuring`, `deviation_formulae_um`,
`permitted_deviations`, `summarise_apertures`, `assess_sieve`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from math import hypot, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.apertures import designation
from gradation.science.decisions import DecisionRule, Limits, Outcome, decide, overall
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.tables import read_table

SMALLEST_UM, LARGEST_UM = 20.0, 125_000.0  # range of ASTM E11-17 and ISO 3310-1 wire cloth


class Edition(StrEnum):
    """Whose permitted deviations a sieve is held against."""

    ASTM_E11_17 = "astm_e11_17"
    ISO_3310_1_2016 = "iso_3310_1_2016"

    @property
    def words(self) -> str:
        """The edition as a certificate names it."""
        return {"astm_e11_17": "ASTM E11-17", "iso_3310_1_2016": "ISO 3310-1:2016"}[self.value]


class Grade(StrEnum):
    """How closely the apertures may scatter: three grades of test sieve."""

    COMPLIANCE = "compliance"
    INSPECTION = "inspection"
    CALIBRATION = "calibration"


@dataclass(frozen=True, slots=True)
class PermittedDeviations:
    """What an edition allows at one nominal aperture.

    Parameters
    ----------
    nominal_um : float
        nominal aperture [um]
    edition : Edition
        edition it is taken from
    grade : Grade
        grade of the sieve
    mean_y_um, single_x_um : float
        deviation of the mean to either side, and of a single aperture upwards [um]
    sd_um : float | None
        largest standard deviation [um]; None where the table gives none
    from_formula : bool
        True when the size is in no table, so that the edition's formulae were used
    apertures_asked : int | None
        number of apertures the table asks to be measured; None where it gives none
    """

    nominal_um: float
    edition: Edition
    grade: Grade
    mean_y_um: float
    single_x_um: float
    sd_um: float | None
    from_formula: bool
    apertures_asked: int | None


@dataclass(frozen=True, slots=True)
class ApertureSummary:
    """Apertures measured in one direction of the cloth.

    Parameters
    ----------
    count : int
        apertures measured
    mean_um, largest_um : float
        their mean and the largest of them [um]
    sd_um : float | None
        sample standard deviation [um]; None for a single aperture
    """

    count: int
    mean_um: float
    largest_um: float
    sd_um: float | None


@dataclass(frozen=True, slots=True)
class Measuring:
    """How the apertures were measured and how the verdict is to be taken.

    Parameters
    ----------
    standard_uncertainty_um : float
        standard uncertainty of the instrument, common to all readings [um], >= 0
    rule : DecisionRule
        how the uncertainty enters the verdict; plain acceptance unless agreed otherwise
    """

    standard_uncertainty_um: float = 0.0
    rule: DecisionRule = field(default_factory=DecisionRule)


@dataclass(frozen=True, slots=True)
class Finding:
    """One criterion in one direction.

    Parameters
    ----------
    criterion : str
        'mean', 'largest' or 'standard deviation'
    direction : str
        'warp' or 'weft'
    measured_um, expanded_uncertainty_um : float
        value found and its expanded uncertainty [um]
    lower_um, upper_um : float | None
        limits [um]; None where there is none on that side
    margin_um : float
        distance to the nearer limit [um]; negative outside
    outcome : Outcome
        verdict
    sentence : str
        the finding in words
    """

    criterion: str
    direction: str
    measured_um: float
    expanded_uncertainty_um: float
    lower_um: float | None
    upper_um: float
    margin_um: float
    outcome: Outcome
    sentence: str


@dataclass(frozen=True, slots=True)
class SieveConformity:
    """Verdict on a sieve.

    Parameters
    ----------
    outcome : Outcome
        does not conform if any finding does not; not decidable if any is; else conforms
    findings : tuple of Finding
        every criterion in both directions
    notes : tuple of str
        what could not be judged, or was measured on too few apertures
    permitted : PermittedDeviations
        what it was held against
    """

    outcome: Outcome
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    permitted: PermittedDeviations


def deviation_formulae_um(nominal_um: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Permitted deviations Y and X of woven wire cloth by the formulae of ASTM E11-17.

    Parameters
    ----------
    nominal_um : array_like, (...)
        nominal aperture [um], 20 to 125 000

    Returns
    -------
    tuple of ndarray, (...)
        ``Y``, permitted deviation of the mean to either side, and ``X``, permitted excess of
        a single aperture [um]

    Raises
    ------
    OutOfRange
        for an aperture outside 20 um to 125 mm

    Notes
    -----
    ``Y = w^0.98 / 27 + 1.6`` and ``X = (2/3) w^0.75 + 4 w^0.25`` with ``w`` in um. All 56
    printed pairs of E11-17 equal them to the rounding of the table.

    References
    ----------
    ASTM E11-17, formulae of the table of dimensions; ISO 3310-1:2000 has the same (memory).

    Examples
    --------
    >>> Y, X = deviation_formulae_um(150.0)
    >>> round(float(Y), 2), round(float(X), 2)
    (6.63, 42.57)
    """
    w = np.asarray(nominal_um, dtype=np.float64)
    if not np.all((w >= SMALLEST_UM) & (w <= LARGEST_UM)):
        raise OutOfRange("Permitted deviations of wire cloth are given from 20 µm to 125 mm only.")
    return np.asarray(w**0.98 / 27 + 1.6), np.asarray(2 / 3 * w**0.75 + 4 * w**0.25)


def permitted_deviations(
    nominal_um: float | Decimal, edition: Edition, grade: Grade = Grade.COMPLIANCE
) -> PermittedDeviations:
    """What an edition allows at one nominal aperture.

    Parameters
    ----------
    nominal_um : float or Decimal
        nominal aperture [um]
    edition : Edition
        edition of the standard
    grade : Grade
        grade of the sieve; sets the permitted standard deviation

    Returns
    -------
    PermittedDeviations
        printed values where the table has the size, else those of the formulae

    Raises
    ------
    OutOfRange
        for an aperture outside 20 um to 125 mm
    NotDeterminable
        when the ISO table does not list the size; its text was not at hand, so no formula
        stands in for it

    Notes
    -----
    Printed values go before the formulae because an assessor compares with the table.
    Inspection and calibration limits exist only in the ASTM table.

    References
    ----------
    ASTM E11-17 and ISO 3310-1:2016, tables as kept in `data/sieve_tolerances.csv`.

    Examples
    --------
    >>> allowed = permitted_deviations(125, Edition.ISO_3310_1_2016)
    >>> allowed.mean_y_um, allowed.single_x_um, allowed.sd_um
    (5.2, 34.0, 12.2)
    """
    w = float(nominal_um)
    formula_y, formula_x = deviation_formulae_um(w)
    printed = _printed(w, edition)
    in_table = bool(printed)
    mean_y, single_x = (_number(printed, name) for name in ("mean_y_um", "single_x_um"))
    if not in_table and edition is Edition.ISO_3310_1_2016:
        raise NotDeterminable(
            f"{edition.words} lists no sieve of {designation(w)}. Choose a size of its series, "
            "or hold the sieve against the other edition."
        )
    asked = _number(printed, f"{grade.value}_apertures")
    return PermittedDeviations(
        nominal_um=w,
        edition=edition,
        grade=grade,
        mean_y_um=float(formula_y) if mean_y is None else mean_y,
        single_x_um=float(formula_x) if single_x is None else single_x,
        sd_um=_number(printed, f"{grade.value}_sd_um"),
        from_formula=not in_table,
        apertures_asked=None if asked is None else int(asked),
    )


def summarise_apertures(readings_um: ArrayLike) -> ApertureSummary:
    """Mean, largest and standard deviation of apertures measured in one direction.

    Parameters
    ----------
    readings_um : array_like, (n,)
        single apertures [um], each > 0, n >= 1

    Returns
    -------
    ApertureSummary
        the summary; no standard deviation for a single reading

    Raises
    ------
    Impossible
        when there is no reading, or one is zero, negative or not a number

    Notes
    -----
    The standard deviation divides by ``n - 1``.

    References
    ----------
    ISO 3310-1, measurement of apertures (mean and largest in both directions; memory).

    Examples
    --------
    >>> summarise_apertures([124.0, 126.0, 128.0])
    ApertureSummary(count=3, mean_um=126.0, largest_um=128.0, sd_um=2.0)
    """
    readings = np.asarray(readings_um, dtype=np.float64)
    if readings.ndim != 1 or readings.size == 0:
        raise Impossible("No aperture was measured in this direction. Enter at least one reading.")
    if not np.all(np.isfinite(readings) & (readings > 0)):
        position = int(np.argmin(np.isfinite(readings) & (readings > 0))) + 1
        raise Impossible(f"Aperture reading {position} is not above zero; measure it again.")
    return ApertureSummary(
        count=int(readings.size),
        mean_um=float(readings.mean()),
        largest_um=float(readings.max()),
        sd_um=float(readings.std(ddof=1)) if readings.size > 1 else None,
    )


def assess_sieve(
    warp: ApertureSummary,
    weft: ApertureSummary,
    permitted: PermittedDeviations,
    measuring: Measuring | None = None,
) -> SieveConformity:
    """Verdict on a sieve from its apertures measured along warp and weft.

    Parameters
    ----------
    warp, weft : ApertureSummary
        apertures measured in each direction
    permitted : PermittedDeviations
        what they are held against
    measuring : Measuring, optional
        uncertainty of the instrument and decision rule; plain and exact by default

    Returns
    -------
    SieveConformity
        verdict, findings in the order largest, mean, standard deviation, and notes

    Raises
    ------
    OutOfRange
        for a negative uncertainty of the instrument

    Notes
    -----
    Each direction on its own: ``largest <= w + X``, ``w - Y <= mean <= w + Y``,
    ``sd <= limit``; limits belong to the permitted range. With ``u`` the instrument's and
    ``s`` the readings' standard deviation: ``u(mean) = sqrt(s^2/n + u^2)``,
    ``u(largest) = u``, ``u(sd) = s / sqrt(2 (n - 1))`` (normal readings). The rule
    decides as in `decisions.decide`. Too few apertures are noted and left to the keeper.

    References
    ----------
    ISO 3310-1 (order of the checks; memory); JCGM 106:2012 clause 8.3 (guard bands);
    JCGM 100:2008 annex E.4.3 (uncertainty of a standard deviation).

    Examples
    --------
    >>> allowed = permitted_deviations(125, Edition.ASTM_E11_17)
    >>> cloth = ApertureSummary(count=100, mean_um=127.0, largest_um=150.0, sd_um=6.0)
    >>> assess_sieve(cloth, cloth, allowed).outcome.value
    'conforms'
    """
    how = measuring or Measuring()
    _check_measuring(how)
    findings = tuple(
        finding
        for direction, cloth in (("warp", warp), ("weft", weft))
        for finding in _findings(direction, cloth, permitted, how)
    )
    worst = overall([finding.outcome for finding in findings])
    notes = tuple(_notes(warp, weft, permitted))
    return SieveConformity(outcome=worst, findings=findings, notes=notes, permitted=permitted)


def _check_measuring(how: Measuring) -> None:
    if not (isfinite(how.standard_uncertainty_um) and how.standard_uncertainty_um >= 0):
        raise OutOfRange("The uncertainty of the measuring instrument cannot be negative (µm).")


def _findings(
    direction: str, cloth: ApertureSummary, permitted: PermittedDeviations, how: Measuring
) -> Iterator[Finding]:
    w, u = permitted.nominal_um, how.standard_uncertainty_um
    spread = cloth.sd_um or 0.0
    widest = w + permitted.single_x_um
    yield _finding(("largest", direction, cloth.largest_um, u), (None, widest), how)
    limits = (w - permitted.mean_y_um, w + permitted.mean_y_um)
    u_mean = hypot(spread / sqrt(cloth.count), u)
    yield _finding(("mean", direction, cloth.mean_um, u_mean), limits, how)
    if cloth.sd_um is not None and permitted.sd_um is not None:
        u_sd = cloth.sd_um / sqrt(2 * (cloth.count - 1))
        measured = ("standard deviation", direction, cloth.sd_um, u_sd)
        yield _finding(measured, (None, permitted.sd_um), how)


def _finding(
    measured: tuple[str, str, float, float], limits: tuple[float | None, float], how: Measuring
) -> Finding:
    criterion, direction, value, u = measured
    lower, upper = limits
    decided = decide(value, u, Limits(lower, upper), how.rule)
    outcome = Outcome(decided.outcomes.item())
    U = how.rule.coverage_factor * u
    margin = float(decided.margin)
    return Finding(
        criterion=criterion,
        direction=direction,
        measured_um=value,
        expanded_uncertainty_um=U,
        lower_um=lower,
        upper_um=upper,
        margin_um=margin,
        outcome=outcome,
        sentence=_sentence(measured, limits, margin, U),
    )


def _sentence(
    measured: tuple[str, str, float, float],
    limits: tuple[float | None, float],
    margin: float,
    U: float,
) -> str:
    criterion, direction, value, _ = measured
    lower, upper = limits
    name = {"mean": "Mean aperture", "largest": "Largest aperture"}.get(
        criterion, "Standard deviation of the apertures"
    )
    beside = f"at most {upper:.2f} µm" if lower is None else f"{lower:.2f} to {upper:.2f} µm"
    place = "inside" if margin >= -1e-9 * upper else "outside"  # binary noise at the limit itself
    near = (
        f"; nearer to the limit than its uncertainty of {U:.2f} µm"
        if U > 0 and abs(margin) < U
        else ""
    )
    return (
        f"{name}, {direction}: {value:.2f} µm, permitted {beside}: {place} by "
        f"{abs(margin):.2f} µm{near}."
    )


def _notes(
    warp: ApertureSummary, weft: ApertureSummary, permitted: PermittedDeviations
) -> Iterator[str]:
    if permitted.sd_um is None:
        yield (
            f"{permitted.edition.words} as kept here gives no limit for the standard deviation "
            f"of a {permitted.grade.value} sieve of {designation(permitted.nominal_um)}; it was "
            "not judged."
        )
    if permitted.from_formula:
        yield (
            f"{permitted.edition.words} does not list {designation(permitted.nominal_um)}; the "
            "limits were calculated by its formulae."
        )
    asked = permitted.apertures_asked
    fewest = min(warp.count, weft.count)
    if asked is not None and fewest < asked:
        yield (
            f"Only {fewest} apertures were measured in one direction; the table asks for {asked}."
        )


def _printed(aperture_um: float, edition: Edition) -> Mapping[str, str]:
    for row in read_table("sieve_tolerances"):
        if row["edition"] == edition.value and float(row["aperture_um"]) == aperture_um:
            return row
    return {}


def _number(row: Mapping[str, str], column: str) -> float | None:
    text = row.get(column, "")
    return float(text) if text else None
