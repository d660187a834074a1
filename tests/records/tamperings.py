"""Eight kinds of tampering by somebody with all rights on the database, and whether each is found.

As a script it tries many: `python -m tests.records.tamperings --count 1000` on a database of its
own, and prints how many of each kind were found and located.
"""

import argparse
import os
import random
import sys
from collections import Counter as Tally
from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction

from tests.tampering import guards_lifted


@dataclass(frozen=True)
class Tampered:
    """What was done, and how the proof names the place of it."""

    kind: str
    where: str


def edit(chance, chain):
    """Change one value of one entry; half of the time its own digest is made to fit."""
    from gradation.services import ledger

    entry = chance.choice(chain)
    what = chance.choice(["reason", "actor_name", "action", "subject", "door", "after"])
    if what == "after":
        entry.after = {**(entry.after or {}), "mass_g": str(chance.random())}
    else:
        setattr(entry, what, getattr(entry, what)[:-1] + chance.choice("!?#"))
    if chance.random() < 0.5:
        entry.digest = ledger.digest_of(entry)
    entry.save()
    return Tampered("edit", f"chain {entry.chain}")


def delete(chance, chain):
    """Remove one entry that is not the last; half of the time the rest moves up."""
    entry = chance.choice(chain[:-1])
    entry.delete()
    if chance.random() < 0.5:
        for later in chain[entry.sequence :]:
            later.sequence -= 1
            later.save()
    return Tampered("delete", f"chain {entry.chain}")


def insert(chance, chain):
    """Put an entry of one's own after one that is there, with links that fit on its left."""
    from gradation.services import ledger

    model = type(chain[0])
    place = chance.randrange(len(chain))
    for later in reversed(chain[place + 1 :]):
        later.sequence += 1
        later.save()
    made = model.objects.get(pk=chain[place].pk)
    made.pk, made.reason = None, "put in"
    made.sequence, made.previous_digest = made.sequence + 1, made.digest
    made.digest = ledger.digest_of(made)
    made.save(force_insert=True)
    return Tampered("insert", f"chain {made.chain}")


def swap(chance, chain):
    """Let two entries of one chain change places."""
    one, other = chance.sample(chain, 2)
    type(one).objects.filter(pk=one.pk).update(sequence=1_000_000)
    type(one).objects.filter(pk=other.pk).update(sequence=one.sequence)
    type(one).objects.filter(pk=one.pk).update(sequence=other.sequence)
    return Tampered("swap", f"chain {one.chain}")


def cut(chance, chain):
    """Cut the end of a sealed chain off and let its head follow: the chain alone looks whole."""
    from gradation.models import ChainHead

    last = chance.randrange(len(chain) - 1)
    for entry in chain[last + 1 :]:
        entry.delete()
    ChainHead.objects.filter(chain=chain[0].chain).update(
        sequence=chain[last].sequence, digest=chain[last].digest
    )
    return Tampered("cut tail", f"chain {chain[0].chain}")


def rewrite(chance, chain):
    """Change an entry and then everything that follows from it: digests, heads, leaves, seals."""
    entry = chance.choice(chain)
    entry.reason = "what one would like to have been"
    entry.save()
    forge_all()
    return Tampered("full rewrite", "anchor of seal")


def restore(chance, chain):
    """Put back a whole and sound copy of the records as they were at an earlier seal."""
    from gradation.models import (
        Certificate,
        CertificateSignature,
        ChainHead,
        Counter,
        LedgerEntry,
        Seal,
        SealedHead,
    )

    seals = list(Seal.objects.order_by("number"))
    kept = chance.choice(seals[:-1])
    for certificate in Certificate.objects.filter(issued_at__gt=kept.made_at):
        CertificateSignature.objects.filter(certificate=certificate).delete()
        certificate.runs.clear()
        certificate.delete()
    SealedHead.objects.filter(seal__number__gt=kept.number).delete()
    Seal.objects.filter(number__gt=kept.number).delete()
    Counter.objects.filter(name="seal").update(last=kept.number)
    ChainHead.objects.update(sequence=0)
    for head in SealedHead.objects.order_by("place"):
        ChainHead.objects.filter(chain=head.chain).update(
            sequence=head.sequence, digest=head.digest
        )
    for head in ChainHead.objects.all():
        LedgerEntry.objects.filter(chain=head.chain, sequence__gt=head.sequence).delete()
    return Tampered("older copy", "anchor of seal")


