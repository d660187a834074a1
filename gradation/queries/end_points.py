"""The end point of a run: what still moved when it was sieved on, by the form of its procedure."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal

from gradation.models import EndPointForm, ProcedureVersion, Run, Weighing
from gradation.queries.readings import latest_of, total_g
from gradation.science.acceptance import EndPoint, EndPointOf
from gradation.science.acceptance_rules import END_POINT, named_limits
from gradation.science.worksheet_form import EndPointCheck

__all__ = ["end_point_check", "end_point_rule", "shaken_again", "sieves_without_end_point"]

Slot = Weighing.Slot
Masses = list[tuple[int, Decimal]]

_AGAIN = re.compile(r"^Weighed again after shaking (\d+)\.")


def shaken_again(number: int) -> str:
    """Give the reason of a reading that replaces an earlier one after a further shaking."""
    return f"Weighed again after shaking {number}."


def end_point_check(run: Run, weighings: Iterable[Weighing]) -> EndPointCheck | None:
    """Give the check of the end point as the calculation takes it; None without form or limit."""
    procedure = run.procedure_version
    if procedure.end_point_form == EndPointForm.NONE or procedure.end_point_limit_pct is None:
        return None
    rule = EndPoint(float(procedure.end_point_limit_pct), EndPointOf(procedure.end_point_of))
    sizes = {
        place.position: Decimal(f"{place.aperture_um.normalize():f}") for place in run.places.all()
    }
    passed, before = _found(procedure, list(weighings))
    return EndPointCheck(
        rule,
        tuple((sizes[position], mass_g) for position, mass_g in passed),
        tuple((sizes[position], mass_g) for position, mass_g in before),
        end_point_rule(procedure),
    )


def end_point_rule(procedure: ProcedureVersion) -> str:
    """Name the kept rule behind the limit, so that a figure from memory stays marked."""
    kept = named_limits(END_POINT).get(procedure.end_point_rule)
    is_its = (
        kept is not None
        and kept.limit_pct == procedure.end_point_limit_pct
        and kept.of == procedure.end_point_of
    )
    return procedure.end_point_rule if is_its else ""


def sieves_without_end_point(run: Run, weighings: Iterable[Weighing]) -> list[int]:
    """List the places where the procedure's end point has not been shown yet, coarse to fine."""
    procedure = run.procedure_version
    if procedure.end_point_form == EndPointForm.NONE:
        return []
    shown = {position for position, _ in _found(procedure, list(weighings))[0]}
    return [place.position for place in run.places.all() if place.position not in shown]


def _found(procedure: ProcedureVersion, weighings: list[Weighing]) -> tuple[Masses, Masses]:
    """Give what passed or changed at each place, and what lay there before it was shaken again."""
    if procedure.end_point_form == EndPointForm.SUCCESSIVE:
        return _changed(weighings)
    latest = latest_of(row for row in weighings if row.slot == Slot.END_POINT)
    return [(row.position, row.mass_as_entered) for row in latest], []


def _changed(weighings: list[Weighing]) -> tuple[Masses, Masses]:
    """Compare the masses of the last round of each sieve with those of the round before."""
    changed: Masses = []
    before: Masses = []
    for position, rows in sorted(_by_place(weighings).items()):
        rounds = _rounds(rows)
        if len(rounds) > 1:
            before.append((position, rounds[-2]))
            changed.append((position, abs(rounds[-2] - rounds[-1])))
    return changed, before


def _by_place(weighings: Iterable[Weighing]) -> dict[int, list[Weighing]]:
    found: dict[int, list[Weighing]] = defaultdict(list)
    for row in sorted(weighings, key=lambda each: each.pk):
        if row.slot == Slot.FRACTION:
            found[row.position].append(row)
    return found


def _rounds(rows: list[Weighing]) -> list[Decimal]:
    """Give the mass on one sieve after each shaking it was weighed after.

    A correction for any other reason belongs to the round it corrects.
    """
    rounds: list[list[Weighing]] = [[]]
    number = 1
    for row in rows:
        again = _AGAIN.match(row.reason)
        if again and int(again[1]) > number:
            number = int(again[1])
            rounds.append(list(rounds[-1]))
        rounds[-1].append(row)
    totals = (total_g(latest_of(each), Slot.FRACTION, rows[0].position) for each in rounds)
    return [total for total in totals if total is not None]
