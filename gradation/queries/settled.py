"""What stays as it is once a run uses it, kept for a moment beside the database.

A bench asks for its run after every reading, and each time the frozen versions behind it would be
read and put together again. They are for looking at: what is kept or handed over reads afresh.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from gradation.models import (
    Customer,
    Material,
    ProcedureVersion,
    Run,
    Source,
    SpecificationVersion,
)

__all__ = ["attach_settled", "forget_settled"]

Row = TypeVar("Row", bound=Model)

#: A row is read again after so long [s], so that a renamed customer is not renamed for some only.
KEPT_S = 5.0

_kept: dict[tuple[type[Model], int], tuple[float, Any]] = {}


def attach_settled(run: Run) -> None:
    """Give a run, read with its sample, what is settled of it, without asking again and again."""
    sample = run.portion.sample
    run.procedure_version = _settled(run.procedure_version_id, _procedures)
    if sample.specification_version_id:
        version = _settled(sample.specification_version_id, _specifications)
        sample.specification_version = version
    sample.material = _settled(sample.material_id, Material.objects.all)
    sample.customer = _settled(sample.customer_id, Customer.objects.all)
    if sample.source_id:
        sample.source = _settled(sample.source_id, Source.objects.all)


def forget_settled() -> None:
    """Read everything afresh from now on."""
    _kept.clear()


def _procedures() -> QuerySet[ProcedureVersion]:
    rows = ProcedureVersion.objects.select_related("procedure")
    return rows.prefetch_related("apertures")


def _specifications() -> QuerySet[SpecificationVersion]:
    rows = SpecificationVersion.objects.select_related("specification")
    return rows.prefetch_related("lines")


def _settled(pk: int, rows: Callable[[], QuerySet[Row]]) -> Row:
    asked = rows()
    key, now = (asked.model, pk), time.monotonic()
    until, row = _kept.get(key, (0.0, None))
    if now < until:
        found: Row = row
        return found
    found = asked.get(pk=pk)
    _kept[key] = (now + KEPT_S, found)
    return found
