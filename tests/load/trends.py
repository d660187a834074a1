"""How fast the trend of one material with very many runs opens, and how much is sent.

    python -m tests.load.trends [--runs 50000] [--rounds 5] [--only sqlite|postgresql]

A laboratory of its own with so many accepted runs of one material is written straight into the
tables, on SQLite (a file) and on a throw-away PostgreSQL that waits for the disk as a real one
does. Measured: time on the wall from the request of a chart's page to its last byte, for a passing
with all eight run rules, a characteristic value, means of subgroups, weighted means and one chart
told apart by bench (below 1.5 s on PostgreSQL for 50 000 runs); the bytes sent (below 1 MB, also
when every point is out of control); the queries for a tenth of the runs and for all (must be
equal). The processor time of the server's process stands beside, for machines with other work on
them. Beside it the floor: the values fetched by one bare query, and their mean and moving range.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from labsite.bootstrap import postgres, system

MOST_SECONDS, MOST_BYTES = 1.5, 1_000_000
AT_RUNS = 50_000
NEST_UM = (4750, 2360, 1180, 600, 300, 150)
BENCHES = 4
AT_ONCE = 2000
FIRST_DAY = datetime(2012, 1, 2, 7, tzinfo=UTC)


def fill(runs: int) -> Any:
    """Write the runs of one material straight into the tables, as copies of one made in full."""
    from tests import factories

    procedure = factories.make_procedure(apertures_um=NEST_UM)
    limits = [(4750, "90", "100"), (600, "30", "46"), (150, "0", "10")]
    specification = factories.make_specification(limits=limits)
    material = factories.make_material(procedure, specification)
    pattern = factories.make_accepted_run(sample=factories.make_sample(material=material))
    benches = [factories.make_bench() for _ in range(BENCHES)]
    chance = np.random.default_rng(2026)
    for start in range(0, runs, AT_ONCE):
        count = min(AT_ONCE, runs - start)
        _write(pattern, benches, range(start, start + count), chance)
    return material


def _write(pattern: Any, benches: list[Any], numbers: range, chance: Any) -> None:
    """Write some runs an hour apart, two determinations a sample."""
    from tests.many_runs import make_series

    scatter = {
        figure.name: figure.value * (1 + 0.01 * chance.normal(size=len(numbers)))
        for figure in pattern.results.get().figures.all()
    }
    make_series(
        pattern,
        scatter,
        per_sample=2,
        first=FIRST_DAY + timedelta(hours=numbers.start),
        bench_id=[benches[n % BENCHES].pk for n in numbers],
    )


def charts_of(material: Any) -> dict[str, Any]:
    """Keep a chart of each kind that differs in what it costs."""
    from gradation.models import ControlChart
    from gradation.services import control_charts
    from tests import factories

    manager = factories.quality_manager()
    kind, group = ControlChart.Kind, ControlChart.Group
    asked = {
        "passing, eight rules": {"characteristic": "passing_600"},
        "d50, eight rules": {"characteristic": "d50"},
        "means and ranges of 2": {"characteristic": "passing_600", "kind": kind.MEAN_RANGE},
        "weighted means": {"characteristic": "passing_600", "kind": kind.WEIGHTED},
        "told apart by bench": {"characteristic": "passing_600", "group_by": group.BENCH},
        "every point out of control": {"characteristic": "passing_300"},
    }
    charts = {
        words: control_charts.open_chart(
            actor=manager,
            chart=ControlChart(
                name=f"{words} {material}", material=material, answers_from=date(2100, 1, 1), **more
            ),
        )
        for words, more in asked.items()
    }
    _freeze_far_off(charts["every point out of control"], manager)
    return charts


def _freeze_far_off(chart: Any, manager: Any) -> None:
    """Let a chart have limits that none of its points keeps."""
    from gradation.models import FrozenLimits
    from gradation.services import clock

    lines = {"centre": 3.0, "sigma": 0.1, "lower": 2.7, "upper": 3.3}
    spread = {"spread_centre": 0.1, "spread_lower": 0.0, "spread_upper": 0.3}
    FrozenLimits.objects.create(
        chart=chart, base_from=date(2011, 1, 1), base_to=date(2011, 12, 31), base_points=25,
        reason="Of another sand.", science_version="0", frozen_at=clock.now(), frozen_by=manager,
        **lines, **spread,
    )  # fmt: skip


def floor(material: Any) -> float:
    """Fetch the values by one bare query and look at their scatter."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT f.run_id, f.at_s, f.value FROM gradation_resultfigure f JOIN gradation_run r "
            "ON r.id = f.run_id WHERE f.material_id = %s AND f.name = 'passing_600' "
            "AND r.state <> 'invalid' ORDER BY f.at_s, f.run_id",
            [material.pk],
        )
        values = np.array([value for _, _, value in cursor.fetchall()])
    return float(values.mean() + np.abs(np.diff(values)).mean())


