"""What a run's page says below its table: characteristic values, and limits that are no row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.documents.certificate_content import Characteristic
from gradation.queries.verdicts import line_name
from gradation.science.envelopes import LineKind
from gradation.services.certificate_values import characteristic_values

Figures = Mapping[str, Any]


@dataclass(frozen=True)
class OtherLine:
    """A limit between two sieves, on what is retained, or on a sieve that is not in the nest."""

    name: str
    value: str
    minimum: str
    maximum: str
    verdict: str
    note: str


def values_of(figures: Figures) -> tuple[Characteristic, ...]:
    """Give the characteristic values as a certificate would print them, once all is weighed."""
    if not figures.get("is_complete"):
        return ()
    return characteristic_values(dict(figures))


def other_lines(figures: Figures, apertures_um: Iterable[Decimal]) -> tuple[OtherLine, ...]:
    """Give the limits that no row of the table shows."""
    shown = set(apertures_um)
    compared = figures.get("assessment") or {}
    return tuple(
        _other(line)
        for line in compared.get("lines", ())
        if not line["characteristic"] and not _is_row(line, shown)
    )


def _is_row(line: Figures, apertures_um: set[Decimal]) -> bool:
    is_passing = line["kind"] == LineKind.PASSING
    return is_passing and Decimal(str(line["aperture_um"])) in apertures_um


def _other(line: Figures) -> OtherLine:
    verdicts = {True: "within", False: "outside", None: "untested"}
    interpolated = "read between the neighbouring sieves" if line["is_interpolated"] else ""
    return OtherLine(
        name=line_name(dict(line)),
        value=line["reported"] or "",
        minimum=line["min"] or "",
        maximum=line["max"] or "",
        verdict=verdicts[line["is_inside"]],
        note=line["reason"] or interpolated,
    )
