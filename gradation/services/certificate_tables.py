"""One run as the table and conditions of a certificate."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from gradation.documents.certificate_content import (
    BalanceRow,
    ResultRow,
    ResultTable,
    SieveUsed,
    TestConditions,
    Verdict,
)
from gradation.models import Result, Run, Weighing
from gradation.queries.readings import latest_of
from gradation.science.apertures import designation
from gradation.science.rounding import round_reported
from gradation.services.certificate_values import verdict_of

__all__ = ["result_table"]

Slot = Weighing.Slot


def result_table(run: Run, result: Result, zone: ZoneInfo, work_place: str) -> ResultTable:
    """Give a run's frozen result as it is printed, with how it was made."""
    return ResultTable(
        label=f"Run {run}",
        rows=tuple(_rows(run, result)),
        balance=tuple(_balance(run, result)),
        conditions=(_conditions(run, zone, work_place),),
        remarks=tuple(warning["sentence"] for warning in result.values["warnings"]),
    )


def _rows(run: Run, result: Result) -> Iterable[ResultRow]:
    lines = _limits_by_aperture(result.values)
    corrected = _corrected_positions(run)
    for position, row in enumerate(result.values["table"], start=1):
        line = lines.pop(Decimal(str(row["aperture_um"])), None)
        yield ResultRow(
            designation=row["designation"],
            aperture_mm=_mm(row["aperture_um"]),
            retained_g=row["weighed_g"],
            retained_pct=_tenth(row["retained_pct"]),
            cumulative_pct=_tenth(row["cumulative_pct"]),
            passing_pct=row["passing_reported"],
            lower_pct=(line or {}).get("min") or "",
            upper_pct=(line or {}).get("max") or "",
            verdict=verdict_of(line) if line else Verdict.NONE,
            corrected=position in corrected,
        )
    for aperture_um, line in lines.items():
        yield ResultRow(
            designation=designation(aperture_um),
            aperture_mm=_mm(aperture_um),
            retained_g="",
            retained_pct="",
            cumulative_pct="",
            passing_pct=line["reported"] or "n.d.",
            lower_pct=line["min"] or "",
            upper_pct=line["max"] or "",
            verdict=verdict_of(line),
            interpolated=line["is_interpolated"],
        )


def _limits_by_aperture(values: dict[str, Any]) -> dict[Decimal, dict[str, Any]]:
    lines = (values["assessment"] or {}).get("lines", [])
    return {Decimal(str(line["aperture_um"])): line for line in lines if line["kind"] == "passing"}


def _corrected_positions(run: Run) -> set[int]:
    return {
        row.position
        for row in latest_of(run.weighings.all())
        if row.slot == Slot.FRACTION and row.revision > 1
    }


def _balance(run: Run, result: Result) -> Iterable[BalanceRow]:
    masses = {row.slot: row for row in latest_of(run.weighings.all()) if not row.position}
    dry, pan = masses[Slot.DRY_MASS.value], masses[Slot.PAN.value]
    washed = masses.get(Slot.WASHED_DRY_MASS.value)
    values = result.values
    yield _mass_row("Pan", pan, "" if washed else _tenth(values["pan"]["retained_pct"]))
    if washed:
        lost = dry.mass_as_entered - washed.mass_as_entered
        yield BalanceRow("Washed out", str(lost))
        yield BalanceRow("Pan and washed out", "", _tenth(values["pan"]["retained_pct"]))
    yield _mass_row("Dry mass before washing" if washed else "Dry mass of the portion", dry)
    if washed:
        yield _mass_row("Dry mass after washing", washed)
    if values["loss_pct"] is not None:
        words = "Loss in sieving" if values["loss_g"] >= 0 else "Gain in sieving"
        share = round_reported(values["loss_pct"], 2)
        yield BalanceRow(words, values["stages"][0]["loss_g"].lstrip("-"), str(share))


def _mass_row(label: str, weighing: Weighing, share_pct: str = "") -> BalanceRow:
    return BalanceRow(
        label, str(weighing.mass_as_entered), share_pct, corrected=weighing.revision > 1
    )


def _conditions(run: Run, zone: ZoneInfo, work_place: str) -> TestConditions:
    procedure, portion = run.procedure_version, run.portion
    days = [row.made_at.astimezone(zone).date().isoformat() for row in run.weighings.all()]
    dry = next(row for row in latest_of(run.weighings.all()) if row.slot == Slot.DRY_MASS)
    return TestConditions(
        place=", ".join(filter(None, [work_place, run.bench.place])),
        bench=run.bench.name,
        portion=portion.label,
        portion_mass_g=str(dry.mass_as_entered),
        division=portion.divided_how,
        drying=portion.drying or procedure.drying,
        washing="washed, then dried" if procedure.wash else "dry, not washed",
        shaking=_shaking(run),
        end_point=procedure.end_point,
        climate="",
        performed_by=run.technician.full_name,
        first_day=min(days),
        last_day=max(days),
        sieves=tuple(
            SieveUsed(
                serial=place.sieve.serial,
                designation=designation(place.aperture_um),
                aperture_mm=_mm(place.aperture_um),
                next_check=_day(place.next_check_on),
            )
            for place in run.places.all()
        ),
    )


def _day(day: date | None) -> str:
    return day.isoformat() if day else "not planned"


def _shaking(run: Run) -> str:
    procedure = run.procedure_version
    minutes = run.shaking_minutes or procedure.shaking_minutes
    parts = [
        procedure.shaking_motion or "by hand",
        _measure(procedure.shaking_amplitude_mm, "mm peak to peak"),
        _measure(procedure.shaking_frequency_hz, "Hz"),
        _measure(minutes, "min"),
    ]
    return ", ".join(part for part in parts if part)


def _measure(value: Decimal | None, unit: str) -> str:
    return "" if value is None else f"{value.normalize():f} {unit}"


def _mm(aperture_um: float | Decimal) -> str:
    return f"{(Decimal(str(aperture_um)) / 1000).normalize():f}"


def _tenth(value: float | None) -> str:
    return "" if value is None else str(round_reported(value, 1))
