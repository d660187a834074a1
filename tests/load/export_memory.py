"""How much memory an export of many runs takes beside one of few.

`python -m tests.load.export_memory [--runs 50000] [--database postgres|sqlite]`

Each export is made in a process of its own; its largest resident size is read from the kernel
(`VmHWM`; what `getrusage` says begins with the size of the process that started it). The rows go
out some at a time, so a thousand runs - more than most batches - and fifty thousand may differ by
a batch and what allocators keep only: `MOST_MB`.
"""

from __future__ import annotations

import argparse
import importlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.load import served

#: A batch of rows, and what allocators keep.
MOST_MB = 40
FEW = 1000
_TABLES = ("samples", "runs", "results-long", "results-wide")
_FORMS = ("csv", "json", "parquet", "xlsx")
#: 1,048,576 rows are all that a workbook holds; the long table of 50,000 runs has more.
_NO_WORKBOOK = {"results-long"}
#: Loaded first, so that the first rows do not seem to weigh what their library does.
_LIBRARY = {"parquet": "pyarrow.parquet", "xlsx": "openpyxl"}


def main() -> int:
    """Fill, export few and many, compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=50_000)
    parser.add_argument("--database", choices=["postgres", "sqlite"], default="sqlite")
    parser.add_argument("--one", nargs=3, metavar=("TABLE", "FORM", "UNTIL"))
    parser.add_argument("--url")
    told = parser.parse_args()
    if told.one:
        return _one(told.url, *told.one)
    with (
        tempfile.TemporaryDirectory() as folder,
        served.database(told.database, Path(folder)) as url,
    ):
        served.set_up(served.variables(url, served.free_port(), 1))
        few, many = _fill(told.runs)
        return _compared(url, few, many)


def _fill(count: int) -> tuple[str, str]:
    from datetime import timedelta

    from gradation.models import Sample
    from gradation.policy import Role
    from tests import factories
    from tests.many_runs import FIRST, make_series, pattern_of

    factories.make_person(Role.AUDITOR)
    pattern = pattern_of(factories.make_material(factories.make_procedure(), name="Sand 0/2"))
    for done in range(0, count, 1000):
        first = FIRST + timedelta(hours=done)
        make_series(pattern, {"passing_600": [50.0] * min(1000, count - done)}, first=first)
    Sample.objects.update(received_at=FIRST)  # a table without rows would look smaller
    few = FIRST + timedelta(hours=FEW)
    many = FIRST + timedelta(hours=count)
    return few.isoformat(), many.isoformat()


def _compared(url: str, few: str, many: str) -> int:
    worst = 0.0
    for table in _TABLES:
        for form in _FORMS:
            if form == "xlsx" and table in _NO_WORKBOOK:
                continue
            small, large = (_asked(url, table, form, until) for until in (few, many))
            worst = max(worst, large - small)
            print(f"{table}.{form}: few {small:.0f} MB, many {large:.0f} MB")
    print(f"largest difference {worst:.0f} MB; at most {MOST_MB} MB")
    return int(worst > MOST_MB)


def _asked(url: str, table: str, form: str, until: str) -> float:
    command = [sys.executable, "-m", "tests.load.export_memory", "--url", url]
    command += ["--one", table, form, until]
    answer = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(answer.stdout.split()[-1])


def _one(url: str, table: str, form: str, until: str) -> int:
    """Export once and say the largest resident size of this process, in MB."""
    from datetime import datetime

    os.environ.update(served.variables(url, served.free_port(), 1))
    import django

    django.setup()
    from gradation.models import User
    from gradation.policy import Role
    from gradation.queries.exports import Wanted
    from gradation.services.exports import export_records

    importlib.import_module(_LIBRARY.get(form, "csv"))
    auditor = User.objects.filter(groups__name=Role.AUDITOR).get()
    wanted = Wanted(until=datetime.fromisoformat(until))
    exported = export_records(actor=auditor, table=table, form=form, wanted=wanted)
    exported.file.close()
    print(exported.rows, _peak_kb() / 1024)
    return 0


def _peak_kb() -> int:
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))


if __name__ == "__main__":
    sys.exit(main())
