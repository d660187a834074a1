"""A laboratory of many runs is kept and taken back on an empty database, every row compared.

    python -m tests.load.restore [--database postgres|sqlite] [--runs 10000] [--within 300]

Rows are copied in bulk: this measures the archive, not the bench. Each run has a sample, readings,
a result and a true entry in the ledger for each of them. Prints how long keeping and taking back
took; the restore compares every row, chain end and counter, then proves the records: every entry,
every row, and every result computed again. Ends with 1 when it took longer than allowed or
anything differs.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from labsite.bootstrap import system
from tests.load import served

BATCH = 500


def fill(runs: int) -> None:
    """Make one accepted run through the services, then copies of its rows with true entries."""
    from gradation.models import ResultFigure
    from tests import factories

    factories.make_laboratory()
    pattern = factories.make_accepted_run()
    ResultFigure.objects.all().delete()  # a copy of results, which is no record
    for start in range(0, runs, BATCH):
        _copied(pattern, range(start, min(start + BATCH, runs)))


def _copied(pattern: Any, numbers: range) -> None:
    """Copy a run so many times: each with a sample, readings and a result of its own."""
    from django.db import transaction

    from gradation.models import Result, Run, RunSieve, Sample, TestPortion, Weighing
    from gradation.services import ledger

    portion, frozen = pattern.portion, pattern.results.get()
    places, readings = list(pattern.places.all()), list(pattern.weighings.all())
    with transaction.atomic():
        samples = Sample.objects.bulk_create(
            _copy(portion.sample, number=f"C-{n:06d}") for n in numbers
        )
        portions = TestPortion.objects.bulk_create(
            _copy(portion, sample=sample, label=f"{sample.number}-A") for sample in samples
        )
        copies = Run.objects.bulk_create(_copy(pattern, portion=each) for each in portions)
        RunSieve.objects.bulk_create(
            _copy(place, run=run, in_use=False) for run in copies for place in places
        )
        weighed = Weighing.objects.bulk_create(
            _copy(reading, run=run) for run in copies for reading in readings
        )
        results = Result.objects.bulk_create(_copy(frozen, run=run) for run in copies)
        rows = [*samples, *portions, *copies, *weighed, *results]
        ledger.write_many(
            actor=pattern.technician,
            made=[ledger.Made("copied", row, ledger.snapshot(row)) for row in rows],
        )


def _copy(row: Any, **changed: object) -> Any:
    """Give a new row with another's values; what it points at stays at hand."""
    fields = {
        field.name: getattr(row, field.name)
        for field in row._meta.concrete_fields
        if not field.primary_key
    }
    return type(row)(**fields | changed)


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
        print(back.stdout or back.stderr)
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
