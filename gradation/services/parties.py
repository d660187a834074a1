"""Customers, sources and materials: kept by technicians and the quality manager."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import models, transaction

from gradation.models import Customer, Material, Source, User
from gradation.policy import Action, require
from gradation.services import ledger
from gradation.services.checking import cleaned_row, locked

__all__ = [
    "add_customer",
    "add_material",
    "add_source",
    "change_customer",
    "change_material",
    "change_source",
]

Party = TypeVar("Party", bound=models.Model)


def add_customer(*, actor: User, customer: Customer) -> Customer:
    """Add a customer; technicians and quality managers may. Ledger: customer added."""
    return _add(actor, customer, "customer added")


def add_source(*, actor: User, source: Source) -> Source:
    """Add a pit, plant or line of a customer. Ledger: source added."""
    return _add(actor, source, "source added")


def add_material(*, actor: User, material: Material) -> Material:
    """Add a material with its default procedure and specification. Ledger: material added."""
    return _add(actor, material, "material added")


def change_customer(*, actor: User, customer: Customer, **changes: Any) -> Customer:
    """Change a customer's particulars; issued certificates keep theirs. Ledger: changed."""
    return _change(actor, customer, changes, "customer changed")


def change_source(*, actor: User, source: Source, **changes: Any) -> Source:
    """Change a source's particulars. Ledger: source changed."""
    return _change(actor, source, changes, "source changed")


def change_material(*, actor: User, material: Material, **changes: Any) -> Material:
    """Change a material's particulars or defaults. Ledger: material changed."""
    return _change(actor, material, changes, "material changed")


def _add(actor: User, row: Party, action: str) -> Party:
    require(actor, Action.KEEP_PARTIES)
    with transaction.atomic():
        cleaned_row(row)
        ledger.write(actor=actor, action=action, subject=row)
    return row


def _change(actor: User, row: Party, changes: dict[str, Any], action: str) -> Party:
    require(actor, Action.KEEP_PARTIES)
    with transaction.atomic():
        row = locked(row)
        before = ledger.snapshot(row)
        for name, value in changes.items():
            setattr(row, name, value)
        cleaned_row(row)
        ledger.write(actor=actor, action=action, subject=row, before=before)
    return row
