"""One run as the table and conditions of a certificate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as _noop

from gradation.documents.certificate_content import (
    BalanceRow,
    InstrumentUsed,
    ResultRow,
    ResultTable,
    SieveUsed,
    TestConditions,
    Verdict,
)
from gradation.language import day_words, localized, spoken
from gradation.models import ProcedureVersion, Run, TestPortion, Weighing
from gradation.queries.preparation import drying_state
from gradation.queries.readings import latest_of, total_g
from gradation.queries.shakings import latest_shakings
from gradation.science.apertures import designation
from gradation.science.rounding import Rounding, reported_passing, round_reported
from gradation.services.certificate_values import verdict_of
from gradation.services.certificate_verdicts import Computed

__all__ = ["days_of_work", "mean_table", "place_of", "result_table", "table_label"]

Slot = Weighing.Slot


def table_label(run: Run) -> str:
    """Name a run's table; its raw record is under the same name."""
    return _("Run %(run)s") % {"run": run}


def result_table(
    each: Computed, zone: ZoneInfo, work_place: str, *, states_uncertainty: bool
) -> ResultTable:
    """Give a run's result as it is printed, with how it was made."""
    run = each.run
    return ResultTable(
        label=table_label(run),
        rows=tuple(_rows(each, states_uncertainty)),
        balance=tuple(_balance(run, each.values)),
        conditions=(_conditions(run, zone, work_place),),
        remarks=tuple(dict.fromkeys(_remarks(each))),
        sample=run.portion.sample.number,
    )


def days_of_work(run: Run, zone: ZoneInfo) -> list[date]:
    """List the days on which a run was worked (7.8.2.1 i): of its paper, not of its typing."""
    if run.on_paper is not None:
        return [run.on_paper.performed_on]
    return [row.made_at.astimezone(zone).date() for row in run.weighings.all()]


def _remarks(each: Computed) -> Iterable[str]:
    paper = each.run.on_paper
    if paper is not None:
        day = datetime.combine(paper.performed_on, time())
        yield _(
            "The readings of this run were typed from paper records of %(day)s and compared with "
            "them by a second person."
        ) % {"day": day_words(day)}
    for warning in each.values["warnings"]:
        yield _remark(warning)


def _remark(warning: dict[str, Any]) -> str:
    """Say a warning in the certificate's language: in English with its figures, else its kind."""
    sentence: str = warning["sentence"]
    kind = _REMARKS.get(warning["code"])
    return sentence if spoken() == "en" or kind is None else _(kind)


_REMARKS = {
    "more_than_whole": _noop("The sieves hold more than the portion."),
    "loss_exceeded": _noop("The loss in sieving is above the limit of the method."),
    "gain_exceeded": _noop("The gain in sieving is above the limit of the method."),
    "overloaded": _noop("At least one sieve holds more than the method allows."),
    "overload_not_determinable": _noop("The load limit of a sieve could not be judged."),
    "portion_not_determinable": _noop("The least mass of the portion could not be judged."),
    "portion_too_small": _noop("The test portion is smaller than the method asks for."),
    "end_point_not_reached": _noop("The end point of sieving was not reached."),
    "moved_by_rounding": _noop("A result is at its limit by rounding only."),
    "interpolated": _noop("A limit is held against a value read between two sieves."),
    "unconfirmed_rule": _noop("A limit of the method was kept from memory, not from a copy."),
}


def mean_table(computed: Sequence[Computed]) -> ResultTable | None:
    """Give the mean of several determinations of one sample; None where they share no nest."""
    tables = [each.values["table"] for each in computed]
    sizes = [[row["aperture_um"] for row in table] for table in tables]
    if len(computed) < 2 or any(each != sizes[0] for each in sizes):
        return None
    rounding = computed[0].worksheet.rounding
    return ResultTable(
        label=_("Mean of %(count)s determinations") % {"count": len(computed)},
        rows=tuple(_mean_row(rows, rounding) for rows in zip(*tables, strict=True)),
        remarks=(_("Mean of the unrounded values, rounded once."),),
        sample=computed[0].run.portion.sample.number,
    )


def _mean_row(rows: Sequence[dict[str, Any]], rounding: Rounding) -> ResultRow:
    first = rows[0]
    passing = fmean(row["passing_pct"] for row in rows)
    size = Decimal(str(first["aperture_um"]))
    return ResultRow(
        designation=first["designation"],
        aperture_mm=_mm(first["aperture_um"]),
        retained_g="",
        retained_pct=_tenth(fmean(row["retained_pct"] for row in rows)),
        cumulative_pct=_tenth(fmean(row["cumulative_pct"] for row in rows)),
        passing_pct=str(reported_passing(passing, rounding, size)),
    )


