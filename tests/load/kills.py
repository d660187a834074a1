"""At least 5,000 acknowledged writes over HTTP and 20 kills: nothing lost, nothing doubled.

    python -m tests.load.kills [--database postgres|sqlite] [--writes 5000] [--kills 20]

Benches weigh as in `bench_soak`: each reading under its own key until it is acknowledged; by
chance it is sent again, twice at once, or its answer is thrown away (G6: 30 % of answers lost or
asked for again). Meanwhile a worker process is killed at even parts of the way, until the number
of kills is reached; work does not end before. Afterwards the database is held against what the
benches were told: every acknowledged write once, nothing that nobody sent, one ledger entry each,
every chain whole. Ends with 1 otherwise.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from labsite.bootstrap import system
from tests.load import bench_soak, served
from tests.load.bench_fill import Place, fill

BACK_WITHIN_S = 10
_BENCHES = {"postgres": 8, "sqlite": 4}


@dataclass(frozen=True)
class Wanted:
    """How much is written, how often a worker dies."""

    database: str
    writes: int
    kills: int
    seed: int

    @property
    def benches(self) -> int:
        """Give how many benches weigh at once."""
        return _BENCHES[self.database]

    @property
    def runs_each(self) -> int:
        """Give how many runs each bench weighs, so that all together make the writes."""
        a_run = len(bench_soak.rows())
        return -(-self.writes // (a_run * self.benches))


def weigh_and_kill(places: list[Place], site: served.Site, wanted: Wanted) -> tuple[object, int]:
    """Let all benches work and kill a worker each time another part of the writes is done."""
    told = bench_soak.Told()
    benches = [
        threading.Thread(
            target=bench_soak.Bench(place, site.port, told, random.Random(wanted.seed + n)).work
        )
        for n, place in enumerate(places)
    ]
    for bench in benches:
        bench.start()
    chance, killed = random.Random(wanted.seed), 0
    step = wanted.writes / (wanted.kills + 1)
    while any(bench.is_alive() for bench in benches):
        if killed < wanted.kills and len(told.acknowledged) >= (killed + 1) * step:
            workers = site.workers()
            if workers:
                site.kill_worker(chance.choice(workers))
                killed += 1
        time.sleep(0.02)
    return told, killed


def run(wanted: Wanted) -> list[str]:
    """Do the whole of it; give the faults; what happened is printed."""
    with (
        tempfile.TemporaryDirectory(prefix="gradation-kills-") as home,
        served.database(wanted.database, Path(home)) as url,
    ):
        processes = 2 if wanted.database == "postgres" else 1
        given = served.variables(url, served.free_port(), processes)
        served.set_up(given)
        from django.db import connections

        places = fill(wanted.benches, wanted.runs_each)
        connections.close_all()
        began = time.monotonic()
        with served.serving(given, Path(home) / "server.log") as site:
            told, killed = weigh_and_kill(places, site, wanted)
        faults = bench_soak.compare(told)
        connections.close_all()
    seconds = time.monotonic() - began
    acknowledged = len(told.acknowledged)
    if killed < wanted.kills:
        faults.append(f"only {killed} of {wanted.kills} workers were killed")
    if acknowledged < wanted.writes:
        faults.append(f"only {acknowledged} of {wanted.writes} writes were acknowledged")
    events = ", ".join(f"{n} x {event}" for event, n in sorted(told.events.items()))
    print(
        f"{wanted.database}: {acknowledged} writes acknowledged, {killed} workers killed in "
        f"{seconds:.0f} s; {events}\nfaults: {len(faults)}"
    )
    return faults


def main() -> None:
    """Print what happened; end with 1 when anything was lost or doubled."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=("postgres", "sqlite"), default="postgres")
    parser.add_argument("--writes", type=int, default=5000)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=2026)
    chosen = parser.parse_args()
    system.provide_libraries()
    faults = run(Wanted(chosen.database, chosen.writes, chosen.kills, chosen.seed))
    print("\n".join(faults[:20]))
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
