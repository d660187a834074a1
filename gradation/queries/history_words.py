"""The words in which a history is told: columns as the trade calls them, values with units."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from typing import Any

from gradation.models import LedgerEntry

__all__ = ["KINDS", "Change", "changes_of"]

#: What an entry can be about, for the filters: the word, and the things that it covers.
KINDS: dict[str, tuple[str, ...]] = {
    "sample": ("sample", "samplehold", "editiondecision", "samplingrecord", "externalresult"),
    "portions and drying": ("testportion", "drying", "dryingmass", "dryingcontainer"),
    "runs": (
        *("run", "runcheckanswer", "shaking", "trailreview"),
        *("transcription", "scan", "papercomparison"),
    ),
    "readings": ("weighing",),
    "certificates": (
        *("certificate", "certificatesignature", "certificatemail"),
        *("certificateomission", "certificateopinion"),
    ),
    "equipment": ("sieve", "instrument", "equipment", "nest", "tare", "attachment", "balancelink"),
    "checks": ("check",),
}


@dataclass(frozen=True)
class Change:
    """One value that changed: what it was, what it became."""

    name: str
    before: str
    after: str


#: Housekeeping that tells a reader nothing, or that stands in the entry's own words.
_UNTOLD = frozenset(
    {"id", "version", "key", "decimals", "use_count", "is_frozen", "search_text", "revision"}
    | {"subject_type", "subject_id", "frontier", "position", "increment", "slot", "request_id"}
    | {"issued_by_name", "lift_reason", "state_reason", "withdrawal_reason", "reason", "raw_text"}
)
_UNITS = (
    ("_g", "g"), ("_um", "µm"), ("_pct", "%"), ("_mm", "mm"), ("_hz", "Hz"), ("_c", "°C"),
    ("_minutes", "min"), ("_s", "s"), ("_days", "days"), ("_hours", "h"), ("_bytes", "bytes"),
)  # fmt: skip
#: Multiples of gravity, and a rate.
_NO_UNIT = frozenset(
    {"acceleration_g", "shaking_acceleration_g", "taps_per_min", "shaking_taps_per_min"}
)
_NAMES = {
    "aids": "sieving aids",
    "amends": "amends",
    "beat_at": "last sign of life",
    "balance": "balance",
    "compared_sha256": "digest of what was compared",
    "content_sha256": "digest of the content",
    "counts": "counts among the determinations",
    "customer_reference": "customer's reference",
    "dry_mass_g": "dry mass",
    "due_on": "due",
    "disposed_how": "disposed how",
    "entered_text": "as entered",
    "full_name": "name",
    "inputs_digest": "digest of the readings",
    "in_use": "stands in the run",
    "is_active": "in use",
    "is_as_received": "tested as received",
    "lifted_at": "let go",
    "held_at": "held since",
    "mass_g": "mass",
    "mass_received_g": "mass as received",
    "meaning": "meaning of the signature",
    "minutes": "shaken",
    "minutes_used": "shaken in all",
    "moist_mass_g": "moist mass",
    "next_check_on": "next check due",
    "next_due_on": "next check due",
    "observed_at": "read at, by the bench's clock",
    "performed_on": "worked on",
    "performed_by": "worked by",
    "pdf_sha256": "digest of the file",
    "procedure_version": "procedure",
    "specification_version": "specification",
    "result_version": "result",
    "retain_until": "kept until",
    "root": "root of the seal",
    "sha256": "digest of the file",
    "source": "came from",
    "storage_place": "stored at",
    "tare_g": "tare",
    "gross_g": "gross mass",
    "wet_sieved": "sieved wet",
    "verification_code": "verification code",
}  # fmt: skip
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_NUMBER = re.compile(r"-?\d+\.\d+")


def changes_of(entry: LedgerEntry, zone: tzinfo) -> Iterator[Change]:
    """Give the values that an entry changed, in words, with units, times in the given zone."""
    before: dict[str, Any] = entry.before or {}
    after: dict[str, Any] = entry.after or {}
    for name, value in after.items():
        was = before.get(name)
        has_name = name.endswith("_id") and name.removesuffix("_id") in after
        if name in _UNTOLD or has_name or (_is_nothing(value) and _is_nothing(was)):
            continue
        unit = _unit(name)
        yield Change(_words(name), _text(was, unit, zone), _text(value, unit, zone) or "–")


def _is_nothing(value: object) -> bool:
    return value is None or value in ("", [], {}, False)


def _unit(name: str) -> str:
    if name in _NO_UNIT:
        return ""
    if name == "minutes":
        return "min"
    return next((unit for suffix, unit in _UNITS if name.endswith(suffix)), "")


def _words(name: str) -> str:
    if name in _NAMES:
        return _NAMES[name]
    for suffix, _ in _UNITS:
        if name.endswith(suffix) and name not in _NO_UNIT:
            name = name.removesuffix(suffix)
            break
    for ending, words in (("_at", ""), ("_on", ""), ("_by_name", " by"), ("_id", "")):
        if name.endswith(ending):
            name = name.removesuffix(ending) + words
            break
    return name.removeprefix("is_").replace("_", " ")


def _text(value: object, unit: str, zone: tzinfo) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_text(part, unit, zone) for part in value)
    if isinstance(value, dict):
        return ", ".join(
            f"{_words(str(key))}: {_text(part, '', zone)}" for key, part in value.items()
        )
    text = _figure(str(value), zone)
    return f"{text} {unit}" if unit and text[-1:].isdigit() else text


def _figure(text: str, zone: tzinfo) -> str:
    """Write a moment or a day as people do; a stored decimal without the column's zeros."""
    if _MOMENT.match(text):
        local = datetime.fromisoformat(text).astimezone(zone)
        return f"{local.day} {local:%b %Y %H:%M}"
    if _DAY.fullmatch(text):
        day = datetime.fromisoformat(text)
        return f"{day.day} {day:%b %Y}"
    if _NUMBER.fullmatch(text) and text.endswith("00"):
        return f"{Decimal(text).normalize():f}"
    return text
