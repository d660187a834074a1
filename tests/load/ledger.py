"""How long proving a long ledger takes, beside a bare hash chain over the same bytes.

`python -m tests.load.ledger --entries 200000` fills a database of its own (TEST_DATABASE_URL for
PostgreSQL, else SQLite) with entries as readings leave them, spread over many chains, and prints

- the floor: the same canonical entries in memory, hashed one after the other and compared;
- proving: every entry read from the database, brought into its canonical form, hashed, linked,
  compared with the heads of all chains;
- sealing them, and growing the tree anew.

Ends with 1 when proving takes more than ten times the floor, or something does not hold.
"""

import argparse
import os
import sys
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from time import perf_counter

LONGEST_RATIO = 10.0
PER_CHAIN = 25  # entries of one sample with one run of seven sieves
BEGIN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def fill(count):
    """Store `count` entries as a bench leaves them; give their canonical forms for the floor."""
    from gradation.models import ChainHead, LedgerEntry
    from gradation.policy import Role
    from gradation.services import ledger
    from tests import factories

    factories.make_laboratory()
    actor = factories.make_person(Role.TECHNICIAN)
    run = factories.make_weighed_run(actor)
    like = LedgerEntry.objects.filter(action="reading recorded").latest("id")
    written, batch, heads = [], [], []
    previous, sequence, chain = "", 0, ""
    for n in range(count):
        if n % PER_CHAIN == 0:
            if chain:
                heads.append(ChainHead(chain=chain, sequence=sequence, digest=previous))
            chain, sequence, previous = f"sample/95-{n // PER_CHAIN:06d}", 0, ""
        sequence += 1
        entry = LedgerEntry(
            **{name: getattr(like, name) for name in KEPT},
            chain=chain, sequence=sequence, at=BEGIN + timedelta(microseconds=n * 1001),
            subject_id=run.pk + n, after={**like.after, "id": n, "position": n % 7},
            previous_digest=previous,
        )  # fmt: skip
        entry.digest = previous = ledger.digest_of(entry)
        written.append(canonical(entry))
        batch.append(entry)
        if len(batch) == 5000:
            LedgerEntry.objects.bulk_create(batch)
            batch = []
    LedgerEntry.objects.bulk_create(batch)
    heads.append(ChainHead(chain=chain, sequence=sequence, digest=previous))
    ChainHead.objects.bulk_create(heads, batch_size=5000)
    return written


KEPT = (
    *("actor_id", "actor_name", "action", "subject_type", "subject", "before", "reason"),
    *("door", "address", "request_id"),
)


def canonical(entry):
    """Give the bytes that an entry's digest is made of."""
    from gradation.proofs.entries import canonical_json

    fields = {name: getattr(entry, name) for name in KEPT if name != "actor_id"}
    more = ("chain", "sequence", "subject_id", "after", "previous_digest")
    fields |= {name: getattr(entry, name) for name in more}
    fields |= {"at": entry.at.isoformat(), "actor": entry.actor_id}
    text = canonical_json(fields).encode()
    assert sha256(text).hexdigest() == entry.digest
    return text, entry.digest


def floor(written):
    """Hash all entries from memory, each compared with its digest; give the seconds."""
    begun = perf_counter()
    for text, digest in written:
        if sha256(text).hexdigest() != digest:
            raise AssertionError
    return perf_counter() - begun


def prove():
    """Follow all chains in the database; give the seconds."""
    from gradation.queries.verification import Scope
    from gradation.queries.verification.chains import broken_chains

    begun = perf_counter()
    found = list(broken_chains(Scope(), lambda *_: None))
    took = perf_counter() - begun
    if found:
        raise AssertionError(str(found[0]))
    return took


def seal():
    """Seal all chains, then grow the tree anew; give the seconds of both."""
    from gradation.queries.verification.sealed import broken_leaves, broken_seals
    from gradation.services import seals
    from gradation.services.people import system_account

    begun = perf_counter()
    seals.seal_now(actor=system_account(), occasion=seals.Occasion.ASKED)
    sealed = perf_counter() - begun
    found = [*broken_leaves(), *broken_seals((), lambda *_: None)]
    if found:
        raise AssertionError(str(found[0]))
    return sealed, perf_counter() - begun - sealed


def measure(count):
    """Fill, measure, and give the lines to print and the ratio."""
    written = fill(count)
    size = sum(len(text) for text, _ in written) / count
    bare = min(floor(written) for _ in range(3))
    written.clear()
    proven = prove()
    sealed, grown = seal()
    return proven / bare, [
        f"{count:,} entries of {size:.0f} bytes in {-(-count // PER_CHAIN):,} chains",
        f"floor, from memory      {bare:8.2f} s  {count / bare:12,.0f} /s",
        f"proving, from database  {proven:8.2f} s  {count / proven:12,.0f} /s",
        f"sealing all chains      {sealed:8.2f} s",
        f"growing the tree anew   {grown:8.2f} s",
        f"ratio to the floor      {proven / bare:8.2f}    (at most {LONGEST_RATIO:.0f})",
    ]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=1_000_000)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.test")
    import django

    django.setup()
    from django.db import connection

    connection.creation.create_test_db(verbosity=0)
    try:
        ratio, lines = measure(asked.entries)
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)
    print("\n".join(lines), f"\n({connection.vendor})")
    return 0 if ratio <= LONGEST_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