def clock(chance, chain):
    """Move an entry in time, by a microsecond or by a year."""
    entry = chance.choice(chain)
    entry.at += chance.choice([timedelta(microseconds=1), timedelta(hours=-1), timedelta(365)])
    entry.save()
    return Tampered("clock edit", f"chain {entry.chain}")


KINDS = (edit, delete, insert, swap, cut, rewrite, restore, clock)


def forge_all():
    """Make every digest, head, leaf and seal fit what stands in the ledger now."""
    from gradation.models import ChainHead, LedgerEntry, Seal, SealedHead
    from gradation.proofs import tree
    from gradation.services import ledger

    last, places = {}, {}
    for entry in LedgerEntry.objects.order_by("id"):
        entry.previous_digest = last.get(entry.chain, "")
        entry.digest = last[entry.chain] = ledger.digest_of(entry)
        places[entry.chain, entry.sequence] = entry.digest
        entry.save()
    for head in ChainHead.objects.filter(sequence__gt=0):
        ChainHead.objects.filter(pk=head.pk).update(digest=last[head.chain])
    for leaf in SealedHead.objects.all():
        leaf.digest = places[leaf.chain, leaf.sequence]
        leaf.save()
    grown = tree.Growth()
    for seal in Seal.objects.order_by("number"):
        for leaf in seal.heads.order_by("place"):
            grown.add(tree.sealed_head_hash(leaf.chain, leaf.sequence, leaf.digest))
        seal.root, seal.frontier = grown.root().hex(), [each.hex() for each in grown.roots]
        seal.save()


def attempt(kind, chance, anchors):
    """Tamper once, look for it, and undo it; give what was done and what was found."""
    from gradation.models import LedgerEntry, SealedHead
    from gradation.queries.verification import Scope, verify

    chains = [
        head.chain
        for head in SealedHead.objects.filter(sequence__gte=3, seal__number=1)
        if head.chain != "seals"
    ]
    chain = list(LedgerEntry.objects.filter(chain=chance.choice(chains)).order_by("sequence"))
    with transaction.atomic():
        with guards_lifted():
            done = kind(chance, chain)
        scope = Scope(anchors=anchors, with_figures=False)
        found = [str(each) for each in verify(scope, lambda *_: None)]
        transaction.set_rollback(True)
    return done, found


def fill():
    """Make records worth tampering with: samples, runs, a certificate, and two seals."""
    from gradation.policy import Role
    from gradation.queries.seals import anchor_of
    from gradation.services import seals
    from tests import factories

    factories.make_laboratory()
    auditor = factories.make_person(Role.AUDITOR)
    for _ in range(2):
        factories.make_weighed_run(factories.technician())
    made = [seals.seal_now(actor=auditor, occasion=seals.Occasion.ASKED)]
    factories.make_certificate()
    made.append(seals.seal_now(actor=auditor, occasion=seals.Occasion.ASKED))
    factories.make_weighed_run(factories.technician())
    made.append(seals.seal_now(actor=auditor, occasion=seals.Occasion.ASKED))
    return tuple(anchor_of(seal) for seal in made)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=8)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.test")
    import django

    django.setup()
    from django.db import connection

    connection.creation.create_test_db(verbosity=0)
    try:
        anchors, chance = fill(), random.Random(asked.seed)
        tried, located = Tally(), Tally()
        for n in range(asked.count):
            done, found = attempt(KINDS[n % len(KINDS)], chance, anchors)
            tried[done.kind] += 1
            located[done.kind] += any(each.startswith(done.where) for each in found)
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)
    for kind, count in tried.items():
        print(f"{kind:<14} {located[kind]:>5} of {count:>5} found and located")
    print(f"{'all':<14} {located.total():>5} of {tried.total():>5} ({connection.vendor})")
    return 0 if located.total() == tried.total() else 1


if __name__ == "__main__":
    sys.exit(main())
