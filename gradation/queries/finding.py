"""The search-or-scan field: what a number on a label or a typed word leads to."""

from __future__ import annotations

from dataclasses import dataclass

from gradation.models import Bench, Equipment, TestPortion, User
from gradation.policy import Action, may
from gradation.queries.certificates import certificates_visible_to
from gradation.queries.samples import samples_visible_to

__all__ = ["Finding", "find"]


@dataclass(frozen=True)
class Finding:
    """The one thing a text names exactly.

    `kind` is sample, portion, equipment, bench or certificate.
    """

    kind: str
    key: str


def find(actor: User, text: str) -> Finding | None:
    """Find the thing that a label names; None when the text is only a word to search for."""
    text = text.strip()
    if not text:
        return None
    samples = samples_visible_to(actor)
    sample = samples.filter(number__iexact=text).values_list("number", flat=True).first()
    if sample:
        return Finding("sample", sample)
    portion = TestPortion.objects.filter(label__iexact=text, sample__in=samples).first()
    if portion:
        return Finding("portion", portion.label)
    certificate = certificates_visible_to(actor).filter(number__iexact=text).first()
    if certificate:
        return Finding("certificate", str(certificate.pk))
    return _equipment(actor, text) or _bench(actor, text)


def _equipment(actor: User, text: str) -> Finding | None:
    if not may(actor, Action.READ_RECORDS):
        return None
    rows = Equipment.objects.filter(serial__iexact=text).values_list("serial", flat=True)
    serial = rows.first()
    return Finding("equipment", serial) if serial else None


def _bench(actor: User, text: str) -> Finding | None:
    if not may(actor, Action.READ_RECORDS):
        return None
    bench = Bench.objects.filter(name__iexact=text, is_active=True).first()
    return Finding("bench", str(bench.pk)) if bench else None
