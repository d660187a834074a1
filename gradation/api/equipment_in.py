"""The evidence of a check as it is sent, turned into what the service takes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from gradation.errors import Fault, Invalid
from gradation.models import ReferenceLot, Sieve
from gradation.queries.equipment import sieve_by_serial
from gradation.queries.equipment_file import lots_in_use
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.services import checks
from gradation.services.check_evidence import Evidence

Reader = Callable[[object], Any]


def _figure(value: object) -> Decimal:
    """Take a figure as text or number, exactly as it was written."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        msg = "A figure is asked for, as text or number."
        raise TypeError(msg)
    return parse_decimal(str(value))


def _figures(value: object) -> list[Decimal]:
    if not isinstance(value, list):
        msg = "A list of figures is asked for."
        raise TypeError(msg)
    return [_figure(each) for each in value]


def _rows(value: object) -> tuple[tuple[Decimal, ...], ...]:
    if not isinstance(value, list):
        msg = "A list of rows is asked for: nominal, reading and limit in each."
        raise TypeError(msg)
    rows = tuple(tuple(_figures(row)) for row in value)
    if any(len(row) != 3 for row in rows):  # nominal, reading, limit
        msg = "Each row has three figures: nominal, reading, limit."
        raise ValueError(msg)
    return rows


def _items(value: object) -> dict[str, bool]:
    if not isinstance(value, dict) or not all(isinstance(it, bool) for it in value.values()):
        msg = "Points looked at are asked for, each true or false."
        raise TypeError(msg)
    return {str(point): seen for point, seen in value.items()}


def _lot(value: object) -> ReferenceLot:
    named = value if isinstance(value, dict) else {}
    lot = lots_in_use().filter(name=named.get("name", ""), lot=named.get("lot", "")).first()
    if lot is None:
        msg = "No lot in use has this name and lot; send {name, lot} as registered."
        raise ValueError(msg)
    return lot


def _master(value: object) -> Sieve:
    sieve = sieve_by_serial(str(value))
    if sieve is None:
        msg = "No sieve is registered under this serial number."
        raise ValueError(msg)
    return sieve


def _limits(value: object) -> checks.OwnLimits:
    if not isinstance(value, dict) or set(value) != {"mean_um", "single_um", "source"}:
        msg = "Limits of one's own are mean_um, single_um and source."
        raise ValueError(msg)
    return checks.OwnLimits(
        _figure(value["mean_um"]), _figure(value["single_um"]), str(value["source"])
    )


def _all(*names: str) -> dict[str, Reader]:
    return dict.fromkeys(names, _figure)


#: By kind: the evidence, its fields with how each is read, and which may be left out.
KINDS: Mapping[str, tuple[Callable[..., Evidence], Mapping[str, Reader], frozenset[str]]] = {
    "visual": (checks.VisualEvidence, {"items": _items}, frozenset()),
    "aperture": (
        checks.ApertureEvidence,
        {
            "warp_um": _figures,
            "weft_um": _figures,
            **_all("largest_um", "resolution_um"),
            "limits": _limits,
        },
        frozenset({"largest_um", "resolution_um", "limits"}),
    ),
    "reference": (
        checks.ReferenceEvidence,
        {"lot": _lot, **_all("observed_passing_pct", "u_pct"), "limits": _limits},
        frozenset({"limits"}),
    ),
    "master": (
        checks.MasterEvidence,
        {"master": _master, **_all("this_passing_pct", "master_passing_pct", "limit_pct")},
        frozenset(),
    ),
    "weights": (checks.WeightsEvidence, {"rows": _rows}, frozenset()),
    "shaker": (
        checks.ShakerEvidence,
        _all(
            "amplitude_mm",
            "set_amplitude_mm",
            "tolerance_mm",
            "timer_s",
            "reference_s",
            "timer_limit_s",
        ),
        frozenset(
            {
                "amplitude_mm",
                "set_amplitude_mm",
                "tolerance_mm",
                "timer_s",
                "reference_s",
                "timer_limit_s",
            }
        ),
    ),
    "temperature": (
        checks.TemperatureEvidence,
        _all("set_c", "found_c", "tolerance_c"),
        frozenset(),
    ),
    "halves": (checks.HalvesEvidence, _all("left_g", "right_g", "limit_pct"), frozenset()),
}


def evidence_of(kind: str, sent: Mapping[str, object]) -> Evidence:
    """Read the evidence of one kind; every fault is named with its place."""
    make, readers, spare = KINDS[kind]
    faults = [
        Fault(f"evidence/{name}", "Not asked for in this kind of check.", "unknown-field")
        for name in sorted(set(sent) - set(readers))
    ]
    faults += [
        Fault(f"evidence/{name}", "Send this figure; it cannot be left out.", "required")
        for name in sorted(set(readers) - spare - set(sent))
    ]
    values: dict[str, Any] = {}
    for name in readers.keys() & sent.keys():
        try:
            values[name] = readers[name](sent[name])
        except (GradationError, TypeError, ValueError) as error:
            faults.append(Fault(f"evidence/{name}", str(error), "invalid"))
    if faults:
        raise Invalid(faults)
    return make(**values)