def _rows(each: Computed, states_uncertainty: bool) -> Iterable[ResultRow]:
    run, values = each.run, each.values
    lines = _limits_by_aperture(values)
    corrected, masses = _corrected_sizes(run), _masses_g(run)
    spreads = each.uncertainty.passing_pct if states_uncertainty else {}
    for row in values["table"]:
        line = lines.pop(Decimal(str(row["aperture_um"])), None)
        yield ResultRow(
            designation=row["designation"],
            aperture_mm=_mm(row["aperture_um"]),
            retained_g=_as_read(row, masses),
            retained_pct=_tenth(row["retained_pct"]),
            cumulative_pct=_tenth(row["cumulative_pct"]),
            passing_pct=row["passing_reported"],
            uncertainty_pct=spreads.get(Decimal(str(row["aperture_um"])), ""),
            lower_pct=(line or {}).get("min") or "",
            upper_pct=(line or {}).get("max") or "",
            verdict=verdict_of(line) if line else Verdict.NONE,
            corrected=Decimal(str(row["aperture_um"])) in corrected,
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


def _masses_g(run: Run) -> dict[Decimal, Decimal | None]:
    latest = latest_of(run.weighings.all())
    return {
        place.aperture_um: total_g(latest, Slot.FRACTION, place.position)
        for place in run.places.all()
    }


def _as_read(row: dict[str, Any], masses_g: dict[Decimal, Decimal | None]) -> str:
    """Write a mass with the digits of its readings, where it is their sum: 0.0, not 0."""
    computed: str = row["weighed_g"]
    read_g = masses_g.get(Decimal(str(row["aperture_um"])))
    return str(read_g) if read_g is not None and read_g == Decimal(computed) else computed


def _limits_by_aperture(values: dict[str, Any]) -> dict[Decimal, dict[str, Any]]:
    lines = (values["assessment"] or {}).get("lines", [])
    return {Decimal(str(line["aperture_um"])): line for line in lines if line["kind"] == "passing"}


def _corrected_sizes(run: Run) -> set[Decimal]:
    sizes = {place.position: place.aperture_um for place in run.places.all()}
    return {
        sizes[row.position]
        for row in latest_of(run.weighings.all())
        if row.slot == Slot.FRACTION and row.revision > 1
    }


def _balance(run: Run, values: dict[str, Any]) -> Iterable[BalanceRow]:
    latest = latest_of(run.weighings.all())
    washed = total_g(latest, Slot.WASHED_DRY_MASS)
    was_washed = washed is not None or bool(values["wash_loss_g"])
    pan_pct = _tenth(values["pan"]["retained_pct"])
    yield from _split_rows(run, latest)
    yield _mass_row(_("Pan"), latest, Slot.PAN, share_pct="" if was_washed else pan_pct)
    if was_washed:
        yield BalanceRow(_("Washed out"), _washed_out(latest, values))
        yield BalanceRow(_("Pan and washed out"), "", pan_pct)
    words = _("Dry mass before washing") if was_washed else _("Dry mass of the portion")
    yield _mass_row(words, latest, Slot.DRY_MASS)
    if washed is not None:
        yield _mass_row(_("Dry mass after washing"), latest, Slot.WASHED_DRY_MASS)
    if values["loss_pct"] is not None:
        words = _("Loss in sieving") if values["loss_g"] >= 0 else _("Gain in sieving")
        share = round_reported(values["loss_pct"], 2)
        yield BalanceRow(words, _lost(latest, values), str(share))


def _split_rows(run: Run, latest: Sequence[Weighing]) -> Iterable[BalanceRow]:
    """Give what passed each split and what of it was sieved on; finer masses are of that part."""
    for place in run.places.all():
        if place.is_split:
            size = {"size": localized(designation(place.aperture_um))}
            passed, sieved = _("Passed %(size)s") % size, _("Of it sieved below %(size)s") % size
            yield _mass_row(passed, latest, Slot.SPLIT_PASSING, place.position)
            yield _mass_row(sieved, latest, Slot.SPLIT_REDUCED, place.position)


def _washed_out(latest: Sequence[Weighing], values: dict[str, Any]) -> str:
    """Give what was washed out with the digits of the readings, also of a reduced part."""
    dry, washed = total_g(latest, Slot.DRY_MASS), total_g(latest, Slot.WASHED_DRY_MASS)
    if dry is not None and washed is not None:
        return str(dry - washed)
    return _with_digits(values["wash_loss_g"], latest)


def _lost(latest: Sequence[Weighing], values: dict[str, Any]) -> str:
    stages: list[dict[str, str]] = values["stages"]
    if len(stages) == 1:
        return stages[0]["loss_g"].lstrip("-")
    return _with_digits(abs(values["loss_g"]), latest)


def _with_digits(mass_g: float, latest: Sequence[Weighing]) -> str:
    return str(round_reported(mass_g, max((row.decimals for row in latest), default=0)))


def _mass_row(
    label: str, latest: Sequence[Weighing], slot: str, position: int = 0, *, share_pct: str = ""
) -> BalanceRow:
    rows = [row for row in latest if (row.slot, row.position) == (slot, position)]
    corrected = any(row.revision > 1 for row in rows)
    return BalanceRow(label, str(total_g(rows, slot, position)), share_pct, corrected=corrected)


def _conditions(run: Run, zone: ZoneInfo, work_place: str) -> TestConditions:
    procedure, portion = run.procedure_version, run.portion
    days, paper = days_of_work(run, zone), run.on_paper
    dry_g = total_g(latest_of(run.weighings.all()), Slot.DRY_MASS)
    return TestConditions(
        place=place_of(run, work_place),
        bench=run.bench.name,
        portion=portion.label,
        portion_mass_g=str(dry_g),
        division=portion.divided_how,
        drying=_drying(portion, procedure),
        washing=_("washed, then dried") if procedure.wash else _("dry, not washed"),
        shaking=_shaking(run),
        end_point=procedure.end_point,
        climate=run.climate,
        performed_by=(paper.performed_by if paper else run.technician).full_name,
        first_day=min(days).isoformat(),
        last_day=max(days).isoformat(),
        sieves=tuple(
            SieveUsed(
                serial=place.sieve.serial,
                designation=designation(place.aperture_um),
                aperture_mm=_mm(place.aperture_um),
                next_check=_day(place.next_check_on),
            )
            for place in run.places.all()
        ),
        instruments=tuple(
            InstrumentUsed(
                kind=_(row.instrument.kind),
                identity=row.instrument.serial,
                next_check=_day(row.next_check_on),
            )
            for row in run.instruments.all()
        ),
    )


def place_of(run: Run, work_place: str) -> str:
    """Say where a run was made: at the laboratory, or away from it (7.8.2.1 c)."""
    if run.bench.is_away:
        return run.bench.place
    return ", ".join(filter(None, [work_place, run.bench.place]))


#: Kinds of instruments, as a certificate names them.
_KINDS = (_noop("balance"), _noop("shaker"), _noop("oven"), _noop("divider"))


def _drying(portion: TestPortion, procedure: ProcedureVersion) -> str:
    """Say how the portion was dried as far as it was recorded, never more than that."""
    state = drying_state(portion)
    if portion.is_as_received:
        return state.sentence
    if state.drying is not None:
        return ". ".join(filter(None, [procedure.drying, state.sentence]))
    if procedure.constant_mass_pct is None or portion.drying:
        return portion.drying or procedure.drying
    return _("no weighing of the drying was recorded; %(procedure)s asks for %(drying)s") % {
        "procedure": procedure,
        "drying": procedure.drying,
    }


def _day(day: date | None) -> str:
    return day.isoformat() if day else _("not planned")


def _shaking(run: Run) -> str:
    procedure = run.procedure_version
    minutes = run.shaking_minutes or procedure.shaking_minutes
    made = latest_shakings(run.shakings.all())
    amplitude_mm, frequency_hz, taps = (
        (made[-1].amplitude_mm, made[-1].frequency_hz, made[-1].taps_per_min)
        if made
        else (
            procedure.shaking_amplitude_mm,
            procedure.shaking_frequency_hz,
            procedure.shaking_taps_per_min,
        )
    )
    parts = [
        procedure.shaking_motion or _("by hand"),
        _measure(amplitude_mm, _("mm peak to peak")),
        _measure(frequency_hz, "Hz"),
        _measure(None if taps is None else Decimal(taps), _("taps a minute")),
        _measure(minutes, "min"),
    ]
    return ", ".join(part for part in parts if part)


def _measure(value: Decimal | None, unit: str) -> str:
    return "" if value is None else f"{localized(f'{value.normalize():f}')} {unit}"


def _mm(aperture_um: float | Decimal) -> str:
    return f"{(Decimal(str(aperture_um)) / 1000).normalize():f}"


def _tenth(value: float | None) -> str:
    return "" if value is None else str(round_reported(value, 1))
