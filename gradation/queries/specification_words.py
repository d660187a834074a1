"""A version of a specification as plain words and figures, for files and other systems."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gradation.models import SpecificationLine, SpecificationVersion
from gradation.science.apertures import designation

__all__ = ["FORMAT", "line_words_of", "version_words"]

FORMAT = "gradation-specification/1"
_FIELDS = (
    "product", "clause", "source", "library_key", "unconfirmed_note", "confirmation",
    "effective_from", "effective_to", "decision_rule", "confidence", "guard_factor", "lot_rule",
    "lot_size", "lot_share_pct", "neighbour_maximum_pct", "interpolate_missing",
    "certificate_wording",
)  # fmt: skip


def version_words(version: SpecificationVersion) -> dict[str, Any]:
    """Give a version's fields; figures as text, days as 2026-03-31, absent ones left out."""
    specification = version.specification
    told: dict[str, Any] = {
        "format": FORMAT,
        "code": specification.code,
        "title": specification.title,
        "owner": specification.owner,
        "version": version.version,
        "state": version.state,
    }
    for name in _FIELDS:
        value = getattr(version, name)
        if value not in {"", None}:
            told[name] = _plain(value)
    return told


def line_words_of(line: SpecificationLine) -> dict[str, str]:
    """Give a limit as words, by the columns of its file; empty where it says nothing."""
    return {
        "kind": line.kind,
        "sieve": _size(line.aperture_um),
        "finer_sieve": _size(line.finer_aperture_um),
        "characteristic": line.characteristic,
        "minimum": _figure(line.minimum),
        "maximum": _figure(line.maximum),
        "target": _figure(line.target),
        "tolerance": _figure(line.tolerance),
        "inclusive": "yes" if line.is_inclusive else "no",
        "decimals": "" if line.decimals is None else str(line.decimals),
        "odd_size": "yes" if line.is_confirmed_size else "",
        "mark": line.mark,
    }


def _size(aperture_um: Decimal | None) -> str:
    return "" if aperture_um is None else designation(aperture_um)


def _figure(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"


def _plain(value: object) -> object:
    if isinstance(value, bool | int | str):
        return value
    return _figure(value) if isinstance(value, Decimal) else str(value)
