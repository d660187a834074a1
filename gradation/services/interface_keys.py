"""A request under a key of its caller has its effect once, however often it arrives.

The answer is kept in the transaction of what the request did. A repeat is answered with it; so is
one that comes while the first is still at work, on SQLite after waiting for it, on PostgreSQL with
a refusal to ask again. Nothing is kept of a request that was refused: it did nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta

from django.db import IntegrityError, connection, transaction

from gradation.errors import Conflict, Invalid
from gradation.models import InterfaceKey
from gradation.services import clock

__all__ = ["KEPT_FOR", "Answered", "Asked", "forget_old_keys", "once"]

KEPT_FOR = timedelta(days=30)


@dataclass(frozen=True)
class Asked:
    """A request as it can be told from another: who, under which key, where, with which body."""

    caller: str
    key: str
    route: str
    body: bytes

    @property
    def digest(self) -> str:
        """Give the digest of the body."""
        return hashlib.sha256(self.body).hexdigest()


@dataclass(frozen=True)
class Answered:
    """An answer as it was sent."""

    status: int
    text: str
    headers: dict[str, str] = field(default_factory=dict)
    is_repeated: bool = False


def once(asked: Asked, act: Callable[[], Answered]) -> Answered:
    """Do what is asked and keep the answer; the same again gives the answer that was kept.

    Refuses (`Invalid`, code key-used-otherwise) another body or address under the same key,
    (`Conflict`, code still-running) one whose first request is at work.
    """
    known = _known(asked)
    if known is not None:
        return known
    try:
        with transaction.atomic():
            _hold(asked)
            return _known(asked) or _done(asked, act)
    except IntegrityError:
        known = _known(asked)
        if known is None:
            raise
        return known


def _done(asked: Asked, act: Callable[[], Answered]) -> Answered:
    answered = act()
    InterfaceKey(
        caller=asked.caller,
        key=asked.key,
        route=asked.route,
        body_digest=asked.digest,
        status=answered.status,
        headers=answered.headers,
        answer=answered.text,
        made_at=clock.now(),
    ).save(force_insert=True)
    return answered


def _known(asked: Asked) -> Answered | None:
    kept = InterfaceKey.objects.filter(caller=asked.caller, key=asked.key).first()
    if kept is None:
        return None
    if (kept.route, kept.body_digest) != (asked.route, asked.digest):
        msg = "This Idempotency-Key was used for another request. Make a new key for each act."
        raise Invalid.one("", msg, code="key-used-otherwise")
    return Answered(kept.status, kept.answer, kept.headers, is_repeated=True)


def _hold(asked: Asked) -> None:
    """Let nobody else work under this key until the transaction ends.

    SQLite needs no lock: its transactions are immediate, so the second waits for the first.
    """
    if connection.vendor != "postgresql":
        return
    digest = hashlib.sha256(f"{asked.caller}\n{asked.key}".encode()).digest()
    number = int.from_bytes(digest[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        row = cursor.fetchone()
    if not (row and row[0]):
        msg = "The first request under this key is still at work. Send it again in a second."
        raise Conflict(msg, code="still-running")


def forget_old_keys() -> int:
    """Delete the answers that are older than `KEPT_FOR`; say how many."""
    gone, _ = InterfaceKey.objects.filter(made_at__lt=clock.now() - KEPT_FOR).delete()
    return gone
