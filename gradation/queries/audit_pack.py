"""Everything behind a certificate, as plain data: rows, entries of the ledger, proofs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import UTC
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import Model, QuerySet

from gradation.models import (
    Assessment,
    Certificate,
    Check,
    Drying,
    DryingContainer,
    DryingMass,
    Equipment,
    LedgerEntry,
    PaperComparison,
    Result,
    Run,
    RunInstrument,
    RunSieve,
    Scan,
    Seal,
    Shaking,
    SpecificationLine,
    TestPortion,
    Transcription,
    Weighing,
)
from gradation.proofs.pack import FIELDS
from gradation.queries.seals import proofs_under

__all__ = ["chains_behind", "entry_data", "proofs_of", "record_of", "scans_behind"]

_LEFT_OUT = frozenset({"pdf", "content", "file", "search_text"})


def record_of(certificate: Certificate) -> dict[str, Any]:
    """Give the rows behind a certificate, by what they are, each with all its columns."""
    sample = certificate.sample
    runs = Run.objects.filter(portion__sample=sample).order_by("id")
    equipment = _equipment(runs)
    specification = sample.specification_version
    rows: dict[str, Iterable[Model]] = {
        "portions": TestPortion.objects.filter(sample=sample).order_by("id"),
        "dryings": Drying.objects.filter(portion__sample=sample).order_by("id"),
        "drying_masses": DryingMass.objects.filter(drying__portion__sample=sample).order_by("id"),
        "drying_containers": DryingContainer.objects.filter(
            drying__portion__sample=sample
        ).order_by("id"),
        "runs": runs,
        "sieves_in_runs": RunSieve.objects.filter(run__in=runs).order_by("run", "position"),
        "instruments_in_runs": RunInstrument.objects.filter(run__in=runs).order_by("id"),
        "readings": Weighing.objects.filter(run__in=runs).order_by("id"),
        "transcriptions": Transcription.objects.filter(run__in=runs).order_by("id"),
        "scans": scans_behind(certificate).defer("file"),
        "comparisons_with_paper": PaperComparison.objects.filter(
            transcription__run__in=runs
        ).order_by("id"),
        "shakings": Shaking.objects.filter(run__in=runs).order_by("id"),
        "results": Result.objects.filter(run__in=runs).order_by("id"),
        "assessments": Assessment.objects.filter(result__run__in=runs).order_by("id"),
        "equipment": equipment,
        "checks": Check.objects.filter(equipment__in=equipment).order_by("id"),
        "procedures": {run.procedure_version_id: run.procedure_version for run in runs}.values(),
        "specification": [specification] if specification else [],
        "specification_lines": SpecificationLine.objects.filter(version=specification),
    }
    return {
        "certificate": _row(certificate),
        "sample": {
            **_row(sample),
            "customer": str(sample.customer),
            "material": str(sample.material),
        },
        **{name: [_row(row) for row in some] for name, some in rows.items()},
    }


def scans_behind(certificate: Certificate) -> QuerySet[Scan]:
    """List the scans of the paper that runs of the certificate's sample were typed from."""
    rows = Scan.objects.filter(transcription__run__portion__sample=certificate.sample)
    return rows.order_by("id")


def _equipment(runs: Iterable[Run]) -> list[Equipment]:
    sieves = RunSieve.objects.filter(run__in=runs).values_list("sieve_id", flat=True)
    instruments = RunInstrument.objects.filter(run__in=runs).values_list("instrument_id", flat=True)
    return list(Equipment.objects.filter(pk__in={*sieves, *instruments}).order_by("serial"))


def _row(row: Model) -> dict[str, Any]:
    values = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if field.attname not in _LEFT_OUT
    }
    plain: dict[str, Any] = json.loads(json.dumps(values, cls=DjangoJSONEncoder))
    return plain


def chains_behind(certificate: Certificate) -> list[str]:
    """Name the chains of the sample and of every item that its runs were made with."""
    runs = Run.objects.filter(portion__sample=certificate.sample)
    items = [f"equipment/{item.serial}" for item in _equipment(runs)]
    return [f"sample/{certificate.sample.number}", *items]


def entry_data(chains: Sequence[str]) -> list[dict[str, Any]]:
    """Give the entries of chains as data, each chain from its first entry on."""
    rows = LedgerEntry.objects.filter(chain__in=chains).order_by("chain", "sequence")
    return [_entry(entry) for entry in rows]


def _entry(entry: LedgerEntry) -> dict[str, Any]:
    fields: dict[str, Any] = {
        name: getattr(entry, name) for name in FIELDS if name not in {"at", "actor"}
    }
    at = entry.at.astimezone(UTC).isoformat()
    return {**fields, "at": at, "actor": entry.actor_id, "digest": entry.digest}


def proofs_of(chains: Sequence[str], seal: Seal) -> list[dict[str, Any]]:
    """Give the proof that the newest entry of each chain is under the seal."""
    return [asdict(proof) for proof in proofs_under(seal, chains)]
