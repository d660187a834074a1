"""How long 10,000 runs recorded elsewhere take to come in, and in how much memory.

    python -m tests.load.run_import [--database postgres|sqlite] [--runs 10000]

A table of runs on 15 sieves is looked through and taken in, all or nothing, in this process. The
floor is the same number of rows of readings written in bulk with nothing around them. Peak memory
stays below 600 MiB, whatever the number of rows.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from labsite.bootstrap import system
from tests.load import served
from tests.load.bench_fill import SIEVES_UM

MOST_MIB = 600


def table(runs: int) -> bytes:
    """Invent a table: every row holds 500 g on 15 sieves and the pan."""
    chance = random.Random(2026)
    sizes = [f"{size} µm" for size in SIEVES_UM]
    lines = [";".join(["Reference", "Date", "Dry mass", *sizes, "Pan"])]
    for n in range(runs):
        cuts = sorted(chance.randint(0, 5000) for _ in SIEVES_UM)
        masses = [b - a for a, b in zip([0, *cuts], [*cuts, 5000], strict=True)]
        written = [f"{mass // 10}.{mass % 10}" for mass in masses]
        day = f"202{n % 6}-{n % 12 + 1:02d}-{n % 28 + 1:02d}"
        lines.append(";".join([f"R-{n}", day, "500.0", *written]))
    return "\n".join(lines).encode()


_SMALL = 30_000  # a revision is a small whole number on PostgreSQL, 32,767 at most


def _floor(runs: int) -> float:
    """Write as many readings in bulk, in a transaction that is rolled back."""
    from django.db import transaction

    from gradation.models import Weighing

    pattern = Weighing.objects.order_by("id").first()
    values = {field.attname: getattr(pattern, field.attname) for field in pattern._meta.fields}
    began = time.perf_counter()
    with transaction.atomic():
        for first in range(0, runs * (len(SIEVES_UM) + 2), 5000):
            rows = [
                Weighing(**{**values, "id": None, "reason": "floor", "key": f"{n:032x}",
                            "revision": 2 + n % _SMALL, "increment": 1 + n // _SMALL})
                for n in range(first, first + 5000)
            ]  # fmt: skip
            Weighing.objects.bulk_create(rows)
        transaction.set_rollback(True)
    return time.perf_counter() - began


def measure(kind: str, runs: int) -> bool:
    """Print times and memory; say whether everything came in and memory stayed in its bounds."""
    with (
        tempfile.TemporaryDirectory(prefix="gradation-load-") as home,
        served.database(kind, Path(home)) as url,
    ):
        served.set_up(served.variables(url, served.free_port(), 1))
        from django.db import connections

        job, seconds = _import(table(runs))
        floor = _floor(runs)
        connections.close_all()
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    is_met = job.rows_stored == runs and peak_mib < MOST_MIB
    print(
        f"{kind}: {job.rows_stored} of {runs} runs, looked through in {seconds[0]:.0f} s, taken in "
        f"in {seconds[1]:.0f} s ({runs / seconds[1]:.0f} a second; bare readings {floor:.0f} s), "
        f"peak {peak_mib:.0f} MiB {'- met' if is_met else '- MISSED'} {job.said}"
    )
    return is_met


def _import(file: bytes) -> tuple[Any, tuple[float, float]]:
    from gradation.models import RunImport, SheetForm
    from gradation.services import run_import
    from gradation.services.run_sheet_rows import guess_columns
    from tests import factories

    factories.make_laboratory()
    procedure = factories.make_procedure(apertures_um=SIEVES_UM)
    limits = [(31500, "0", "100"), (1000, "0", "60")]
    clerk = factories.technician()
    form = run_import.change_sheet_form(
        actor=clerk,
        form=SheetForm(
            name="Old workbook",
            customer=factories.make_customer(),
            material=factories.make_material(procedure, factories.make_specification(limits)),
            bench=factories.make_bench(),
            nest=factories.make_nest(procedure),
            columns=guess_columns(file.split(b"\n", 1)[0].decode().split(";")),
        ),
    )
    job = run_import.add_table(actor=clerk, form=form, file=file, name="old.csv")
    times = [time.perf_counter()]
    job = run_import.look_through(actor=clerk, job=job)
    times.append(time.perf_counter())
    job = run_import.take_in(actor=clerk, job=job, way=RunImport.Way.ALL)
    times.append(time.perf_counter())
    return job, (times[1] - times[0], times[2] - times[1])


def main() -> None:
    """Print what was measured; end with 1 when something is missing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=("postgres", "sqlite"), default="postgres")
    parser.add_argument("--runs", type=int, default=10_000)
    chosen = parser.parse_args()
    system.provide_libraries()
    sys.exit(not measure(chosen.database, chosen.runs))


if __name__ == "__main__":
    main()
