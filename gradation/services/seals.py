"""Seals: the heads of all chains bound into one root, daily, at certificates, and when asked."""

from __future__ import annotations

from django.core.mail import EmailMessage
from django.db import transaction

from gradation.errors import Conflict
from gradation.models import Laboratory, Seal, SealedHead, User
from gradation.policy import Action, require
from gradation.proofs import tree
from gradation.queries.seals import anchor_of, newest_seal, seal_words, unsealed_heads
from gradation.services import clock, ledger, numbering

__all__ = ["Occasion", "seal_now", "send_seal"]

Occasion = Seal.Occasion


def seal_now(*, actor: User, occasion: Occasion, about: str = "") -> Seal:
    """Seal the records: the heads of all chains changed since the last seal join the tree.

    Signatories (when issuing), auditors, quality managers and the system account may. Benches are
    not held up: heads are read, not locked. Seals follow one another, so a second one waits for
    the first. Ledger: records sealed, with the root; that entry is under the next seal.
    """
    require(actor, Action.SEAL_RECORDS)
    with transaction.atomic():
        number = numbering.next_number("seal")
        last = newest_seal()
        grown = tree.Growth(last.size, map(bytes.fromhex, last.frontier)) if last else tree.Growth()
        first, heads = grown.size, unsealed_heads()
        for head in heads:
            grown.add(tree.sealed_head_hash(head.chain, head.sequence, head.digest))
        seal = Seal(
            number=number,
            occasion=occasion.value,
            about=about[:80],
            made_at=clock.now(),
            made_by=actor,
            size=grown.size,
            root=grown.root().hex(),
            frontier=[root.hex() for root in grown.roots],
        )
        seal.save(force_insert=True)
        SealedHead.objects.bulk_create(
            (
                SealedHead(
                    seal=seal,
                    place=place,
                    chain=head.chain,
                    sequence=head.sequence,
                    digest=head.digest,
                )
                for place, head in enumerate(heads, start=first)
            ),
            batch_size=2000,
        )
        after = {"number": number, "size": seal.size, "root": seal.root, "occasion": seal.occasion}
        ledger.write(actor=actor, action="records sealed", subject=seal, after=after)
    return seal


def send_seal(*, actor: User, seal: Seal, address: str) -> None:
    """Send a seal by e-mail, to be kept outside this installation.

    As for sealing. Refuses (`Conflict`) a laboratory that is not set up. The message leaves after
    the ledger entry is safe. Ledger: seal sent, with the address.
    """
    require(actor, Action.SEAL_RECORDS)
    laboratory = Laboratory.objects.first()
    if laboratory is None:
        msg = "The laboratory is not set up yet. Set it up first."
        raise Conflict(msg)
    body = (
        f"{laboratory.name}\n\n{seal_words(seal)}\n\nKeep this message. The line below, saved as a "
        f"file, is an anchor for verify_records:\n\n{anchor_of(seal).to_json()}\n"
    )
    message = EmailMessage(f"Seal {seal.number} of the records", body, to=[address])
    with transaction.atomic():
        after = {"seal": seal.number, "sent to": address}
        ledger.write(actor=actor, action="seal sent", subject=seal, after=after)
        transaction.on_commit(message.send)
