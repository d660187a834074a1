"""Precision studies: cells put in order, looked at for what cannot be, and worked out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from gradation.errors import Fault, Invalid
from gradation.queries.studies.asked import Cell, LeftOut, Outcome, PrecisionAsked
from gradation.queries.studies.words import answered, brief

__all__ = ["FEWEST_PARTICIPANTS", "left_out_of", "precision_asked_again", "work_out_precision"]

FEWEST_PARTICIPANTS = 3
#: ISO 5725-1:1994, clause 6.3.3: 8 to 15 laboratories are a common choice (memory).
WANTED_PARTICIPANTS = 8
FEWEST_REPLICATES = 2
_TABLE = "table"
Levels = dict[str, list[Cell]]


def work_out_precision(asked: PrecisionAsked) -> Outcome:
    """Work a precision study out, level by level, as entered and without what was left out.

    Refuses (`Invalid`), beside the table: too few participants or replicates, a cell twice,
    unequal replicates that nobody said are meant, a level without any spread.
    """
    levels = _levels(asked.cells)
    faults = [*_twice(levels), *_too_few(levels), *_unequal(levels, asked), *_no_spread(levels)]
    if faults:
        raise Invalid(faults)
    gone = {(each.level, each.participant) for each in asked.left_out}
    used = {
        name: [cell for cell in cells if (name, cell.participant) not in gone]
        for name, cells in levels.items()
    }
    if faults := [*_too_few(used), *_no_spread(used)]:
        msg = "Leaving this out leaves too little: " + faults[0].message
        raise Invalid.one("reason", msg, code="too-few")
    requests = {"entered": _request(levels), "used": _request(used)}
    figures: dict[str, Any] = {key: answered(request, _TABLE) for key, request in requests.items()}
    inputs = {
        "participants_are": asked.participants_are,
        "levels": [_level_json(name, cells) for name, cells in levels.items()],
        "left_out": [asdict(each) for each in asked.left_out if _is_there(each, levels)],
        "requests": requests,
    }
    figures["notes"] = list(_notes(levels, asked))
    return Outcome(inputs, figures, _sentence(figures["used"]["levels"], asked.participants_are))


def _levels(cells: tuple[Cell, ...]) -> Levels:
    levels: Levels = defaultdict(list)
    for cell in cells:
        levels[cell.level].append(cell)
    return dict(levels)


def _is_there(each: LeftOut, levels: Levels) -> bool:
    return any(cell.participant == each.participant for cell in levels.get(each.level, ()))


def _twice(levels: Levels) -> Iterator[Fault]:
    for name, cells in levels.items():
        seen: set[str] = set()
        for cell in cells:
            if cell.participant in seen:
                msg = (
                    f"{cell.participant} stands twice at {name}. Put its results into one line, "
                    "or name the level of the other."
                )
                yield Fault(_TABLE, msg, "twice")
            seen.add(cell.participant)


def _too_few(levels: Levels) -> Iterator[Fault]:
    for name, cells in levels.items():
        if len(cells) < FEWEST_PARTICIPANTS:
            msg = (
                f"{name} has {len(cells)} participant{'s' * (len(cells) != 1)}; precision is "
                f"judged among {FEWEST_PARTICIPANTS} or more."
            )
            yield Fault(_TABLE, msg, "too-few-participants")
        for cell in cells:
            if len(cell.results) < FEWEST_REPLICATES:
                msg = (
                    f"{cell.participant} has {len(cell.results)} result"
                    f"{'s' * (len(cell.results) != 1)} at {name}; repeatability needs two or more."
                )
                yield Fault(_TABLE, msg, "too-few-replicates")


def _unequal(levels: Levels, asked: PrecisionAsked) -> Iterator[Fault]:
    if asked.allows_unequal:
        return
    for name, cells in levels.items():
        counts = sorted({len(cell.results) for cell in cells})
        if len(counts) > 1:
            msg = (
                f"Replicates are unequal at {name}: {counts[0]} to {counts[-1]}. Complete the "
                "table, or say that it is meant so."
            )
            yield Fault("allows_unequal", msg, "unequal-replicates")


def _no_spread(levels: Levels) -> Iterator[Fault]:
    for name, cells in levels.items():
        if len({value for cell in cells for value in cell.results}) == 1:
            msg = f"All results at {name} are equal: without any spread there is no precision."
            yield Fault(_TABLE, msg, "no-spread")


def _request(levels: Levels) -> dict[str, Any]:
    return {
        "calculation": "precision_study",
        "levels": [
            {"name": name, "cells": [[f"{v:f}" for v in cell.results] for cell in cells]}
            for name, cells in levels.items()
        ],
    }


def _level_json(name: str, cells: list[Cell]) -> dict[str, Any]:
    return {
        "name": name,
        "cells": [
            {
                "participant": cell.participant,
                "results": [f"{value:f}" for value in cell.results],
                "runs": list(cell.runs),
            }
            for cell in cells
        ],
    }


def _notes(levels: Levels, asked: PrecisionAsked) -> Iterator[str]:
    most = max(len(cells) for cells in levels.values())
    if most < WANTED_PARTICIPANTS:
        yield (
            f"{most} participants are few: ISO 5725-1 takes 8 to 15 as a common choice. See how "
            "far the limits may lie from the truth."
        )
    if any(len({len(cell.results) for cell in cells}) > 1 for cells in levels.values()):
        yield (
            "Replicates are unequal: the deviations weigh each cell by its results; critical "
            "values of Cochran and of k are those of the commonest number of replicates."
        )
    names = {cell.participant for cells in levels.values() for cell in cells}
    if any(len(cells) < len(names) for cells in levels.values()):
        yield "Not every participant has results at every level."
    if asked.participants_are != "laboratories":
        yield (
            f"Participants are {asked.participants_are} of one laboratory: R is that between "
            f"{asked.participants_are} here, not between laboratories."
        )


def _sentence(levels: list[dict[str, Any]], participants_are: str) -> str:
    found = [level["precision"] for level in levels]
    within, between = (
        _span([each[f"{name}_limit"] for each in found])
        for name in ("repeatability", "reproducibility")
    )
    return (
        f"In 19 cases of 20 two results of one of the {participants_are} differ by no more than "
        f"{within} (r), of two of them by no more than {between} (R)."
    )


def _span(values: list[float]) -> str:
    low, high = brief(min(values)), brief(max(values))
    return low if low == high else f"{low} to {high}"


def precision_asked_again(inputs: dict[str, Any], left_out: tuple[LeftOut, ...]) -> PrecisionAsked:
    """Give what a study was asked, from its frozen inputs, with other cells left out."""
    cells = tuple(
        Cell(
            each["participant"],
            level["name"],
            tuple(Decimal(text) for text in each["results"]),
            tuple(each["runs"]),
        )
        for level in inputs["levels"]
        for each in level["cells"]
    )
    return PrecisionAsked(cells, inputs["participants_are"], allows_unequal=True, left_out=left_out)


def left_out_of(inputs: dict[str, Any]) -> tuple[LeftOut, ...]:
    """Give the cells that were left out of a study."""
    return tuple(LeftOut(**each) for each in inputs["left_out"])
