"""What changed since a moment, read from the ledger: for systems that follow the laboratory."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.db.models.functions import Substr

from gradation.models import LedgerEntry

__all__ = ["changed_since"]


def changed_since(noun: str, since: datetime) -> QuerySet[Any]:
    """List the names (of samples their numbers, of equipment their serials) with later entries.

    A sample's chain also holds its portions, runs and certificates: who asks for those gets all of
    a sample that changed, rather more than less.
    """
    rows = LedgerEntry.objects.filter(at__gte=since, chain__startswith=f"{noun}/")
    named = rows.annotate(name=Substr("chain", len(noun) + 2)).order_by()
    return named.values_list("name", flat=True).distinct()
