"""Calculations on test sieves: conformity, wear, effective aperture."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from typing import Any

import numpy as np

from gradation.science.acceptance import Verdict, against_limit
from gradation.science.calculations.decisions import CODES, read_decision
from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    check_percent,
    maybe,
    number,
    numbers,
    percents,
)
from gradation.science.calculations.writing import from_memory, plain, record
from gradation.science.conformity import (
    ApertureSummary,
    Edition,
    Grade,
    Measuring,
    assess_sieve,
    permitted_deviations,
    summarise_apertures,
)
from gradation.science.effective_apertures import (
    ReferenceCertificate,
    SizeScale,
    effective_aperture,
)
from gradation.science.wear import WearLimits, forecast_dates, forecast_uses, wear_trend
from gradation.science.worksheet_reading import Fields

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")  # one form of ISO 8601; Python reads others too


def _sieve_conformity(fields: Fields) -> Answer:
    """Measured apertures against the permitted deviations of an edition."""
    fields.only(("nominal_um", "edition", "grade", "warp", "weft", "u_um", "decision"))
    fields.require("nominal_um", "edition")
    nominal_um = number(fields, "nominal_um", 100.0, above=ZERO)
    edition = fields.choice("edition", Edition.ASTM_E11_17)
    grade = fields.choice("grade", Grade.COMPLIANCE)
    u_um, rule = number(fields, "u_um", least=ZERO), read_decision(fields.object("decision"))
    if fields.has("warp") != fields.has("weft"):
        fields.fault("weft" if fields.has("warp") else "warp", "is missing; both are judged.")
    cloths = [_cloth(fields.object(name)) for name in ("warp", "weft")]

    def answer() -> dict[str, Any]:
        permitted = permitted_deviations(nominal_um, edition, grade)
        given = [each for each in cloths if each is not None]
        found: dict[str, Any] = {"outcome": None, "findings": [], "notes": []}
        if len(given) == 2:
            verdict = assess_sieve(given[0], given[1], permitted, Measuring(u_um, rule))
            found = record(verdict) | {
                "outcome": CODES[verdict.outcome],
                "findings": [record(e) | {"outcome": CODES[e.outcome]} for e in verdict.findings],
            }
        return {
            **found,
            "edition": edition.words,
            "permitted": plain(permitted),
            "warp": plain(cloths[0]),
            "weft": plain(cloths[1]),
            "unconfirmed": from_memory("sieve_tolerances", [edition.value]),
        }

    return answer


def _cloth(fields: Fields | None) -> ApertureSummary | None:
    """Apertures of one direction: every reading, or their summary."""
    if fields is None:
        return None
    fields.only(("readings_um", "count", "mean_um", "largest_um", "sd_um"))
    if fields.has("readings_um"):
        readings = numbers(fields, "readings_um", above=ZERO)
        return summarise_apertures(readings) if readings else None
    fields.require("count", "mean_um", "largest_um")
    count = fields.whole("count", 1, 1_000_000)
    if fields.has("count") and count < 1:
        fields.fault("count", "must be 1 or more.")
    return ApertureSummary(
        count,
        number(fields, "mean_um", above=ZERO),
        number(fields, "largest_um", above=ZERO),
        maybe(fields, "sd_um", least=ZERO),
    )


def _sieve_wear(fields: Fields) -> Answer:
    """Trend of a sieve's aperture or tare, and when it leaves its limits."""
    fields.only(
        ("checks", "lower", "upper", "unit", "uses_now", "confidence", "uses_per_day", "today")
    )
    fields.require("checks", "uses_now")
    checks = [_check(each) for each in fields.objects("checks")]
    limits = WearLimits(maybe(fields, "lower"), maybe(fields, "upper"), fields.text("unit") or "µm")
    if limits.lower is None and limits.upper is None:
        fields.fault("upper", "is missing; give the limits, or the one that can be reached.")
    uses_now = number(fields, "uses_now", least=ZERO)
    confidence = number(fields, "confidence", 0.95, above=ZERO)
    rate, today = maybe(fields, "uses_per_day"), _day(fields, "today")
    if (rate is None) != (today is None):
        missing = "uses_per_day" if rate is None else "today"
        if not fields.has(missing):
            fields.fault(missing, "is missing; a date needs the rate of use and the day.")

    def answer() -> dict[str, Any]:
        uses, values = ([each[place] for each in checks] for place in (0, 1))
        trend = wear_trend(uses, values, confidence=confidence)
        forecast = forecast_uses(trend, limits, uses_now)
        dates = None
        if rate is not None and today is not None:
            dates = plain(forecast_dates(forecast, uses_now, today, rate))
        return {
            "trend": record(trend) | {"is_shown": trend.is_shown},
            "value_now": trend.value_at(uses_now),
            "forecast": plain(forecast),
            "dates": dates,
            "sentence": forecast.sentence,
        }

    return answer


