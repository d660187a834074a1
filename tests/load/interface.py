"""The list of runs against a bare framework: how much the interface's own promises cost.

`python -m tests.load.interface [--database postgres|sqlite] [--runs 100000] [--times 300]`

In one process, in turns: the interface's list (token, scope, limit, filters, who may see it, fields
in the contract's form), and a floor of Django and DRF with the same middleware that signs a token
in by one query and gives the same rows. Both are timed by the clock and by the processor; the
ratio is what counts, because machines differ. Page 2,000 is asked beside page 1.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.load import served

LIMIT = 1.5
PAGE = 50


def main() -> int:
    """Measure and judge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=["postgres", "sqlite"], default="sqlite")
    parser.add_argument("--runs", type=int, default=PAGE * 2100)
    parser.add_argument("--times", type=int, default=300)
    told = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        served.database(told.database, Path(folder)) as url,
    ):
        given = served.variables(url, served.free_port(), 1)
        given["GRADATION_INTERFACE_CALLS_PER_MINUTE"] = "1000000"
        served.set_up(given)
        return _measured(told.runs, told.times)


def _measured(runs: int, times: int) -> int:
    bearer, oldest = _fill(runs)
    from tests.load import interface_floor

    floor, ours = interface_floor.floor(bearer), interface_floor.ours(bearer, "")
    late = interface_floor.ours(bearer, f"?before={oldest}")
    _same_rows(floor(), ours())
    found = _in_turns({"floor": floor, "page 1": ours, "page 2,000": late}, times)
    for name, (clock, processor) in found.items():
        rate = 1 / statistics.mean(clock)
        print(
            f"{name:>11}: p95 {_p95(clock) * 1e3:.2f} ms, median {_median(clock) * 1e3:.2f} ms, "
            f"processor {statistics.mean(processor) * 1e3:.2f} ms, {rate:.0f}/s"
        )
    base, first, last = (found[name] for name in ("floor", "page 1", "page 2,000"))
    ratios = {
        "p95": _p95(first[0]) / _p95(base[0]),
        "requests/s": statistics.mean(first[0]) / statistics.mean(base[0]),
        "processor": statistics.mean(first[1]) / statistics.mean(base[1]),
        "page 2,000 to page 1": _median(last[0]) / _median(first[0]),
    }
    for name, ratio in ratios.items():
        print(f"{name}: {ratio:.2f} (limit {LIMIT})")
    return int(any(ratio > LIMIT for ratio in ratios.values()))


def _same_rows(floor: dict[str, Any], ours: dict[str, Any]) -> None:
    keys = [[row["id"] for row in shown["results"]] for shown in (floor, ours)]
    if keys[0] != keys[1] or len(keys[0]) != PAGE:
        msg = "The two do not give the same rows."
        raise SystemExit(msg)


def _in_turns(
    asked: dict[str, Callable[[], Any]], times: int
) -> dict[str, tuple[list[float], list[float]]]:
    found: dict[str, tuple[list[float], list[float]]] = {name: ([], []) for name in asked}
    for turn in range(times + 20):
        for name, ask in asked.items():
            clock, processor = time.perf_counter(), time.process_time()
            ask()
            if turn >= 20:  # the first warm what is kept
                found[name][0].append(time.perf_counter() - clock)
                found[name][1].append(time.process_time() - processor)
    return found


def _p95(values: list[float]) -> float:
    return statistics.quantiles(values, n=20)[-1]


def _median(values: list[float]) -> float:
    return statistics.median(values)


def _fill(count: int) -> tuple[str, int]:
    """Make many runs of one portion each; give a token, and the key where page 2,000 begins."""
    from gradation.models import Run, Scope, TestPortion
    from tests import factories

    made = factories.make_run()
    portion = made.portion
    portions = TestPortion.objects.bulk_create(
        (
            TestPortion(
                sample=portion.sample,
                label=f"P-{number}",
                divided_how="whole",
                prepared_at=portion.prepared_at,
                prepared_by=portion.prepared_by,
            )
            for number in range(count)
        ),
        batch_size=2000,
    )
    same = ("procedure_version", "bench", "technician")
    values = {name: getattr(made, name) for name in same}
    Run.objects.bulk_create(
        (
            Run(
                portion=each,
                opened_at=made.opened_at + timedelta(seconds=place),
                state="open",
                **values,
            )
            for place, each in enumerate(portions)
        ),
        batch_size=2000,
    )
    token = factories.make_token(factories.reviewer(), scopes=list(Scope))
    skipped = min(PAGE * 1999, max(0, count - PAGE))
    oldest = Run.objects.order_by("-pk").values_list("pk", flat=True)[skipped]
    return f"Bearer {token.text}", oldest


if __name__ == "__main__":
    sys.exit(main())
