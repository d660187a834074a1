"""Results of this laboratory's own runs as a study takes them: by sample, bench, technician."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from gradation.errors import Fault, Invalid
from gradation.models import Procedure, ResultFigure, Run, User
from gradation.queries.figure_names import figure_title
from gradation.queries.samples import samples_visible_to
from gradation.queries.studies.asked import Cell, Pair

__all__ = ["GROUPS", "cells_of_runs", "pairs_of_runs"]

#: What runs may be told apart by, and the field that says it.
GROUPS = {"benches": "run__bench__name", "technicians": "run__technician__full_name"}
MOST_SAMPLES = 30
_FROZEN = Decimal("0.0001")


def _figures(actor: User, figure: str) -> QuerySet[ResultFigure]:
    return ResultFigure.objects.filter(
        name=figure,
        run__portion__sample__in=samples_visible_to(actor),
        run__state__in=[Run.State.ACCEPTED, Run.State.WEIGHED],
        run__counts=True,
    ).order_by("run_id")


def _rows(rows: QuerySet[ResultFigure], *names: str) -> Iterable[tuple[Any, ...]]:
    fields = (
        *names,
        "value",
        "run__portion__label",
        "run__determination",
        "run__portion__sample__number",
    )
    return rows.values_list(*fields)


def _frozen(value: float) -> Decimal:
    return Decimal(str(value)).quantize(_FROZEN)


def cells_of_runs(
    actor: User, numbers: list[str], figure: str, group: str, field: str = "samples"
) -> tuple[Cell, ...]:
    """Give the figure of every run of these samples, a level a sample, told apart by `group`.

    Refuses (`Invalid`) a sample that is not there, and one of which no run has the figure.
    """
    known = list(
        samples_visible_to(actor).filter(number__in=numbers[:MOST_SAMPLES]).values_list("number",
                                                                                        flat=True)
    )  # fmt: skip
    faults = [
        Fault(field, f"There is no sample {number[:40]}. Check the label.", "unknown-sample")
        for number in numbers
        if number not in known
    ]
    cells: dict[tuple[str, str], list[tuple[Decimal, str]]] = defaultdict(list)
    wanted = _figures(actor, figure).filter(run__portion__sample__number__in=known)
    for who, value, label, determination, number in _rows(wanted, GROUPS[group]):
        cells[number, who].append((_frozen(value), f"{label}/{determination}"))
    for number in known:
        if not any(level == number for level, _ in cells):
            msg = f"No run of {number} has a result with {figure_title(figure)}."
            faults.append(Fault(field, msg, "no-result"))
    if faults:
        raise Invalid(faults)
    return tuple(
        Cell(who, level, tuple(v for v, _ in found), tuple(name for _, name in found))
        for (level, who), found in cells.items()
    )


def pairs_of_runs(
    actor: User, material: int, figure: str, procedures: tuple[Procedure, Procedure]
) -> tuple[Pair, ...]:
    """Give the mean figure of each sample of a material that both procedures were run on."""
    found: dict[str, dict[int, list[Decimal]]] = defaultdict(lambda: defaultdict(list))
    wanted = _figures(actor, figure).filter(
        material=material, procedure__in=[each.pk for each in procedures]
    )
    for procedure, value, _, _, number in _rows(wanted, "procedure_id"):
        found[number][procedure].append(_frozen(value))
    first, second = (each.pk for each in procedures)
    return tuple(
        Pair(number, _mean(values[first]), _mean(values[second]))
        for number, values in sorted(found.items())
        if first in values and second in values
    )


def _mean(values: list[Decimal]) -> Decimal:
    return (sum(values, Decimal(0)) / len(values)).quantize(_FROZEN)
