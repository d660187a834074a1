"""What a blend says on screen and on paper, from its record as it was kept."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from gradation.documents.blend_report import BlendContent, BlendPile, BlendSieve
from gradation.models import BlendRecord, Laboratory, User
from gradation.queries.blends import BlendOutcome
from gradation.science import SCIENCE_VERSION
from gradation.science.apertures import designation
from gradation.science.rounding import round_reported
from gradation.services import clock
from gradation.services.results import digest_of_inputs

__all__ = ["blend_content", "worked_out_record"]

_DECIMALS = 1
_GOALS = {
    "margin": "the largest smallest margin to the limits",
    "least_squares": "the least sum of squared departures from the target",
    "largest_departure": "the least largest departure from the target",
}


def worked_out_record(outcome: BlendOutcome, actor: User) -> BlendRecord:
    """Put a blend that was worked out into a row, without number and title; nothing is written."""
    return BlendRecord(
        specification_version=outcome.specification,
        inputs=outcome.request,
        inputs_digest=digest_of_inputs(outcome.request),
        sources=outcome.sources,
        values=outcome.values,
        exists=outcome.values["outcome"]["exists"],
        science_version=SCIENCE_VERSION,
        computed_at=clock.now(),
        computed_by=actor,
    )


def blend_content(record: BlendRecord, printed_by: User) -> BlendContent:
    """Put a blend into words and figures; of one that was not kept yet as well."""
    laboratory = Laboratory.objects.get()
    zone = ZoneInfo(laboratory.time_zone)
    outcome, specification = record.values["outcome"], record.specification_version
    curve = record.values["curve"]
    return BlendContent(
        laboratory=laboratory.name,
        number=record.number,
        title=record.title,
        note=record.note,
        specification=f"{specification.specification}, version {specification.version}"
        if specification
        else "",
        goal=_goal(record.inputs),
        exists=record.exists,
        sentence=outcome["sentence"],
        held_by=tuple(each["sentence"] for each in outcome["binding"]),
        piles=tuple(_piles(record)),
        sieves=tuple(_sieves(record)),
        apertures_um=tuple(float(um) for um, _ in curve),
        passing_pct=tuple(float(passing) for _, passing in curve),
        left_out=tuple(record.values["left_out"]),
        notes=tuple(_notes(record)),
        science_version=record.science_version,
        inputs_digest=record.inputs_digest,
        computed_at=record.computed_at.astimezone(zone).isoformat(timespec="minutes"),
        computed_by=str(record.computed_by),
        printed_at=clock.now().astimezone(zone).isoformat(timespec="minutes"),
        printed_by=str(printed_by),
        time_zone=laboratory.time_zone,
    )


def _goal(inputs: dict[str, Any]) -> str:
    return _GOALS[inputs.get("nearness", "margin") if inputs["goal"] == "target" else "margin"]


def _notes(record: BlendRecord) -> Iterator[str]:
    for source in record.sources:
        yield from (f"{source['name']}: {note}" for note in source["notes"])


def _piles(record: BlendRecord) -> Iterator[BlendPile]:
    ranges = (record.values["ranges"] or {}).get("ranges") or []
    shown = record.values["shown_shares_pct"]
    for place, (asked, source) in enumerate(
        zip(record.inputs["stockpiles"], record.sources, strict=True)
    ):
        free = ranges[place] if place < len(ranges) else {}
        yield BlendPile(
            name=source["name"],
            detail=source["detail"],
            runs=_runs(source),
            share_pct=shown[place] if shown else "",
            share_min_pct=asked["share_min_pct"],
            share_max_pct=asked["share_max_pct"],
            smallest_pct=_tenths(free.get("smallest_pct")),
            largest_pct=_tenths(free.get("largest_pct")),
            ended_by=_ended_by(free) if record.exists else "",
            apertures_um=tuple(float(um) for um in source["apertures_um"]),
            passing_pct=tuple(float(passing) for passing in source["passing_pct"]),
        )


def _runs(source: dict[str, Any]) -> str:
    named: list[str] = source["runs"]
    more = source["count"] - len(named)
    return ", ".join(named) + (f" and {more} more" if more > 0 else "")


def _ended_by(free: dict[str, Any]) -> str:
    ends = []
    for words, key in (("below", "held_by_smallest"), ("above", "held_by_largest")):
        if held := free.get(key):
            ends.append(f"{words}: {', '.join(each['sentence'] for each in held)}")
    return "; ".join(ends)


def _sieves(record: BlendRecord) -> Iterator[BlendSieve]:
    inputs, outcome = record.inputs, record.values["outcome"]
    lines = outcome["lines"] or [{}] * len(inputs["apertures_um"])
    for place, (um, line) in enumerate(zip(inputs["apertures_um"], lines, strict=True)):
        yield BlendSieve(
            aperture_um=float(um),
            name=designation(um),
            piles_pct=tuple(
                _tenths(float(pile["passing_pct"][place])) for pile in inputs["stockpiles"]
            ),
            blend_pct=_tenths(line.get("passing_pct")),
            lower_pct=_limit(inputs, "lower_pct", place),
            upper_pct=_limit(inputs, "upper_pct", place),
            target_pct=_shortened(_limit(inputs, "target_pct", place)),
            margin_pct=_tenths(line.get("margin_pct")),
            nearer=line.get("nearer_limit") or "",
            is_inside=line.get("is_inside", True),
        )


def _limit(inputs: dict[str, Any], column: str, place: int) -> str:
    values = inputs.get(column)
    return (values[place] or "") if values else ""


def _shortened(text: str) -> str:
    """Show a target read off a curve to a tenth; one that somebody stated as it was stated."""
    is_read = len(text.partition(".")[2]) > 2  # decimals
    return _tenths(float(text)) if is_read else text


def _tenths(value: float | None) -> str:
    return "" if value is None else f"{round_reported(value, _DECIMALS):f}"
