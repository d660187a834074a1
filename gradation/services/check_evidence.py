"""What a check of equipment brings, and the verdict computed from it: none is typed.

Each kind of evidence is a frozen dataclass; `judge` turns it into what is kept. Figures that cannot
be taken are refused beside their field.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import singledispatch
from typing import Any

from gradation.errors import Conflict, Invalid
from gradation.models import Check, Equipment, ReferenceLot, Sieve
from gradation.queries.due import awaits_first_check
from gradation.queries.reference_lots import certificate_of
from gradation.queries.sieve_limits import sieve_limits
from gradation.science.conformity import ApertureSummary
from gradation.science.errors import GradationError
from gradation.science.instrument_checks import (
    CheckVerdict,
    CheckWeight,
    Finding,
    ShakerFigures,
    check_against_master,
    check_halves,
    check_shaker,
    check_temperature,
    check_visual,
    check_weights,
)
from gradation.science.sieve_checks import (
    MeasuredApertures,
    SieveLimits,
    SieveVerdict,
    StatedLimits,
    judge_effective,
    judge_measured,
)
from gradation.services.checking import shortened

__all__ = [
    "VISUAL_ITEMS",
    "VISUAL_ITEMS_INSTRUMENT",
    "ApertureEvidence",
    "Evidence",
    "HalvesEvidence",
    "Judgement",
    "MasterEvidence",
    "OwnLimits",
    "ReferenceEvidence",
    "ShakerEvidence",
    "TemperatureEvidence",
    "VisualEvidence",
    "WeightsEvidence",
    "judge",
]

Kind = Equipment.Kind
Figure = Decimal | float | int

#: What is looked at on a sieve, each said so that "yes" is good. Common practice.
VISUAL_ITEMS = (
    "cloth taut, no sag",
    "no tear, no hole",
    "no crack at the solder",
    "no loose or bent wire",
    "openings free, not blinded",
    "frame round, no dent",
    "plate legible",
)
VISUAL_ITEMS_INSTRUMENT = ("clean", "undamaged", "level and firm", "label legible")


@dataclass(frozen=True)
class OwnLimits:
    """Limits stated with a check because no table holds the sieve: deviations [µm] and source."""

    mean_um: Figure
    single_um: Figure
    source: str


@dataclass(frozen=True)
class VisualEvidence:
    """A look by a list: what was looked at, and whether it is in order."""

    items: Mapping[str, bool]


@dataclass(frozen=True)
class ApertureEvidence:
    """Single apertures measured along warp and weft [µm]."""

    warp_um: Sequence[Figure]
    weft_um: Sequence[Figure]
    largest_um: Figure | None = None
    resolution_um: Figure | None = None
    limits: OwnLimits | None = None


@dataclass(frozen=True)
class ReferenceEvidence:
    """A reference material sieved: what passed [%], and the standard uncertainty of that [%]."""

    lot: ReferenceLot
    observed_passing_pct: Figure
    u_pct: Figure = Decimal(0)
    limits: OwnLimits | None = None


@dataclass(frozen=True)
class MasterEvidence:
    """Split portions on this sieve and on a master sieve: passing [%], permitted difference [%]."""

    master: Sieve
    this_passing_pct: Figure
    master_passing_pct: Figure
    limit_pct: Figure


@dataclass(frozen=True)
class WeightsEvidence:
    """Check-weights: mass, reading and permitted deviation of each [g]."""

    rows: Sequence[tuple[Figure, Figure, Figure]]


@dataclass(frozen=True)
class ShakerEvidence:
    """Amplitude, timer or both; what was not looked at stays None."""

    amplitude_mm: Figure | None = None
    set_amplitude_mm: Figure | None = None
    tolerance_mm: Figure | None = None
    timer_s: Figure | None = None
    reference_s: Figure | None = None
    timer_limit_s: Figure | None = None


@dataclass(frozen=True)
class TemperatureEvidence:
    """A temperature wanted and found [°C]."""

    set_c: Figure
    found_c: Figure
    tolerance_c: Figure


@dataclass(frozen=True)
class HalvesEvidence:
    """The two halves a divider gave [g], and how far they may differ [% of their mean]."""

    left_g: Figure
    right_g: Figure
    limit_pct: Figure


Evidence = (
    VisualEvidence
    | ApertureEvidence
    | ReferenceEvidence
    | MasterEvidence
    | WeightsEvidence
    | ShakerEvidence
    | TemperatureEvidence
    | HalvesEvidence
)


@dataclass(frozen=True)
class Judgement:
    """What is kept of a check: verdict, figures, findings."""

    kind: Check.Kind
    passed: bool
    sentence: str
    readings: dict[str, Any]
    findings: dict[str, Any]
    more: dict[str, Any] = field(default_factory=dict)
    """Further columns of the check: edition, aperture found, lot, master sieve."""

    @property
    def error_pct(self) -> Decimal | None:
        """Give the greatest relative error of a balance [%]; None for other checks."""
        error = self.findings.get("error_pct")
        return None if error is None else Decimal(error)


def judge(evidence: Evidence, item: Equipment, performed_on: date) -> Judgement:
    """Compute the verdict, or refuse (`Invalid`) evidence that does not fit the item."""
    _refuse_other_kind(evidence, item)
    try:
        return _judgement(evidence, item, performed_on)
    except GradationError as error:
        raise Invalid.one("evidence", str(error), code="cannot-judge") from error


_FOR_KINDS: dict[type, frozenset[str]] = {
    ApertureEvidence: frozenset({Kind.SIEVE.value}),
    ReferenceEvidence: frozenset({Kind.SIEVE.value}),
    MasterEvidence: frozenset({Kind.SIEVE.value}),
    WeightsEvidence: frozenset({Kind.BALANCE.value}),
    ShakerEvidence: frozenset({Kind.SHAKER.value, Kind.TIMER.value}),
    TemperatureEvidence: frozenset({Kind.OVEN.value, Kind.THERMOMETER.value}),
    HalvesEvidence: frozenset({Kind.DIVIDER.value}),
}


def _refuse_other_kind(evidence: Evidence, item: Equipment) -> None:
    kinds = _FOR_KINDS.get(type(evidence))
    if kinds is not None and item.kind not in kinds:
        msg = f"{item} is a {item.kind}; this check is made of a {' or '.join(sorted(kinds))}."
        raise Invalid.one("evidence", msg, code="other-kind")


@singledispatch
def _judgement(evidence: object, item: Equipment, performed_on: date) -> Judgement:
    raise TypeError(type(evidence))


@_judgement.register
def _(evidence: VisualEvidence, item: Equipment, performed_on: date) -> Judgement:
    readings = {"items": dict(evidence.items)}
    return _simple(Check.Kind.VISUAL, check_visual(evidence.items), readings)


@_judgement.register
def _(evidence: WeightsEvidence, item: Equipment, performed_on: date) -> Judgement:
    weights = [CheckWeight(*(_exact("rows", part) for part in row)) for row in evidence.rows]
    verdict = check_weights(weights)
    readings = {"rows": [[str(w.nominal_g), str(w.reading_g), str(w.limit_g)] for w in weights]}
    judgement = _simple(Check.Kind.WEIGHTS, verdict, readings)
    judgement.findings["error_pct"] = f"{verdict.error_pct:.4f}"
    return judgement


@_judgement.register
def _(evidence: ShakerEvidence, item: Equipment, performed_on: date) -> Judgement:
    figures = {
        name: None if value is None else _exact(name, value)
        for name, value in vars(evidence).items()
    }
    readings = {name: str(value) for name, value in figures.items() if value is not None}
    return _simple(Check.Kind.SHAKER, check_shaker(ShakerFigures(**figures)), readings)


@_judgement.register
def _(evidence: TemperatureEvidence, item: Equipment, performed_on: date) -> Judgement:
    figures = {name: _exact(name, value) for name, value in vars(evidence).items()}
    return _simple(Check.Kind.TEMPERATURE, check_temperature(**figures), _typed(figures))


@_judgement.register
def _(evidence: HalvesEvidence, item: Equipment, performed_on: date) -> Judgement:
    figures = {name: _exact(name, value) for name, value in vars(evidence).items()}
    return _simple(Check.Kind.HALVES, check_halves(**figures), _typed(figures))


@_judgement.register
def _(evidence: MasterEvidence, item: Equipment, performed_on: date) -> Judgement:
    figures = {
        name: _exact(name, value) for name, value in vars(evidence).items() if name != "master"
    }
    _refuse_no_master(evidence.master, _as_sieve(item), performed_on)
    judgement = _simple(Check.Kind.MASTER, check_against_master(**figures), _typed(figures))
    judgement.more["master"] = evidence.master
    return judgement


def _refuse_no_master(master: Sieve, sieve: Sieve, performed_on: date) -> None:
    fault = ""
    if not master.is_master or master.pk == sieve.pk:
        fault = f"{master} is no master sieve. Choose one of that class."
    elif master.aperture_um != sieve.aperture_um:
        fault = f"{master} has another aperture than {sieve}."
    elif master.state != Equipment.State.IN_SERVICE:
        fault = f"Master sieve {master} is {master.state}: {master.state_reason}"
    elif awaits_first_check(master):
        fault = f"Master sieve {master} is new and not checked yet. Check it first."
    elif master.next_check_on is not None and master.next_check_on < performed_on:
        fault = f"The check of master sieve {master} was due on {master.next_check_on:%d %b %Y}."
    if fault:
        raise Invalid.one("master", fault, code="master-unfit")


@_judgement.register
def _(evidence: ApertureEvidence, item: Equipment, performed_on: date) -> Judgement:
    sieve = _as_sieve(item)
    measured = MeasuredApertures(
        tuple(_finite("warp_um", value) for value in evidence.warp_um),
        tuple(_finite("weft_um", value) for value in evidence.weft_um),
        None if evidence.largest_um is None else _finite("largest_um", evidence.largest_um),
        0.0 if evidence.resolution_um is None else _finite("resolution", evidence.resolution_um),
    )
    verdict = judge_measured(measured, _limits(sieve, evidence.limits))
    readings: dict[str, Any] = {
        "warp_um": [str(value) for value in evidence.warp_um],
        "weft_um": [str(value) for value in evidence.weft_um],
        "resolution_um": str(evidence.resolution_um or ""),
        "largest_aperture_um": f"{max(_largest(verdict)):.2f}",
    }
    return _of_sieve(Check.Kind.APERTURE, verdict, readings)


def _largest(verdict: SieveVerdict) -> list[float]:
    return [cloth.largest_um for cloth in (verdict.warp, verdict.weft) if cloth is not None]


@_judgement.register
def _(evidence: ReferenceEvidence, item: Equipment, performed_on: date) -> Judgement:
    sieve, lot = _as_sieve(item), evidence.lot
    _refuse_spent(lot, performed_on)
    passing_pct = _finite("observed_passing_pct", evidence.observed_passing_pct)
    u_pct = _finite("u_pct", evidence.u_pct)
    verdict = judge_effective(
        certificate_of(lot), passing_pct / 100, u_pct / 100, _limits(sieve, evidence.limits)
    )
    readings = {
        "observed_passing_pct": str(evidence.observed_passing_pct),
        "u_pct": str(evidence.u_pct),
        "lot": str(lot),
        "lot_use": lot.use_count + 1,
    }
    judgement = _of_sieve(Check.Kind.REFERENCE, verdict, readings)
    judgement.more["reference_lot"] = lot
    return judgement


def _refuse_spent(lot: ReferenceLot, performed_on: date) -> None:
    fault = ""
    if not lot.is_active:
        fault = f"Lot {lot} was retired."
    elif lot.expires_on is not None and lot.expires_on < performed_on:
        fault = f"Lot {lot} expired on {lot.expires_on:%d %b %Y}."
    elif lot.most_uses is not None and lot.use_count >= lot.most_uses:
        fault = f"Lot {lot} was used {lot.use_count} times; {lot.most_uses} are allowed."
    if fault:
        raise Conflict(f"{fault} Take another lot.", code="lot-spent", field="lot")


def _as_sieve(item: Equipment) -> Sieve:
    return item if isinstance(item, Sieve) else Sieve.objects.get(pk=item.pk)


def _limits(sieve: Sieve, own: OwnLimits | None) -> SieveLimits:
    if own is None:
        return sieve_limits(sieve)
    return StatedLimits(
        float(sieve.aperture_um),
        _finite("limits", own.mean_um),
        _finite("limits", own.single_um),
        own.source,
    )


def _of_sieve(kind: Check.Kind, verdict: SieveVerdict, readings: dict[str, Any]) -> Judgement:
    findings = _findings(verdict.findings, verdict.notes)
    for direction, cloth in (("warp", verdict.warp), ("weft", verdict.weft)):
        if cloth is not None:
            findings[direction] = _summary(cloth)
    return Judgement(
        kind,
        verdict.passed,
        shortened(verdict.sentence, 400),
        readings,
        findings,
        {
            "edition": verdict.limits_named[:80],
            "found_aperture_um": Decimal(f"{verdict.aperture_um:.2f}"),
            "found_u_um": Decimal(f"{verdict.standard_um:.3f}"),
        },
    )


def _summary(cloth: ApertureSummary) -> dict[str, Any]:
    return {
        "count": cloth.count,
        "mean_um": round(cloth.mean_um, 3),
        "largest_um": round(cloth.largest_um, 3),
        "sd_um": None if cloth.sd_um is None else round(cloth.sd_um, 3),
    }


def _simple(kind: Check.Kind, verdict: CheckVerdict, readings: dict[str, Any]) -> Judgement:
    findings = _findings(verdict.findings, ())
    sentence = shortened(verdict.sentence, 400)
    return Judgement(kind, verdict.passed, sentence, readings, findings)


def _findings(found: Sequence[Finding], notes: Sequence[str]) -> dict[str, Any]:
    lines = [{"text": finding.text, "ok": finding.ok} for finding in found]
    return {"lines": lines, "notes": list(notes)}


def _typed(figures: Mapping[str, Decimal]) -> dict[str, str]:
    return {name: str(value) for name, value in figures.items()}


def _exact(name: str, value: Figure) -> Decimal:
    exact = value if isinstance(value, Decimal) else Decimal(str(value))
    if not exact.is_finite():
        raise Invalid.one(name, "This figure is no number. Type it again.", code="not-a-number")
    return exact


def _finite(name: str, value: Figure) -> float:
    return float(_exact(name, value))
