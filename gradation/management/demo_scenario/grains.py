"""Masses that a balance would show: drawn from a grain-size distribution, divided, lost, rounded.

Everything else in the scenario is computed by the software from these readings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from zlib import crc32

import numpy as np
import numpy.typing as npt
from scipy import stats

from gradation.management.demo_scenario.data_files import rows_of

SEED = 20_26
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Component:
    """One part of a mixture: its distribution, and how far batches differ from one another."""

    family: str
    size_um: float
    spread: float
    share: float
    top_um: float
    batch_size: float
    batch_spread: float

    def passing(self, apertures_um: FloatArray) -> FloatArray:
        """Share finer than each aperture; nothing is larger than the top size."""
        sizes = np.append(np.minimum(apertures_um, self.top_um), self.top_um)
        if self.family == "rrsb":
            finer = stats.weibull_min.cdf(sizes, self.spread, scale=self.size_um)
        else:
            finer = stats.lognorm.cdf(sizes, np.log(self.spread), scale=self.size_um)
        return finer[:-1] / finer[-1]


Mixture = tuple[Component, ...]


@cache
def mixtures() -> dict[str, Mixture]:
    """Give the mixtures by name."""
    found: dict[str, Mixture] = {}
    for row in rows_of("mixtures"):
        found[row["mixture"]] = (*found.get(row["mixture"], ()), _component(row))
    return found


def _component(row: dict[str, str]) -> Component:
    return Component(
        family=row["family"],
        size_um=float(row["size_um"]),
        spread=float(row["spread"]),
        share=float(row["share_pct"]) / 100,
        top_um=float(row["top_um"]),
        batch_size=float(row["batch_size_pct"]) / 100,
        batch_spread=float(row["batch_spread_pct"]) / 100,
    )


def generator(*key: str | int) -> np.random.Generator:
    """Give the random numbers of one thing: the same on every day, whatever else happens."""
    return np.random.default_rng([SEED, *(crc32(str(part).encode()) for part in key)])


def batch(mixture: Mixture, size_factor: float, random: np.random.Generator) -> Mixture:
    """Vary a mixture as one batch varies from another."""
    return tuple(
        replace(
            part,
            size_um=part.size_um * size_factor * np.exp(random.normal(0, part.batch_size)),
            spread=part.spread * np.exp(random.normal(0, part.batch_spread)),
        )
        for part in mixture
    )


@dataclass(frozen=True)
class Handling:
    """How a portion is taken, treated and weighed."""

    portion_g: float
    readability_g: Decimal
    washed: bool = False
    lost: float = 0.0006
    division: float = 0.015
    """How far the shares of one portion differ from those of the batch (coefficient)."""


@dataclass(frozen=True)
class Sieving:
    """What the balance showed, in grams at its readability; the pan stands last."""

    dry_mass_g: Decimal
    washed_dry_mass_g: Decimal | None
    masses_g: tuple[Decimal, ...]


#: Of what is finer than the finest sieve, washing carries away this share.
WASHED_AWAY = 0.86


def sieve(
    mixture: Mixture,
    apertures_um: Sequence[float],
    handling: Handling,
    random: np.random.Generator,
) -> Sieving:
    """Sieve one portion of a batch on sieves with these (real) apertures, coarse to fine."""
    shares = _shares(mixture, np.asarray(apertures_um, dtype=np.float64))
    shares *= np.exp(random.normal(0, handling.division, shares.size))
    dry_g = handling.portion_g * (1 + random.uniform(-0.03, 0.03))
    masses_g = dry_g * shares / shares.sum()
    washed_g = None
    if handling.washed:
        away_g = masses_g[-1] * WASHED_AWAY * random.uniform(0.97, 1.03)
        masses_g[-1] -= away_g
        washed_g = _shown(dry_g - away_g, handling, random)
    masses_g *= 1 - handling.lost * random.uniform(0.4, 1.6)
    shown = tuple(_shown(mass_g, handling, random) for mass_g in masses_g)
    return Sieving(_shown(dry_g, handling, random), washed_g, shown)


def _shares(mixture: Mixture, apertures_um: FloatArray) -> FloatArray:
    """Share on each sieve and, last, in the pan."""
    finer = np.zeros(apertures_um.size)
    for part in mixture:
        finer += part.share * part.passing(apertures_um)
    return -np.diff(np.concatenate(([1.0], finer, [0.0])))


def _shown(mass_g: float, handling: Handling, random: np.random.Generator) -> Decimal:
    """Round to what the balance shows, with its own unrest."""
    step = handling.readability_g
    unrest_g = random.normal(0, 0.4 * float(step)) if mass_g > float(step) / 2 else 0.0
    return max(Decimal(round((mass_g + unrest_g) / float(step))) * step, step * 0)