def seconds(work: Callable[[], object]) -> tuple[float, float]:
    """Give the time on the wall that one call takes, and that of this process's processor."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - processor


def queries_of(work: Callable[[], object]) -> int:
    """Count the queries of one call."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        work()
    return len(captured)


def measure(runs: int, rounds: int) -> Iterator[str]:
    """Fill the database twice, measure, and give the lines to print."""
    from django.db import connection
    from django.test import Client
    from django.urls import reverse

    from tests import factories

    factories.make_laboratory()
    material, small = fill(runs), fill(max(runs // 10, 50))
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")  # as the database does by itself
    kept, few = charts_of(material), charts_of(small)
    client = Client(headers={"host": "localhost"})
    client.force_login(factories.make_person(factories.Role.AUDITOR))
    least = statistics.median(seconds(lambda: floor(material))[0] for _ in range(rounds))
    allowed = MOST_SECONDS * max(1.0, runs / AT_RUNS)
    yield f"{runs} runs on {connection.vendor}; bare floor {least:.2f} s"
    for words, chart in kept.items():
        address = reverse("charts:chart-show", args=[chart.pk])
        short = reverse("charts:chart-show", args=[few[words].pk])
        answer = client.get(address)
        assert answer.status_code == 200, answer.status_code
        times = [seconds(lambda at=address: client.get(at)) for _ in range(rounds)]
        ours, own = (statistics.median(kind) for kind in zip(*times, strict=True))
        worst, size = max(wall for wall, _ in times), len(answer.content)
        counts = [queries_of(lambda at=at: client.get(at)) for at in (short, address)]
        yield (
            f"  {words}: opened in {ours:.2f} s, worst {worst:.2f} s (below {allowed:g} s) "
            f"{_verdict(ours < allowed)}, {own:.2f} s of processor, "
            f"{ours / least:.1f} times the floor; {size / 1000:.0f} kB "
            f"{_verdict(size < MOST_BYTES)}; queries {counts[0]}, {counts[1]} "
            f"{_verdict(counts[0] == counts[1])}"
        )


def _verdict(is_met: bool) -> str:
    return "- met" if is_met else "- MISSED"


def _run(url: str, runs: int, rounds: int) -> None:
    """Measure in a process of its own, so that each database has a Django of its own."""
    child = os.fork()
    if child:
        sys.exit(1) if os.waitpid(child, 0)[1] else None
        return
    status = 1
    try:
        _measured(url, runs, rounds)
        status = 0
    except Exception:  # noqa: BLE001 - whatever it was is shown; the process must not go on
        traceback.print_exc()
    os._exit(status)


def _measured(url: str, runs: int, rounds: int) -> None:
    """Print what is measured on one database; without an address on a file of SQLite's."""
    os.environ["TEST_DATABASE_URL"] = url
    os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings.test"
    import django
    from django.core.management import call_command
    from django.db import connection, connections

    django.setup()
    try:
        call_command("migrate", verbosity=0)
        for line in measure(runs, rounds):
            print(line, flush=True)
    finally:
        connections.close_all()
        if connection.vendor == "sqlite":
            Path(connection.settings_dict["NAME"]).unlink()


def main() -> None:
    """Print what was measured on both databases."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=AT_RUNS)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    chosen = parser.parse_args()
    system.provide_libraries()
    if chosen.only != "postgresql":
        _run("", chosen.runs, chosen.rounds)
    if chosen.only != "sqlite":
        with postgres.throwaway_cluster(durable=True) as cluster:
            _run(cluster.url, chosen.runs, chosen.rounds)


if __name__ == "__main__":
    main()