def _check(fields: Fields) -> tuple[float, float]:
    """The uses counted at one check, and what it found."""
    fields.only(("uses", "value"))
    fields.require("uses", "value")
    return number(fields, "uses", least=ZERO), number(fields, "value")


def _day(fields: Fields, key: str) -> date | None:
    """A day, written as year-month-day."""
    text = fields.text(key)
    if not isinstance(fields.data.get(key), str):
        return None
    with suppress(ValueError):
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
    fields.fault(key, "must be a day such as 2026-01-31.")
    return None


def _effective_aperture(fields: Fields) -> Answer:
    """Effective aperture of a sieve from the share of a reference material it passes."""
    fields.only(("certificate", "observed_pct", "u_observed_pct", "scale", "nominal_um", "edition"))
    fields.require("certificate", "observed_pct")
    rows = [_certified(each) for each in fields.objects("certificate")]
    observed = percents(fields, "observed_pct")
    u_observed = number(fields, "u_observed_pct", least=ZERO)
    scale = fields.choice("scale", SizeScale.LINEAR)
    nominal_um = number(fields, "nominal_um", above=ZERO)
    edition = fields.choice("edition", Edition.ASTM_E11_17)

    def answer() -> dict[str, Any]:
        diameters, passing, u_diameters, u_passing = zip(*rows, strict=True) if rows else [()] * 4
        certificate = ReferenceCertificate(
            diameters, tuple(p / 100 for p in passing), u_diameters,
            tuple(u / 100 for u in u_passing),
        )  # fmt: skip
        shares = np.array(observed) / 100.0
        found = effective_aperture(certificate, shares, u_observed / 100.0, scale)
        limit_um = permitted_deviations(nominal_um, edition).mean_y_um if nominal_um else None
        sizes = found.aperture_um.tolist()
        return {
            "apertures": [
                {
                    "observed_pct": observed[place],
                    "aperture_um": plain(size_um),
                    "u_um": plain(float(found.standard_um[place])),
                    **_beside_nominal(size_um, nominal_um, limit_um),
                    "reason": _outside(
                        below=bool(found.below_range[place]), above=bool(found.above_range[place])
                    ),
                }
                for place, size_um in enumerate(sizes)
            ],
            "permitted_mean_deviation_um": limit_um,
        }

    return answer


def _certified(fields: Fields) -> tuple[float, float, float, float]:
    """One row of the certificate."""
    fields.only(("diameter_um", "passing_pct", "u_diameter_um", "u_passing_pct"))
    fields.require("diameter_um", "passing_pct")
    passing_pct = number(fields, "passing_pct", least=ZERO)
    check_percent(fields, "passing_pct", passing_pct)
    return (
        number(fields, "diameter_um", above=ZERO),
        passing_pct,
        number(fields, "u_diameter_um", least=ZERO),
        number(fields, "u_passing_pct", least=ZERO),
    )


def _beside_nominal(size_um: float, nominal_um: float, limit_um: float | None) -> dict[str, Any]:
    """How far the aperture lies from nominal, and whether that is permitted of a mean."""
    away_um = size_um - nominal_um
    if limit_um is None or not np.isfinite(away_um):
        return {"deviation_um": None, "is_within": None}
    is_within = against_limit(away_um, limit_um) is Verdict.WITHIN
    return {"deviation_um": away_um, "is_within": is_within}


def _outside(*, below: bool, above: bool) -> str | None:
    """Why there is no aperture."""
    if below or above:
        side = "less" if below else "more"
        return f"The sieve passed {side} of the material than any certified point; use another."
    return None


CALCULATIONS: Mapping[str, Reader] = {
    "sieve_conformity": _sieve_conformity,
    "sieve_wear": _sieve_wear,
    "effective_aperture": _effective_aperture,
}
