"""How often planted mistakes are found, and how often a sound run raises a false alarm.

    python -m tests.load.fingerprint_rates [--materials 300] [--first-seed 50000]

Materials, runs and mistakes are drawn at random; thresholds in gradation/science were set on the
seeds below 50000 (development) and the rates quoted in DEVELOPERS.md come from seeds above. A
mistake counts as consequential when it moves a passing value by at least one percent of the dry
mass: two neighbouring rows that happen to weigh the same cannot betray that they were exchanged.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from gradation.science.history import History, Recorded, history_of, no_history, unlike_history
from gradation.science.mistakes import Mistake
from gradation.science.plausibility import fingerprints, odd_tares
from gradation.science.propagation import FloatArray

REPORT_SEEDS_FROM = 50_000
LOSS_TOLERANCE = 0.003
# Preferred sieves of the R 20/3 series of ISO 565 [µm].
SERIES_UM = (
    16000, 11200, 8000, 5600, 4000, 2800, 2000, 1400, 1000, 710, 500, 355, 250, 180, 125, 90, 63,
)  # fmt: skip


@dataclass(frozen=True)
class Material:
    """One invented material at one laboratory: its curve, its scatter, its habits."""

    apertures_um: FloatArray
    shares: FloatArray
    scatter: float
    drift: float
    wash: float
    portion_g: float
    tares_g: FloatArray | None
    history_runs: int


@dataclass(frozen=True)
class Planted:
    """A run with a known mistake."""

    run: Recorded
    mistake: Mistake
    rows: tuple[int, ...]


def draw_material(chance: np.random.Generator) -> Material:
    """Give a material whose curve is log-normal or RRSB, on a nest of six to ten sieves."""
    count = int(chance.integers(6, 11))
    first = int(chance.integers(0, len(SERIES_UM) - count))
    apertures = np.array(SERIES_UM[first : first + count], dtype=np.float64)
    middle = np.exp(np.log(apertures).mean() + chance.normal(0, 0.3))
    slope = chance.uniform(1.0, 2.2)
    passing = 1 - np.exp(-np.log(2) * (apertures / middle) ** slope)
    shares = -np.diff(passing, prepend=1.0, append=0.0) * np.exp(chance.normal(0, 0.2, count + 1))
    has_tares = chance.random() < 0.4
    return Material(
        apertures_um=apertures,
        shares=shares / shares.sum(),
        scatter=chance.uniform(0.02, 0.07),
        drift=chance.uniform(0.01, 0.06),
        wash=chance.uniform(0.01, 0.08) if chance.random() < 0.5 else 0.0,
        portion_g=float(chance.choice([250.0, 500.0, 1000.0, 2000.0])),
        tares_g=chance.uniform(300, 520, count + 1).round(1) if has_tares else None,
        history_runs=int(chance.integers(12, 41)),
    )


def draw_run(material: Material, chance: np.random.Generator, washed: bool = True) -> Recorded:
    """Give a sound run: heavy-tailed material scatter, some dust lost, masses read to 0.1 g."""
    count = material.shares.size
    tilt = material.drift * chance.standard_t(6) * np.linspace(-1, 1, count)
    shares = material.shares * np.exp(tilt + material.scatter * chance.standard_t(6, count))
    shares = shares / shares.sum()
    dry = round(material.portion_g * chance.uniform(0.9, 1.1), 1)
    wash = material.wash * np.exp(chance.normal(0, 0.12))
    if material.wash and not washed:
        in_pan = chance.uniform(0.0, 1.0)
        shares = shares * (1 - wash) + wash * (1 - in_pan) * shares
        shares[-1] += wash * in_pan
        wash = 0.0
    shaken = round(dry * (1 - wash), 1) if material.wash else dry
    loss = abs(chance.normal(0.0006, 0.0004))
    if chance.random() < 0.05:
        loss = chance.uniform(0.001, LOSS_TOLERANCE)
    grams = shares * shaken
    grams[-1] -= min(loss * shaken, 0.9 * grams[-1])
    tares = material.tares_g
    if tares is not None:
        tares = (tares + chance.normal(0, 0.05, count)).round(1)
    return Recorded(
        apertures_um=material.apertures_um,
        masses_g=np.maximum(grams, 0).round(1),
        dry_mass_g=np.array(dry),
        washed_dry_mass_g=np.array(shaken) if material.wash else None,
        tares_g=tares,
    )


def draw_history(material: Material, chance: np.random.Generator) -> History:
    """Give the history of a material; one run in forty carries a mistake nobody noticed."""
    runs = [draw_run(material, chance) for _ in range(material.history_runs)]
    runs = [
        planted.run if chance.random() < 1 / 40 and (planted := swap_rows(run, chance)) else run
        for run in runs
    ]
    return history_of(
        Recorded(
            material.apertures_um,
            np.stack([run.masses_g for run in runs]),
            np.array([float(run.dry_mass_g) for run in runs]),
            np.array([float(run.washed_g) for run in runs]) if material.wash else None,
            None if material.tares_g is None else np.stack([_tares(run) for run in runs]),
        )
    )


def _tares(run: Recorded) -> FloatArray:
    return np.zeros_like(run.masses_g) if run.tares_g is None else run.tares_g


def swap_rows(run: Recorded, chance: np.random.Generator) -> Planted | None:
    """Exchange two neighbouring masses."""
    row = int(chance.integers(0, run.masses_g.size - 1))
    masses = run.masses_g.copy()
    masses[[row, row + 1]] = masses[[row + 1, row]]
    return Planted(replace(run, masses_g=masses), Mistake.SWAPPED_ROWS, (row, row + 1))


def swap_sieves(run: Recorded, chance: np.random.Generator) -> Planted | None:
    """Hang a sieve below its finer neighbour: the finer keeps both fractions."""
    row = int(chance.integers(0, run.masses_g.size - 2))
    masses = run.masses_g.copy()
    left = round(float(masses[row] * chance.uniform(0, 0.004)), 1)
    masses[row + 1] += masses[row] - left
    masses[row] = left
    return Planted(replace(run, masses_g=masses), Mistake.SWAPPED_SIEVES, (row, row + 1))


def wrong_tare(run: Recorded, chance: np.random.Generator) -> Planted | None:
    """Weigh one fraction with a tare off by 1 to 20 % of the portion, either way."""
    row = int(chance.integers(0, run.masses_g.size))
    off = round(float(run.dry_mass_g * chance.uniform(0.01, 0.2) * chance.choice([-1, 1])), 1)
    masses = run.masses_g.copy()
    masses[row] += off
    if masses[row] < 0:
        return None
    tares = None if run.tares_g is None else run.tares_g.copy()
    if tares is not None:
        tares[row] -= off
    return Planted(replace(run, masses_g=masses, tares_g=tares), Mistake.TARE, (row,))


def transpose_digits(run: Recorded, chance: np.random.Generator) -> Planted | None:
    """Exchange two neighbouring digits of one typed mass."""
    row = int(chance.integers(0, run.masses_g.size))
    tare = float(_tares(run)[row])
    digits = list(f"{round(10 * (run.masses_g[row] + tare))}")
    if len(digits) < 2:
        return None
    place = int(chance.integers(0, len(digits) - 1))
    digits[place], digits[place + 1] = digits[place + 1], digits[place]
    masses = run.masses_g.copy()
    masses[row] = int("".join(digits)) / 10 - tare
    if masses[row] < 0 or masses[row] == run.masses_g[row]:
        return None
    return Planted(replace(run, masses_g=masses), Mistake.TRANSPOSED_DIGITS, (row,))


def slip_decimal(run: Recorded, chance: np.random.Generator) -> Planted | None:
    """Move the decimal point of one typed mass by one place."""
    row = int(chance.integers(0, run.masses_g.size))
    tare = float(_tares(run)[row])
    masses = run.masses_g.copy()
    masses[row] = (masses[row] + tare) * float(chance.choice([0.1, 10.0])) - tare
    if masses[row] < 0 or run.masses_g[row] == 0:
        return None
    return Planted(replace(run, masses_g=masses), Mistake.DECIMAL_SLIP, (row,))


def type_cumulative(run: Recorded, _chance: np.random.Generator) -> Planted | None:
    """Enter running totals where single masses were asked for."""
    masses = np.cumsum(run.masses_g).round(1)
    rows = tuple(range(masses.size))
    # Net totals were typed, so the tares of the single sieves do not belong to them.
    entered = replace(run, masses_g=masses, tares_g=None)
    return Planted(entered, Mistake.CUMULATIVE_AS_INDIVIDUAL, rows)


def forget_washed_mass(run: Recorded, _chance: np.random.Generator) -> Planted | None:
    """Wash, but never enter the dry mass after washing."""
    if run.washed_dry_mass_g is None:
        return None
    return Planted(replace(run, washed_dry_mass_g=None), Mistake.WASH_NOT_RECORDED, ())


PLANTERS: dict[str, Callable[[Recorded, np.random.Generator], Planted | None]] = {
    "swapped rows": swap_rows,
    "swapped sieves": swap_sieves,
    "wrong tare": wrong_tare,
    "transposed digits": transpose_digits,
    "decimal slip": slip_decimal,
    "cumulative as individual": type_cumulative,
    "washed mass not entered": forget_washed_mass,
}


@dataclass
class Tally:
    """Counts of one kind of mistake."""

    planted: int = 0
    consequential: int = 0
    named_first: int = 0
    named: int = 0
    any_alarm: int = 0
    unlike: int = 0


def is_consequential(sound: Recorded, planted: Planted) -> bool:
    """Say whether some passing value or the wash loss moved by one percent or more."""
    if planted.mistake in (Mistake.WASH_NOT_RECORDED, Mistake.MISSED_WASH):
        return True
    return bool(np.abs(planted.run.passing - sound.passing).max() >= 0.01)


def count(tally: Tally, sound: Recorded, planted: Planted, history: History) -> None:
    """Judge one planted mistake and count it."""
    tally.planted += 1
    if not is_consequential(sound, planted):
        return
    tally.consequential += 1
    found = list(fingerprints(planted.run, history))
    if planted.run.tares_g is not None and history.runs:
        found = [*odd_tares(planted.run, history), *found]
    hits = [
        each.mistake is planted.mistake and (each.rows == planted.rows or not planted.rows)
        for each in found
    ]
    tally.any_alarm += bool(found)
    tally.unlike += bool(unlike_history(planted.run.passing, history).is_unlike)
    tally.named += any(hits)
    tally.named_first += bool(hits) and hits[0]


def planted_runs(
    material: Material, chance: np.random.Generator
) -> Iterator[tuple[str, Recorded, Planted]]:
    """Give one run of each kind of mistake, where the material allows it."""
    for name, plant in PLANTERS.items():
        sound = draw_run(material, chance)
        planted = plant(sound, chance)
        if planted is not None:
            yield name, sound, planted
    if material.wash:
        unwashed = draw_run(material, chance, washed=False)
        yield "missed wash", unwashed, Planted(unwashed, Mistake.MISSED_WASH, ())


@dataclass(frozen=True)
class Rates:
    """Tallies with and without history, and the false alarms."""

    with_history: dict[str, Tally]
    without_history: dict[str, Tally]
    sound_runs: int
    false_fingerprints: int
    false_unlike: int
    false_tares: int
    false_without_history: int


def measure(materials: int, first_seed: int, sound_per_material: int = 20) -> Rates:
    """Give the rates over many invented materials, one seed each."""
    with_history: dict[str, Tally] = defaultdict(Tally)
    without: dict[str, Tally] = defaultdict(Tally)
    alarms = np.zeros(4, dtype=int)
    for seed in range(first_seed, first_seed + materials):
        chance = np.random.default_rng(seed)
        material = draw_material(chance)
        history = draw_history(material, chance)
        bare = no_history(material.apertures_um.size, LOSS_TOLERANCE)
        for _ in range(sound_per_material):
            alarms += false_alarms(draw_run(material, chance), history, bare)
        for name, sound, planted in planted_runs(material, chance):
            count(with_history[name], sound, planted, history)
            count(without[name], sound, planted, bare)
    sound_runs = materials * sound_per_material
    return Rates(dict(with_history), dict(without), sound_runs, *(int(n) for n in alarms))


def false_alarms(run: Recorded, history: History, bare: History) -> FloatArray:
    """Give four zeros or ones: fingerprint, unlike, tare, fingerprint without history."""
    tare = run.tares_g is not None and bool(odd_tares(run, history))
    unlike = bool(unlike_history(run.passing, history).is_unlike)
    return np.array(
        [bool(fingerprints(run, history)), unlike, tare, bool(fingerprints(run, bare))], dtype=int
    )


def report(rates: Rates) -> str:
    """Give the rates as a table for the reader."""
    lines = [
        f"{'mistake':26}{'history':>9}{'runs':>6}{'first':>8}{'named':>8}{'alarm':>8}{'unlike':>8}"
    ]
    for label, tallies in (("yes", rates.with_history), ("no", rates.without_history)):
        for name, tally in tallies.items():
            total = max(tally.consequential, 1)
            shares = (tally.named_first, tally.named, tally.any_alarm, tally.unlike)
            figures = "".join(f"{100 * n / total:7.1f}%" for n in shares)
            lines.append(f"{name:26}{label:>9}{tally.consequential:6d}{figures}")
    for name, number in (
        ("fingerprint", rates.false_fingerprints),
        ("unlike its history", rates.false_unlike),
        ("odd tare", rates.false_tares),
        ("fingerprint, no history", rates.false_without_history),
    ):
        share = 100 * number / rates.sound_runs
        lines.append(
            f"false alarm, {name}: {number} of {rates.sound_runs} sound runs, {share:.2f} %"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--materials", type=int, default=300)
    parser.add_argument("--first-seed", type=int, default=REPORT_SEEDS_FROM)
    chosen = parser.parse_args()
    print(report(measure(chosen.materials, chosen.first_seed)))


if __name__ == "__main__":
    main()
