"""Scanned codes: what a label names, as the bench needs to know it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gradation.models import Equipment, TestPortion, User
from gradation.queries.finding import Finding, find

__all__ = ["Named", "named_by"]


@dataclass(frozen=True)
class Named:
    """The thing a label names, and what the script is told of it."""

    finding: Finding
    told: dict[str, Any]


def named_by(actor: User, code: str) -> Named | None:
    """Say what a code names. A sample with one portion means that portion: its run is opened."""
    found = find(actor, code)
    if found is None:
        return None
    if found.kind == "sample":
        found = _only_portion(found) or found
    told = {"kind": found.kind, "key": found.key}
    return Named(found, {**told, **_item(found)} if found.kind == "equipment" else told)


def _only_portion(sample: Finding) -> Finding | None:
    portions = TestPortion.objects.filter(sample__number=sample.key)
    labels = portions.values_list("label", flat=True)[:2]
    return Finding("portion", labels[0]) if len(labels) == 1 else None


def _item(found: Finding) -> dict[str, Any]:
    item = Equipment.objects.get(serial=found.key)
    return {"pk": item.pk, "what": item.kind, "state": item.state}
