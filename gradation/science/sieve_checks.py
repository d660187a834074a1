"""Checks of a test sieve that tell its aperture: measured under the microscope, or with a material.

Public: `StatedLimits`, `MeasuredApertures`, `SieveVerdict`, `tolerance_source`, `judge_measured`,
`judge_effective`. The limits are those of an edition's table, or stated where no table is kept
here (perforated plate, electroformed sheet, sizes of no series).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from math import hypot, isnan, sqrt

from gradation.science.apertures import designation
from gradation.science.conformity import (
    ApertureSummary,
    Edition,
    Measuring,
    PermittedDeviations,
    assess_sieve,
    summarise_apertures,
)
from gradation.science.decisions import Outcome
from gradation.science.effective_apertures import ReferenceCertificate, effective_aperture
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.instrument_checks import Finding
from gradation.science.tables import read_table

_NOISE = 1e-9  # relative; a binary value at a decimal limit is at the limit


@dataclass(frozen=True, slots=True)
class StatedLimits:
    """Limits that the laboratory states itself, because no table of the edition is kept here.

    Parameters
    ----------
    nominal_um : float
        nominal aperture [µm]
    mean_y_um : float
        permitted deviation of the mean to either side [µm], > 0
    single_x_um : float
        permitted excess of a single aperture [µm], > 0
    source : str
        where they come from
    """

    nominal_um: float
    mean_y_um: float
    single_x_um: float
    source: str

    def __post_init__(self) -> None:
        """Refuse limits that are none."""
        if not (self.mean_y_um > 0 and self.single_x_um > 0 and self.source.strip()):
            raise OutOfRange("Stated limits are above zero and name their source.")


@dataclass(frozen=True, slots=True)
class MeasuredApertures:
    """Readings along warp and weft [µm].

    Parameters
    ----------
    warp_um, weft_um : tuple of float
        single apertures [µm], at least one in each direction
    largest_um : float | None
        largest opening found on the whole cloth, when it is not among the readings [µm]
    resolution_um : float
        smallest step of the measuring instrument [µm], >= 0
    """

    warp_um: tuple[float, ...]
    weft_um: tuple[float, ...]
    largest_um: float | None = None
    resolution_um: float = 0.0


@dataclass(frozen=True, slots=True)
class SieveVerdict:
    """What a check of the aperture comes to.

    Parameters
    ----------
    passed : bool
        whether the sieve keeps its limits
    sentence : str
        the verdict in words, with the standing of the limits
    findings : tuple of Finding
        each criterion
    notes : tuple of str
        what could not be judged, and where the limits come from
    limits_named : str
        edition or source of the limits
    aperture_um, standard_um : float
        aperture found and its standard uncertainty [µm]
    warp, weft : ApertureSummary | None
        what was measured; None for a check with a material
    """

    passed: bool
    sentence: str
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    limits_named: str
    aperture_um: float
    standard_um: float
    warp: ApertureSummary | None = None
    weft: ApertureSummary | None = None


SieveLimits = PermittedDeviations | StatedLimits


def tolerance_source(nominal_um: float | Decimal, edition: Edition) -> tuple[str, str]:
    """Give where an edition's limits at an aperture were read, and how far that can be trusted.

    Parameters
    ----------
    nominal_um : float or Decimal
        nominal aperture [µm]
    edition : Edition
        edition of the standard

    Returns
    -------
    tuple of str
        source and confidence ('confirmed', 'one source', 'from memory'); for a size the table does
        not list, that of its formulae

    Raises
    ------
    UnknownName
        when the table is missing

    Notes
    -----
    Whatever is not 'confirmed' is marked in the sentence of the check.

    References
    ----------
    `data/sieve_tolerances.csv`, a source in each row.

    Examples
    --------
    >>> tolerance_source(75, Edition.ASTM_E11_17)[1]
    'one source'
    """
    for row in read_table("sieve_tolerances"):
        if row["edition"] == edition.value and float(row["aperture_um"]) == float(nominal_um):
            return row["source"], row["confidence"]
    return f"formulae of {edition.words}", "from memory"


def judge_measured(measured: MeasuredApertures, limits: SieveLimits) -> SieveVerdict:
    """Verdict on a sieve whose apertures were measured.

    Parameters
    ----------
    measured : MeasuredApertures
        readings along warp and weft [µm]
    limits : PermittedDeviations or StatedLimits
        what they are held against

    Returns
    -------
    SieveVerdict
        verdict; the aperture found is the mean of both directions [µm]

    Raises
    ------
    Impossible
        when there is no reading in a direction, or one is not above zero
    OutOfRange
        for a negative resolution

    Notes
    -----
    Each direction on its own, by plain acceptance. The largest opening of the whole cloth counts in
    both directions, as it is not known along which it was seen.
    Aperture found x = (x_warp + x_weft) / 2 with
    u(x) = sqrt((s_warp^2 / n_warp + s_weft^2 / n_weft) / 4 + r^2 / 12), r the resolution.

    References
    ----------
    ISO 3310-1, order of the checks (from memory); JCGM 100:2008, 4.2.3 (mean of readings), F.2.2.1
    (resolution: rectangular, r / sqrt(12)).

    Examples
    --------
    >>> from gradation.science.conformity import permitted_deviations
    >>> cloth = MeasuredApertures((126.0, 128.0), (124.0, 126.0))
    >>> verdict = judge_measured(cloth, permitted_deviations(125, Edition.ASTM_E11_17))
    >>> verdict.passed, verdict.aperture_um, verdict.standard_um
    (True, 126.0, 0.7071067811865476)
    """
    if not measured.resolution_um >= 0:
        raise OutOfRange("The resolution of the measuring instrument cannot be negative (µm).")
    warp, weft = (
        _with_largest(summarise_apertures(readings), measured.largest_um)
        for readings in (measured.warp_um, measured.weft_um)
    )
    u_resolution = measured.resolution_um / sqrt(12)
    if isinstance(limits, StatedLimits):
        findings = _by_stated(warp, weft, limits)
        notes: tuple[str, ...] = ()
    else:
        found = assess_sieve(warp, weft, limits, Measuring(u_resolution))
        findings = tuple(
            Finding(each.sentence, each.outcome is Outcome.CONFORMS) for each in found.findings
        )
        notes = found.notes
    mean_um = (warp.mean_um + weft.mean_um) / 2
    said = f"mean aperture {mean_um:.2f} µm, largest {max(warp.largest_um, weft.largest_um):.2f} µm"
    return replace(
        _verdict(said, findings, limits),
        notes=(*notes, _standing(limits)),
        aperture_um=mean_um,
        standard_um=hypot(_of_mean(warp) / 2, _of_mean(weft) / 2, u_resolution),
        warp=warp,
        weft=weft,
    )


def _with_largest(cloth: ApertureSummary, largest_um: float | None) -> ApertureSummary:
    if largest_um is None:
        return cloth
    return replace(cloth, largest_um=max(cloth.largest_um, largest_um))


def _of_mean(cloth: ApertureSummary) -> float:
    return (cloth.sd_um or 0.0) / sqrt(cloth.count)


def _by_stated(
    warp: ApertureSummary, weft: ApertureSummary, limits: StatedLimits
) -> tuple[Finding, ...]:
    widest = limits.nominal_um + limits.single_x_um
    return tuple(
        finding
        for direction, cloth in (("warp", warp), ("weft", weft))
        for finding in (
            Finding(
                f"Largest aperture, {direction}: {cloth.largest_um:.2f} µm, permitted at most "
                f"{widest:.2f} µm.",
                cloth.largest_um <= widest * (1 + _NOISE),
            ),
            _mean_finding(f"Mean aperture, {direction}", cloth.mean_um, limits),
        )
    )


def _mean_finding(name: str, mean_um: float, limits: SieveLimits) -> Finding:
    low, high = limits.nominal_um - limits.mean_y_um, limits.nominal_um + limits.mean_y_um
    return Finding(
        f"{name}: {mean_um:.2f} µm, permitted {low:.2f} to {high:.2f} µm.",
        abs(mean_um - limits.nominal_um) <= limits.mean_y_um + _NOISE * limits.nominal_um,
    )


def judge_effective(
    certificate: ReferenceCertificate, passing: float, u_passing: float, limits: SieveLimits
) -> SieveVerdict:
    """Verdict on a sieve from the share of a reference material that passed it.

    Parameters
    ----------
    certificate : ReferenceCertificate
        certified distribution of the material
    passing : float
        share that passed, 0 to 1
    u_passing : float
        its standard uncertainty, >= 0
    limits : PermittedDeviations or StatedLimits
        what the effective aperture is held against

    Returns
    -------
    SieveVerdict
        passed when the effective aperture keeps the limits of the mean aperture

    Raises
    ------
    NotDeterminable
        when the share lies outside the certified range: the material cannot tell this sieve
    OutOfRange
        for a share outside 0 to 1 or a negative uncertainty

    Notes
    -----
    The limits Y of the mean aperture, by plain acceptance. An effective aperture says nothing of
    the largest opening.

    References
    ----------
    Effective aperture: see `effective_apertures`; holding it against Y is common practice.

    Examples
    --------
    >>> from gradation.science.conformity import permitted_deviations
    >>> beads = ReferenceCertificate((125, 140, 150, 160, 180), (0.1, 0.3, 0.5, 0.7, 0.9))
    >>> allowed = permitted_deviations(150, Edition.ASTM_E11_17)
    >>> verdict = judge_effective(beads, 0.46, 0.0, allowed)
    >>> verdict.passed, round(verdict.aperture_um, 6)
    (True, 148.0)
    """
    if not (0 <= passing <= 1 and u_passing >= 0):
        raise OutOfRange(
            "The passing lies between 0 and 100 % and its uncertainty is not negative."
        )
    found = effective_aperture(certificate, passing, u_passing)
    aperture_um, standard_um = float(found.aperture_um), float(found.standard_um)
    if isnan(aperture_um):
        low, high = certificate.passing[0] * 100, certificate.passing[-1] * 100
        raise NotDeterminable(
            f"{passing * 100:g} % passed, but the material is certified from {low:g} to {high:g} % "
            "only. Use a material whose middle lies at the aperture of this sieve."
        )
    finding = _mean_finding("Effective aperture", aperture_um, limits)
    said = f"effective aperture {aperture_um:.2f} µm from {passing * 100:.2f} % passing"
    return replace(
        _verdict(said, (finding,), limits),
        notes=("The largest opening is not told by a material.", _standing(limits)),
        aperture_um=aperture_um,
        standard_um=standard_um,
    )


def _verdict(said: str, findings: tuple[Finding, ...], limits: SieveLimits) -> SieveVerdict:
    outside = [finding.text for finding in findings if not finding.ok]
    named = _named(limits)
    size = designation(limits.nominal_um)
    opening = "Does not conform" if outside else "Conforms"
    sentence = f"{opening} to {named}, {size}: {said}."
    if outside:
        sentence += f" {outside[0]}"
    if len(outside) > 1:
        sentence += f" And {len(outside) - 1} more."
    return SieveVerdict(
        passed=not outside,
        sentence=f"{sentence}{_mark(limits)}",
        findings=findings,
        notes=(),
        limits_named=named,
        aperture_um=limits.nominal_um,
        standard_um=0.0,
    )


def _named(limits: SieveLimits) -> str:
    if isinstance(limits, StatedLimits):
        return f"stated limits ({limits.source.strip()})"
    return f"{limits.edition.words}, {limits.grade.value} grade"


def _mark(limits: SieveLimits) -> str:
    """Say in the sentence itself when nobody confirmed the limits."""
    doubt = _doubt(limits)
    return f" (Limits {doubt}: confirm them against your own edition.)" if doubt else ""


def _standing(limits: SieveLimits) -> str:
    if isinstance(limits, StatedLimits):
        return f"Limits stated by the laboratory: {limits.source.strip()}."
    doubt = _doubt(limits)
    words = f", {doubt}" if doubt else ""
    return f"Limits: permitted deviations of {limits.edition.words}{words}."


def _doubt(limits: SieveLimits) -> str:
    """How little sure the limits are; empty for those that are stated, or confirmed."""
    if isinstance(limits, StatedLimits):
        return ""
    confidence = tolerance_source(limits.nominal_um, limits.edition)[1]
    return {"confirmed": "", "one source": "from one source"}.get(confidence, confidence)
