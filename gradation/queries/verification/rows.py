"""Rows: what stands in the tables is what the entries about them say.

The entries about one thing, put together, give what it is now. What changes as a consequence of
another act, such as the uses of a sieve, has no entry of its own and is left out here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from functools import partial
from typing import Any

from django.db import models

from gradation.models import (
    Certificate,
    DryingContainer,
    DryingMass,
    LedgerEntry,
    Run,
    Sample,
    SampleHold,
    TestPortion,
    Weighing,
)
from gradation.queries.verification.asked import Broken, Progress, Scope

__all__ = ["broken_rows", "differing_columns", "told_state"]

#: The records of a sample: what they are called, and the way from each to its sample.
RECORDS: dict[type[models.Model], tuple[str, str]] = {
    Sample: ("samples", "pk"),
    SampleHold: ("holds", "sample"),
    TestPortion: ("portions", "sample"),
    Run: ("runs", "portion__sample"),
    Weighing: ("readings", "run__portion__sample"),
    DryingMass: ("drying masses", "drying__portion__sample"),
    DryingContainer: ("drying containers", "drying__portion__sample"),
    Certificate: ("certificates", "sample"),
}
_AT_ONCE = 500


def broken_rows(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Name each row of the records that is not what its entries say."""
    for model, (name, way) in RECORDS.items():
        rows = model._default_manager.order_by("pk")
        if scope.sample is not None:
            rows = rows.filter(**{way: scope.sample.pk})
        if model is Certificate:
            rows = rows.defer("pdf", "content")
        yield from _of_model(model, rows, partial(told, name))


def _of_model(
    model: type[models.Model], rows: models.QuerySet[Any], told: Callable[[int, int], None]
) -> Iterator[Broken]:
    total, done = rows.count(), 0
    for batch in _batches(rows):
        told(done, total)
        done += len(batch)
        states = told_states(model, [row.pk for row in batch])
        for row in batch:
            says = _fault(row, states.get(row.pk))
            if says:
                yield Broken("row", f"{model._meta.verbose_name} {row} ({row.pk})", says)
    told(total, total)


def _batches(rows: models.QuerySet[Any]) -> Iterator[list[Any]]:
    batch: list[Any] = []
    for row in rows.iterator(chunk_size=_AT_ONCE):
        batch.append(row)
        if len(batch) == _AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def told_states(model: type[models.Model], keys: Sequence[int]) -> dict[int, dict[str, Any]]:
    """Put together what the entries say of each row."""
    entries = LedgerEntry.objects.filter(
        subject_type=model._meta.model_name, subject_id__in=keys
    ).order_by("id")
    states: dict[int, dict[str, Any]] = {}
    for key, after in entries.values_list("subject_id", "after"):
        states.setdefault(key, {}).update(after or {})
    return states


def told_state(row: models.Model) -> dict[str, Any] | None:
    """Put together what the entries say of one row; None when there is no entry."""
    return told_states(type(row), [row.pk]).get(row.pk)


def _fault(row: models.Model, state: dict[str, Any] | None) -> str:
    if state is None:
        is_imported = isinstance(row, Weighing) and row.source == Weighing.Source.IMPORT
        return "" if is_imported else "no entry tells of it"
    differs = differing_columns(row, state)
    return f"its {', '.join(differs)} differs from what its entries say" if differs else ""


def differing_columns(row: models.Model, state: dict[str, Any]) -> list[str]:
    """Name the columns whose value is not the one the entries give."""
    deferred = row.get_deferred_fields()
    return [
        field.attname.removesuffix("_id")
        for field in row._meta.concrete_fields
        if field.attname in state
        and field.attname not in deferred
        and not _same(getattr(row, field.attname), state[field.attname])
    ]


def _same(value: object, told: object) -> bool:
    if value == told:
        return True
    if value is None or told is None:
        return False
    if isinstance(value, datetime):
        return value == datetime.fromisoformat(str(told))
    if isinstance(value, Decimal):
        try:
            return value == Decimal(str(told))
        except InvalidOperation:
            return False
    return str(value) == str(told)
