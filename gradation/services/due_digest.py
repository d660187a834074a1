"""The e-mail that tells each keeper what is overdue and what falls due soon."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.core.mail import EmailMessage, get_connection
from django.db import transaction

from gradation.errors import Conflict
from gradation.models import Equipment, Laboratory, User
from gradation.policy import Action, Role, require
from gradation.queries.due import Due, DueRow, due_list
from gradation.services import clock, ledger

__all__ = ["Digest", "send_due_digest"]

_TOLD = (Due.OVERDUE, Due.UNCHECKED, Due.DUE_SOON)


@dataclass(frozen=True)
class Digest:
    """What was sent to whom, and what nobody could be told."""

    sent_to: tuple[str, ...] = ()
    items: int = 0
    untold: tuple[str, ...] = field(default=())
    """Serial numbers of due items for which no address is known."""


def send_due_digest(*, actor: User) -> Digest:
    """Send every keeper the list of what is overdue or due soon in that person's keeping.

    Equipment keepers and quality managers may, and the system account for a daily timer. Items
    without a keeper, and those whose keeper has no address, go to all equipment keepers. Nobody
    gets an empty message. Messages leave after the ledger entry is safe. Refuses (`Conflict`) a
    laboratory that is not set up. Ledger: due digest sent, with addresses and serial numbers.
    """
    require(actor, Action.SEND_DUE_DIGEST)
    laboratory = Laboratory.objects.first()
    if laboratory is None:
        msg = "The laboratory is not set up yet, so nothing can be due. Set it up first."
        raise Conflict(msg)
    rows = [row for row in due_list(clock.today(laboratory)) if _is_told(row)]
    lists = _by_address(rows)
    told = {row.item.serial for mine in lists.values() for row in mine}
    digest = Digest(
        tuple(sorted(lists)),
        len(rows),
        tuple(row.item.serial for row in rows if row.item.serial not in told),
    )
    if not rows:
        return digest
    with transaction.atomic():
        after = {"sent to": list(digest.sent_to), "items": sorted(told)}
        ledger.write(actor=actor, action="due digest sent", subject=laboratory, after=after)
        messages = [_message(laboratory, address, mine) for address, mine in lists.items()]
        transaction.on_commit(lambda: _send(messages))
    return digest


def _is_told(row: DueRow) -> bool:
    return row.due in _TOLD and row.item.state == Equipment.State.IN_SERVICE


def _by_address(rows: Iterable[DueRow]) -> dict[str, list[DueRow]]:
    keepers = _keepers()
    lists: dict[str, list[DueRow]] = {}
    for row in rows:
        keeper = row.item.keeper
        own = [keeper.email] if keeper and keeper.is_active and keeper.email else []
        for address in own or keepers:
            lists.setdefault(address, []).append(row)
    return lists


def _keepers() -> list[str]:
    people = User.objects.filter(groups__name=Role.EQUIPMENT_KEEPER, is_active=True)
    return sorted({person.email for person in people if person.email})


def _send(messages: Sequence[EmailMessage]) -> None:
    with get_connection() as connection:
        connection.send_messages(list(messages))


def _message(laboratory: Laboratory, address: str, rows: Sequence[DueRow]) -> EmailMessage:
    overdue = [row for row in rows if row.due == Due.OVERDUE]
    new = [row for row in rows if row.due == Due.UNCHECKED]
    soon = [row for row in rows if row.due == Due.DUE_SOON]
    parts = [
        _part("Overdue: not to be used until checked", overdue),
        _part("New: not to be used until checked", new),
        _part(f"Due within {laboratory.due_soon_days} days", soon),
    ]
    body = "\n".join(part for part in parts if part)
    counts = [f"{len(overdue)} overdue", *([f"{len(new)} new"] if new else [])]
    subject = f"Checks: {', '.join(counts)}, {len(soon)} due soon"
    return EmailMessage(subject, f"{laboratory.name}\n\n{body}", to=[address])


def _part(heading: str, rows: Sequence[DueRow]) -> str:
    if not rows:
        return ""
    return "\n".join([heading, *(f"  {_line(row)}" for row in rows), ""])


def _line(row: DueRow) -> str:
    item = row.item
    by_days = f"{row.due_on:%d %b %Y}" if row.due_on else ""
    by_uses = f"{row.uses_left} uses left" if row.uses_left is not None else ""
    where = item.bench.name if item.bench else item.place
    return "; ".join(it for it in (row.name, by_days, by_uses, where) if it)
