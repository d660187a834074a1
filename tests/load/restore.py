"""A laboratory of many runs is kept and taken back on an empty database, every row compared.

    python -m tests.load.restore [--database postgres|sqlite] [--runs 10000] [--within 300]

Rows are multiplied in the database itself: this measures the archive, not the bench. Each run has
its readings, its result and its ledger entries with true digests. Prints how long keeping and
taking back took; the restore compares every row, chain end and counter itself. Ends with 1 when it
took longer than allowed or anything differs.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from uuid import uuid4

from labsite.bootstrap import system
from tests.load import served

ENTRIES_A_RUN = 10
READINGS_A_RUN = 6
BATCH = 1000


def fill(runs: int) -> None:
    """Make one accepted run through the services, then copies of its rows."""
    from django.db import transaction

    from gradation.models import ChainHead, LedgerEntry, Result, Run, TestPortion, Weighing
    from gradation.services.ledger import digest_of
    from tests import factories

    factories.make_laboratory()
    run = factories.make_accepted_run()
    person, result = run.technician, run.results.get()
    readings = list(run.weighings.all())[:READINGS_A_RUN]
    for start in range(0, runs, BATCH):
        numbers = range(start, min(start + BATCH, runs))
        with transaction.atomic():
            portions = TestPortion.objects.bulk_create(
                _copy(run.portion, label=f"COPY-{n:06d}") for n in numbers
            )
            copies = Run.objects.bulk_create(_copy(run, portion=portion) for portion in portions)
            Weighing.objects.bulk_create(
                _copy(reading, run=copy, key=uuid4()) for copy in copies for reading in readings
            )
            Result.objects.bulk_create(_copy(result, run=copy) for copy in copies)
            entries = [
                entry for copy in copies for entry in _entries(copy, person, LedgerEntry, digest_of)
            ]
            LedgerEntry.objects.bulk_create(entries)
            ChainHead.objects.bulk_create(
                ChainHead(chain=last.chain, sequence=last.sequence, digest=last.digest)
                for last in entries[ENTRIES_A_RUN - 1 :: ENTRIES_A_RUN]
            )


def _copy(row: object, **changed: object) -> object:
    fields = {
        field.name: getattr(row, field.name)
        for field in row._meta.concrete_fields  # type: ignore[attr-defined]
        if not field.primary_key
    }
    return type(row)(**fields | changed)


def _entries(run: object, person: object, entry: type, digest_of: object) -> list[object]:
    from gradation.services import clock

    made, before = [], ""
    for sequence in range(1, ENTRIES_A_RUN + 1):
        one = entry(
            chain=f"copy/{run.pk}", sequence=sequence, at=clock.now(), actor=person,
            actor_name=str(person), action="reading kept", subject_type="run",
            subject_id=run.pk, subject=str(run.pk), before=None,
            after={"mass_g": f"{sequence}.5", "text": "a reading of the bench"}, reason="",
            door="web", address="192.0.2.1", request_id="0" * 32, previous_digest=before,
        )  # fmt: skip
        one.digest = before = digest_of(one)
        made.append(one)
    return made


def timed(given: dict[str, str], *arguments: str) -> tuple[float, subprocess.CompletedProcess[str]]:
    """Run a command of the installation and give its seconds."""
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=served.ROOT, env=given, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return time.monotonic() - began, done


def run(database: str, runs: int, within_s: float) -> list[str]:
    """Do the whole of it and give the faults."""
    faults: list[str] = []
    with (
        tempfile.TemporaryDirectory(prefix="gradation-restore-") as home,
        served.database(database, Path(home)) as url,
    ):
        given = served.variables(url, served.free_port(), 1)
        served.set_up(given)
        from django.db import connections

        began = time.monotonic()
        fill(runs)
        connections.close_all()
        print(f"{database}: {runs} runs filled in {time.monotonic() - began:.0f} s")
        archive = Path(home) / "kept.zip"
        kept_s, kept = timed(given, "backup", str(archive))
        print(kept.stdout or kept.stderr[-500:])
        with (
            tempfile.TemporaryDirectory() as other,
            served.database(database, Path(other)) as empty,
        ):
            target = {**given, "DATABASE_URL": empty}
            back_s, back = timed(target, "restore", str(archive))
        print(back.stdout or back.stderr[-500:])
        size = archive.stat().st_size / 1e6
        print(f"kept in {kept_s:.0f} s ({size:.0f} MB), taken back and compared in {back_s:.0f} s")
        if kept.returncode or back.returncode:
            faults.append("a command failed")
        if back_s > within_s:
            faults.append(f"taking back took {back_s:.0f} s, {within_s:.0f} s allowed")
    return faults


def main() -> None:
    """Print the seconds; end with 1 when it took too long or anything differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=("postgres", "sqlite"), default="postgres")
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--within", type=float, default=300)
    chosen = parser.parse_args()
    system.provide_libraries()
    faults = run(chosen.database, chosen.runs, chosen.within)
    print("\n".join(faults))
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
