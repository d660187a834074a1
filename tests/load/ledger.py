"""How long proving a long ledger takes, beside a bare hash chain over the same bytes.

`python -m tests.load.ledger --entries 200000` fills a database of its own (TEST_DATABASE_URL for
PostgreSQL, else SQLite) with entries as readings leave them, spread over many chains, and prints

- the floor: the same canonical entries in memory, hashed one after the other and compared;
- proving: every entry read from the database, brought into its canonical form, hashed, linked,
  compared with the heads of all chains;
- finding what was written first: the oldest page of everything, and the history of one sample;
- sealing them, and growing the tree anew.

Ends with 1 when proving takes more than ten times the floor, finding more than a second, or
something does not hold.
"""

import argparse
import os
import sys
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from time import perf_counter

LONGEST_RATIO = 10.0
LONGEST_SEARCH_S = 1.0
SPOT_CHECK = 1000  # every so many entries the digest made here is held against the house's own
PER_CHAIN = 25  # entries of one sample with one run of seven sieves
AT_ONCE = 200 * PER_CHAIN
BEGIN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def fill(count):
    """Store `count` entries as a bench leaves them; give their canonical forms for the floor."""
    from gradation.models import LedgerEntry
    from gradation.policy import Role
    from tests import factories

    factories.make_laboratory()
    run = factories.make_weighed_run(factories.make_person(Role.TECHNICIAN))
    like = LedgerEntry.objects.filter(action="reading recorded").latest("id")
    written = []
    for start in range(0, count, AT_ONCE):
        store(made(like, run.pk, start, min(start + AT_ONCE, count), written))
    return written


def made(like, run, start, end, written):
    """Make entries after the pattern of one, chained; keep the bytes and digest of each."""
    from gradation.models import LedgerEntry
    from gradation.proofs.entries import canonical_json
    from gradation.services import ledger

    kept = {name: getattr(like, name) for name in KEPT}
    before = None if like.before is None else canonical_json(like.before)
    previous = ""
    for n in range(start, end):
        sequence = n % PER_CHAIN + 1
        entry = {
            **kept, "chain": f"sample/95-{n // PER_CHAIN:06d}", "sequence": sequence,
            "at": BEGIN + timedelta(microseconds=n * 1001), "subject_id": run + n,
            "after": {**like.after, "id": n, "position": n % 7},
            "previous_digest": previous if sequence > 1 else "",
        }  # fmt: skip
        text = canonical(entry)
        digest = previous = sha256(text).hexdigest()
        if n % SPOT_CHECK == 0 and digest != ledger.digest_of(LedgerEntry(**entry)):
            raise AssertionError(text)
        written.append((text, digest))
        after = canonical_json(entry["after"])
        yield {**entry, "before": before, "after": after, "digest": digest}


def store(entries):
    """Write entries and the heads of their chains past the models, which would take far longer."""
    from django.db import connection, transaction

    from gradation.models import ChainHead

    rows = list(entries)
    names, values = ", ".join(rows[0]), [list(row.values()) for row in rows]
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY gradation_ledgerentry ({names}) FROM STDIN") as copy:
                for row in values:
                    copy.write_row(row)
        else:
            marks = ", ".join("%s" for _ in rows[0])
            into = f"INSERT INTO gradation_ledgerentry ({names}) VALUES ({marks})"
            cursor.executemany(into, [[_as_sqlite(each) for each in row] for row in values])
    last = {row["chain"]: row for row in rows}
    ChainHead.objects.bulk_create(
        ChainHead(chain=chain, sequence=row["sequence"], digest=row["digest"])
        for chain, row in last.items()
    )


def _as_sqlite(value):
    """Write a moment as Django does on SQLite: in UTC, without its zone."""
    return str(value.replace(tzinfo=None)) if isinstance(value, datetime) else value


KEPT = (
    *("actor_id", "actor_name", "action", "subject_type", "subject", "before", "reason"),
    *("door", "address", "request_id"),
)


def canonical(entry):
    """Give the bytes that an entry's digest is made of, from its fields by name."""
    from gradation.proofs.entries import canonical_json

    fields = {name: value for name, value in entry.items() if name != "actor_id"}
    fields |= {"at": entry["at"].isoformat(), "actor": entry["actor_id"]}
    return canonical_json(fields).encode()


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


def find():
    """Find the first entries of all; give the seconds of the oldest page and of one history."""
    from gradation.models import LedgerEntry
    from gradation.queries.history import recent_entries, tell
    from gradation.queries.paging import page_of

    first = LedgerEntry.objects.order_by("id").values_list("id", flat=True).first()
    begun = perf_counter()
    page = tell(page_of(recent_entries(), before=first + 200, size=200).rows)
    paged = perf_counter() - begun
    story = tell(LedgerEntry.objects.filter(chain="sample/95-000000").order_by("sequence"))
    if not page or len(story) != PER_CHAIN:
        raise AssertionError(len(page), len(story))
    return paged, perf_counter() - begun - paged


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
    """Fill, measure, and give whether the aims are met and the lines to print."""
    from django.db import connection

    written = fill(count)
    connection.close()  # as after every request: SQLite copies its log into the file then
    size = sum(len(text) for text, _ in written) / count
    bare = min(floor(written) for _ in range(3))
    written.clear()
    proven = min(prove() for _ in range(3))
    paged, told = find()
    sealed, grown = seal()
    is_met = proven / bare <= LONGEST_RATIO and max(paged, told) <= LONGEST_SEARCH_S
    return is_met, [
        f"{count:,} entries of {size:.0f} bytes in {-(-count // PER_CHAIN):,} chains",
        f"floor, from memory      {bare:8.2f} s  {count / bare:12,.0f} /s",
        f"proving, from database  {proven:8.2f} s  {count / proven:12,.0f} /s",
        f"oldest page of all      {paged:8.2f} s",
        f"history of one sample   {told:8.2f} s    (at most {LONGEST_SEARCH_S:.0f} s each)",
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
        is_met, lines = measure(asked.entries)
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)
    print("\n".join(lines), f"\n({connection.vendor})")
    return 0 if is_met else 1


if __name__ == "__main__":
    sys.exit(main())
