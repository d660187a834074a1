"""How long the server takes to keep a reading and work out the run again.

    python -m tests.load.bench_preview [--database postgres|sqlite] [--benches 4] [--runs 4]

Benches weigh runs of 15 sieves at the same time, each with a reading a second on average, which is
quicker than any hand. Measured is the server's own time of each reading (gunicorn's access log),
beside a bare view of the same server in the same minute: p95 below 50 ms is the aim.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import threading
from pathlib import Path

import numpy as np

from labsite.bootstrap import system
from tests.load import served
from tests.load.bench_fill import Place, fill
from tests.load.bench_soak import Bench, Told

P95_MS = 50.0
PAUSE_S = 1.0
BARE = "/health/live"


class Steady(random.Random):
    """No mishaps: readings are sent once, and answers are read."""

    def random(self) -> float:
        """Give the figure that no share lies above."""
        return 1.0

    def getrandbits(self, k: int, /) -> int:
        """Leave whole numbers to chance."""
        return super().getrandbits(k)

    def uniform(self, low: float, high: float) -> float:
        """Give some figure between the two: benches do not keep time with one another."""
        return low + (high - low) * super().random()


def _weigh_all(places: list[Place], site: served.Site) -> Told:
    told = Told()
    threads = [
        threading.Thread(target=Bench(place, site.port, told, Steady(n), PAUSE_S).work)
        for n, place in enumerate(places)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return told


def measure(kind: str, benches: int, runs: int) -> bool:
    """Print the times and say whether the aim was met."""
    with (
        tempfile.TemporaryDirectory(prefix="gradation-load-") as home,
        served.database(kind, Path(home)) as url,
    ):
        given = served.variables(url, served.free_port(), 2 if kind == "postgres" else 1)
        served.set_up(given)
        from django.db import connections

        places = fill(benches, runs)
        connections.close_all()
        with served.serving(given, Path(home) / "server.log") as site:
            told = _weigh_all(places, site)
            person = places[0].person(site.port)
            for _ in range(200):
                person.ask("GET", BARE)
        times = site.server_times_ms("POST", "/readings/")
        bare = site.server_times_ms("GET", BARE)
    p95, floor = float(np.percentile(times, 95)), float(np.percentile(bare, 95))
    is_met = p95 < P95_MS and not told.faults
    print(
        f"{kind}: {len(times)} readings at {benches} benches, 15 sieves; server time median "
        f"{statistics.median(times):.1f} ms, p95 {p95:.1f} ms (below {P95_MS:g} ms) "
        f"{'- met' if is_met else '- MISSED'}; bare view p95 {floor:.2f} ms"
    )
    print("\n".join(told.faults[:5]))
    return is_met


def main() -> None:
    """Print what was measured; end with 1 when the aim was missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=("postgres", "sqlite"), default="postgres")
    parser.add_argument("--benches", type=int, default=4)
    parser.add_argument("--runs", type=int, default=4)
    chosen = parser.parse_args()
    system.provide_libraries()
    sys.exit(not measure(chosen.database, chosen.benches, chosen.runs))


if __name__ == "__main__":
    main()
