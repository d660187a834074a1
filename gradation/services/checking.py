"""Checks that every use-case shares: rows as the database wants them, reasons, versions, times."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, models, transaction

from gradation.errors import Conflict, Fault, Invalid, NotFound
from gradation.models import Sample, SampleHold
from gradation.services import clock
from gradation.services.row_cleaning import clean_row

__all__ = [
    "cleaned",
    "cleaned_row",
    "field_faults",
    "locked",
    "needs_reason",
    "not_in_future",
    "refuse_in_doubt",
    "registered",
    "shortened",
    "unchanged",
]

Row = TypeVar("Row", bound=models.Model)

_SENTENCE_END = re.compile(r"(?<=[a-zäöüéµ%)\d])\.(?=\s)")


def cleaned(row: Row, *, exclude: frozenset[str] = frozenset()) -> Row:
    """Check every field of a row before it is written; all faults are named at once."""
    try:
        clean_row(row, exclude)
    except ValidationError as error:
        raise Invalid(_faults(error)) from error
    return row


def cleaned_row(row: Row) -> Row:
    """Check a row and write it."""
    cleaned(row).save()
    return row


def registered(row: Row, field: str) -> Row:
    """Check a row and write it as new; who comes second at the same instant is told (`Invalid`)."""
    cleaned(row)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        value = getattr(row, field)
        msg = f"{value} was just entered by somebody else. Look at that entry first."
        raise Invalid.one(field, msg, code="unique") from error
    return row


def field_faults(row: models.Model, *, exclude: frozenset[str]) -> list[Fault]:
    """Find what is wrong with single fields of a row; asks the database nothing."""
    try:
        row.clean_fields(exclude=exclude)
    except ValidationError as error:
        return _faults(error)
    return []


def _faults(error: ValidationError) -> list[Fault]:
    return [
        Fault("" if field == NON_FIELD_ERRORS else field, message)
        for field, messages in error.message_dict.items()
        for message in messages
    ]


def needs_reason(reason: str, act: str) -> str:
    """Give the reason back trimmed, or refuse: it is kept with the record for ever."""
    text = reason.strip()
    if not text:
        msg = f"Say why you {act}. The reason stays with the record."
        raise Invalid.one("reason", msg, code="reason-missing")
    if len(text) > 400:
        msg = f"The reason has {len(text)} characters; 400 fit. Shorten it."
        raise Invalid.one("reason", msg, code="reason-too-long")
    return text


def shortened(text: str, most: int) -> str:
    """Shorten what was computed to the length of its column: after a sentence, else a word."""
    if len(text) <= most:
        return text
    head = text[: most + 1]
    ends = [end.end() for end in _SENTENCE_END.finditer(head)]
    if ends and ends[-1] > most // 2:
        return head[: ends[-1]].rstrip()
    words = text[: most - 1].rpartition(" ")[0] or text[: most - 2]
    return f"{words.rstrip(' ,;:(')} …"


def not_in_future(field: str, moment: datetime | None, what: str) -> list[Fault]:
    """Find fault with a moment that has not come yet."""
    if moment is not None and moment > clock.now():
        return [Fault(field, f"{what} lies in the future. Check the date.", "in-future")]
    return []


def locked(row: Row, *related: str) -> Row:
    """Read the row again and hold it until the transaction ends, so that two cannot act at once.

    `related` names rows to read along with it; they are not held. Of a sieve or an instrument the
    row of equipment alone is held, as runs hold it: with the row of the sieve held first, a run
    that refers to it and a check of it would wait for each other. A row that is not there is
    refused (`NotFound`).
    """
    kind = row.__class__  # not type(): the person of a request is read only when asked for
    links = tuple(link.name for link in kind._meta.parents.values() if link is not None)
    rows = kind._default_manager.select_for_update(of=links or ("self",))
    found = (rows.select_related(*related) if related else rows).filter(pk=row.pk).first()
    if found is None:
        msg = f"There is no such {kind._meta.verbose_name}. Go back to its list and look there."
        raise NotFound(msg)
    return found


def unchanged(row: models.Model, version: int | None) -> None:
    """Refuse when the row was changed since the person saw it (version None: not asked)."""
    current = getattr(row, "version", None)
    if version is not None and version != current:
        msg = (
            f"{row} was changed by somebody else while you worked (you saw version {version}, it "
            f"is now {current}). Look at it again, then repeat what you meant to do."
        )
        raise Conflict(msg, code="stale")


def refuse_in_doubt(sample: Sample) -> None:
    """Refuse (`Conflict`) work on a sample while the customer's answer to a query is awaited.

    ISO/IEC 17025:2017, 7.4.3: on doubt whether an item is fit to be tested the customer is asked
    before going on. Once reported, a query holds only what is left.
    """
    if sample.state not in {Sample.State.LOGGED, Sample.State.UNDER_TEST}:
        return
    query = sample.holds.filter(cause=SampleHold.Cause.QUERY, lifted_at__isnull=True).first()
    if query is not None:
        msg = (
            f"A query about sample {sample} is open since {query.held_at:%d %b %Y}, asked by "
            f"{query.held_by}: {query.reason} Lift the hold with the customer's answer first."
        )
        raise Conflict(msg, code="query-open")
