"""Blends of stockpiles: worked out and kept as calculation records."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Invalid
from gradation.models import BlendRecord, User
from gradation.policy import Action, require
from gradation.queries.blends import BlendAsked, work_out
from gradation.services import clock, ledger
from gradation.services.blend_content import worked_out_record
from gradation.services.checking import cleaned
from gradation.services.numbering import next_number

__all__ = ["save_blend"]


def save_blend(*, actor: User, asked: BlendAsked, title: str, note: str = "") -> BlendRecord:
    """Work a blend out and keep it: inputs, sources, shares and margins, frozen.

    Technicians, reviewers and quality managers may. A blend that does not exist is kept too, with
    the lines that clash. Refuses (`Invalid`) what `queries.blends.work_out` refuses and a missing
    title; then nothing is kept. Nothing changes a record afterwards: a second thought is a further
    record. Ledger: blend kept, with its number, the digest of its inputs and its shares.
    """
    require(actor, Action.KEEP_BLENDS)
    title = " ".join(title.split())
    if not title:
        msg = "Give the blend a title, such as what it is for."
        raise Invalid.one("title", msg, code="required")
    with transaction.atomic():
        record = worked_out_record(work_out(actor, asked), actor)
        record.title, record.note = title, note.strip()
        year = clock.today().year
        record.number = f"B{year % 100:02d}-{next_number(f'blend/{year}'):04d}"
        cleaned(record).save(force_insert=True)
        ledger.write(actor=actor, action="blend kept", subject=record, after=_told(record))
    return record


def _told(record: BlendRecord) -> ledger.State:
    """Give what the ledger keeps: the figures themselves are in the record, named by digest."""
    names = [source["name"] for source in record.sources]
    shares = record.values["shown_shares_pct"]
    return {
        "number": record.number,
        "title": record.title,
        "specification": str(record.specification_version or ""),
        "inputs_digest": record.inputs_digest,
        "science_version": record.science_version,
        "exists": record.exists,
        "shares": [f"{name} {share} %" for name, share in zip(names, shares, strict=False)],
    }
