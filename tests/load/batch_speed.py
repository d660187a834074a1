"""How fast a batch of runs and a single worksheet are calculated, and in how much memory.

    python -m tests.load.batch_speed [--runs 100000] [--rounds 15]

Three aims, each printed beside what was measured:

- a batch of 100 000 runs on 12 sieves (passing, D10, D50, D90, Cu, Cc, fineness modulus, verdict
  of a 12-line envelope, with all checks) in at most 3 times the bare numpy floor: passing and
  three sizes by log-linear interpolation, without checks, in one piece;
- peak memory of that batch, its input included, below 4 times the input;
- one worksheet, parsed, evaluated in full and written as JSON data in a warm process, below 2 ms.

Times are of the processor (`time.process_time`), since other work on the machine would count in
the time on the wall; floor and batch take turns, and the ratio is the median over the rounds.
"""

from __future__ import annotations

import argparse
import statistics
import time
import tracemalloc
from collections.abc import Callable
from decimal import Decimal

import numpy as np

from gradation.science.batch import ManyMasses, ManyResults, Wanted, evaluate_many
from gradation.science.envelopes import EnvelopeLine
from gradation.science.gradation import FloatArray
from gradation.science.worksheet import as_json, evaluate, parse_worksheet
from tests.builders import worksheet_data

NEST_UM = (9500, 4750, 2360, 1180, 600, 425, 300, 212, 150, 106, 75, 63)
MOST_TIMES_FLOOR = 3.0
MOST_TIMES_INPUT = 4.0
MOST_MS = 2.0


def draw_masses(runs: int, chance: np.random.Generator) -> ManyMasses:
    """Give invented sands near 500 g, weighed to 0.1 g, a little of each lost."""
    usual = np.array([0, 2, 13, 20, 15, 8, 10, 9, 8, 6, 4, 2, 3], dtype=np.float64)
    drawn = chance.gamma(usual, size=(runs, usual.size))
    drawn /= drawn.sum(axis=-1, keepdims=True)
    dry_mass_g = chance.uniform(450, 550, runs).round(1)
    retained_g = (drawn * dry_mass_g[:, None] * 0.999).round(1)
    return ManyMasses(NEST_UM, retained_g, dry_mass_g)


def envelope() -> list[EnvelopeLine]:
    """Give a line for every sieve of the nest."""
    low = (100, 95, 80, 50, 25, 15, 5, 2, 0, 0, 0, 0)
    high = (100, 100, 100, 85, 60, 45, 30, 20, 10, 8, 5, 3)
    return [
        EnvelopeLine(aperture_um=Decimal(size), minimum=Decimal(least), maximum=Decimal(most))
        for size, least, most in zip(NEST_UM, low, high, strict=True)
    ]


def floor(apertures_um: FloatArray, retained_g: FloatArray, dry_mass_g: FloatArray) -> object:
    """Give passing and three sizes with nothing around them."""
    passing = 1 - np.cumsum(retained_g[:, :-1], axis=1) / dry_mass_g[:, None]
    log_um = np.log(apertures_um)
    runs, last = np.arange(len(passing)), apertures_um.size - 1
    sizes = []
    for share in (0.1, 0.5, 0.9):
        place = np.clip((passing >= share).sum(axis=1), 1, last)
        coarser, finer = passing[runs, place - 1], passing[runs, place]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            along = (share - finer) / (coarser - finer)
            sizes.append(np.exp(log_um[place] + along * (log_um[place - 1] - log_um[place])))
    return passing, sizes


def seconds(work: Callable[[], object]) -> float:
    """Give the time of the processor that one call takes."""
    start = time.process_time()
    work()
    return time.process_time() - start


def measure_batch(masses: ManyMasses, rounds: int) -> str:
    """Compare the batch with the floor."""
    arrays = (
        np.asarray(NEST_UM, dtype=np.float64),
        np.asarray(masses.retained_g),
        np.asarray(masses.dry_mass_g),
    )
    wanted = Wanted(envelope=envelope())
    bare: list[float] = []
    whole: list[float] = []
    for _ in range(rounds):
        bare.append(seconds(lambda: floor(*arrays)))
        whole.append(seconds(lambda: evaluate_many(masses, wanted)))
    ratio = statistics.median(ours / least for ours, least in zip(whole, bare, strict=True))
    return (
        f"batch of {len(arrays[1])} runs: {1e3 * statistics.median(whole):.1f} ms, floor "
        f"{1e3 * statistics.median(bare):.1f} ms, ratio {ratio:.2f} (at most "
        f"{MOST_TIMES_FLOOR:g}) {_verdict(ratio <= MOST_TIMES_FLOOR)}"
    )


def measure_memory(masses: ManyMasses) -> str:
    """Compare the largest memory in use during a batch with that of its input."""
    given = np.asarray(masses.retained_g).nbytes + np.asarray(masses.dry_mass_g).nbytes
    tracemalloc.start()
    found: ManyResults = evaluate_many(masses, Wanted(envelope=envelope()))
    peak = given + tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return (
        f"peak memory: {peak / 1e6:.1f} MB, input {given / 1e6:.1f} MB of it, ratio "
        f"{peak / given:.2f} (below {MOST_TIMES_INPUT:g}) "
        f"{_verdict(peak < MOST_TIMES_INPUT * given and found.passing.size > 0)}"
    )


def measure_single(rounds: int) -> str:
    """Time one worksheet from JSON data to JSON data."""
    # A new worksheet each time, so that nothing is known from the one before.
    dry_masses_g = iter(f"{500 + each / 10:.1f}" for each in range(20 * rounds + 1))

    def compute() -> object:
        return as_json(evaluate(parse_worksheet(worksheet_data(dry_mass_g=next(dry_masses_g)))))

    compute()
    milliseconds = 1e3 * statistics.median(seconds(compute) for _ in range(20 * rounds))
    return (
        f"one worksheet: {milliseconds:.2f} ms (below {MOST_MS:g}) "
        f"{_verdict(milliseconds < MOST_MS)}"
    )


def _verdict(is_met: bool) -> str:
    return "- met" if is_met else "- MISSED"


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=15)
    chosen = parser.parse_args()
    masses = draw_masses(chosen.runs, np.random.default_rng(2026))
    print(measure_batch(masses, chosen.rounds))
    print(measure_memory(masses))
    print(measure_single(chosen.rounds))


if __name__ == "__main__":
    main()
