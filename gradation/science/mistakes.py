"""The slips a bench can make, each turned round: what the run would be if it had been made.

Public: `Mistake`, `Suspicion`, `suspicions`. A suspicion is a proposal to test against what the
material usually gives (`plausibility`); nothing here changes a record.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gradation.science.history import History, Recorded, loss_share
from gradation.science.propagation import FloatArray


class Mistake(StrEnum):
    """Kinds of mistakes with a fingerprint."""

    SWAPPED_ROWS = "swapped_rows"
    SWAPPED_SIEVES = "swapped_sieves"
    TARE = "tare"
    MISSED_WASH = "missed_wash"
    WASH_NOT_RECORDED = "wash_not_recorded"
    CUMULATIVE_AS_INDIVIDUAL = "cumulative_as_individual"
    TRANSPOSED_DIGITS = "transposed_digits"
    DECIMAL_SLIP = "decimal_slip"


@dataclass(frozen=True)
class Suspicion:
    """One mistake that may have been made, and the masses if it was."""

    mistake: Mistake
    rows: tuple[int, ...]
    masses_g: FloatArray
    dry_mass_g: float
    washed_g: float
    detail: str
    penalty: float = 0.0


# Row numbers of the two masses that are no fractions.
DRY_ROW = -1
WASHED_ROW = -2

# A free amount fitted to the run explains more than a fixed one; what that is worth in log
# likelihood was set on the development seeds of tests/load/fingerprint_rates.py.
_FREE_AMOUNT = 5.0
# A sieve that hung below a finer one keeps next to nothing.
_EMPTY_SHARE = 0.02
_WORTH_WASHING = 0.005
_WASH_LEFT = 0.25
# Without a wash some dust is shaken through to the pan and the rest stays on the grains.
_DUST_IN_PAN = (1.0, 0.8, 0.6, 0.4, 0.2, 0.0)


def suspicions(recorded: Recorded, history: History) -> tuple[Suspicion, ...]:
    """Give all mistakes that could have led to the recorded masses.

    Parameters
    ----------
    recorded : Recorded
        one run, net masses (n+1,) [g]
    history : History
        what is usual; splits merged fractions and sizes a missing wash

    Returns
    -------
    tuple of Suspicion
        each with the masses as they would be without the mistake

    Raises
    ------
    Nothing.

    Notes
    -----
    Two rows exchanged (neighbours and others), two neighbouring sieves exchanged in the nest,
    a tare or zero off by the missing mass, no wash, no mass after washing entered, cumulative
    masses entered as individual, neighbouring digits exchanged, decimal point moved one or two
    places; the digits are those typed: gross where the tare is known.

    References
    ----------
    Common practice; exchanged digits change a number by a multiple of nine: bookkeeping rule.

    Examples
    --------
    >>> from gradation.science.history import no_history
    >>> run = Recorded(np.array([500.0, 250.0]), np.array([31.2, 40.0, 20.0]), np.array(100.0))
    >>> kinds = {each.mistake.value for each in suspicions(run, no_history(2, 0.003))}
    >>> "transposed_digits" in kinds, "missed_wash" in kinds
    (True, False)
    """
    found: list[Suspicion] = []
    for kind in (_swapped_rows, _swapped_sieves, _tares, _washes, _cumulative, _digits):
        found.extend(kind(recorded, history))
    return tuple(found)


def _with(recorded: Recorded, masses_g: FloatArray) -> tuple[FloatArray, float, float]:
    return masses_g, float(recorded.dry_mass_g), float(recorded.washed_g)


def _swapped_rows(recorded: Recorded, _history: History) -> Iterator[Suspicion]:
    masses = recorded.masses_g
    for first in range(masses.size - 1):
        for second in range(first + 1, masses.size):
            order = np.arange(masses.size)
            order[[first, second]] = second, first
            distant = 0.0 if second == first + 1 else 1.5
            yield Suspicion(
                Mistake.SWAPPED_ROWS,
                (first, second),
                *_with(recorded, masses[order]),
                f"{masses[first]:g} g and {masses[second]:g} g in each other's row",
                distant,
            )


def _swapped_sieves(recorded: Recorded, history: History) -> Iterator[Suspicion]:
    masses, usual = recorded.masses_g, history.root.centre**2
    for coarse in range(masses.size - 2):
        fine = coarse + 1
        both, usual_both = masses[coarse] + masses[fine], usual[coarse] + usual[fine]
        if both <= 0 or usual_both <= 0 or masses[coarse] > _EMPTY_SHARE * both:
            continue
        if usual[coarse] < 5 * _EMPTY_SHARE * usual_both:
            continue
        apart = masses.copy()
        apart[coarse] = both * usual[coarse] / usual_both
        apart[fine] = both - apart[coarse]
        detail = f"{masses[coarse]:g} g on the coarser sieve, {masses[fine]:g} g on the finer"
        yield Suspicion(
            Mistake.SWAPPED_SIEVES, (coarse, fine), *_with(recorded, apart), detail, 2.0
        )


def _tares(recorded: Recorded, history: History) -> Iterator[Suspicion]:
    shaken = float(recorded.washed_g)
    missing = float((loss_share(recorded) - history.loss.centre) * shaken)
    masses = recorded.masses_g
    for row in range(masses.size):
        moved = masses.copy()
        moved[row] += missing
        if moved[row] < 0:
            continue
        detail = f"off by {-missing:+.4g} g, as much as the sum is off"
        yield Suspicion(Mistake.TARE, (row,), *_with(recorded, moved), detail, _FREE_AMOUNT)
    even = masses + missing / masses.size
    if np.all(even >= 0):
        detail = f"every mass off by {-missing / masses.size:+.4g} g: a zero that was not reset"
        rows = tuple(range(masses.size))
        yield Suspicion(Mistake.TARE, rows, *_with(recorded, even), detail, _FREE_AMOUNT)


def _washes(recorded: Recorded, history: History) -> Iterator[Suspicion]:
    usual = float(history.wash.centre)
    dry, washed = float(recorded.dry_mass_g), float(recorded.washed_g)
    if not np.isfinite(history.wash.scale) or usual < _WORTH_WASHING:
        return
    out = (dry - washed) / dry
    if out > _WASH_LEFT * usual:
        return
    detail = f"{100 * out:.2f} % washed out, usually {100 * usual:.2f} %"
    after = dry * (1 - usual)
    for in_pan in _DUST_IN_PAN:
        rinsed = _rinsed(recorded.masses_g, washed - after, in_pan)
        if rinsed[-1] >= 0:
            yield Suspicion(Mistake.MISSED_WASH, (), rinsed, dry, after, detail, 1.0)
    entered = float(recorded.masses_g.sum() / (1 - history.loss.centre))
    if entered <= dry:
        text = f"{detail}, and {washed - entered:.4g} g are missing from the sum"
        kind = Mistake.WASH_NOT_RECORDED
        yield Suspicion(kind, (), recorded.masses_g, dry, entered, text, _FREE_AMOUNT)


def _rinsed(masses_g: FloatArray, dust_g: float, in_pan: float) -> FloatArray:
    """Take the dust a wash would have removed from the pan and, in proportion, from the sieves."""
    rinsed: FloatArray = masses_g * (1 - (1 - in_pan) * dust_g / masses_g.sum())
    rinsed[-1] -= in_pan * dust_g
    return rinsed


def _cumulative(recorded: Recorded, _history: History) -> Iterator[Suspicion]:
    masses = recorded.masses_g
    for whole in (True, False):
        typed = masses if whole else masses[:-1]
        steps = np.diff(typed, prepend=0.0)
        if np.all(steps >= -0.5 * recorded.resolution_g) and steps.size > 1:
            apart = np.append(steps, [] if whole else masses[-1:])
            detail = f"masses never fall and end at {typed[-1]:g} g"
            rows = tuple(range(typed.size))
            yield Suspicion(Mistake.CUMULATIVE_AS_INDIVIDUAL, rows, *_with(recorded, apart), detail)


def _digits(recorded: Recorded, _history: History) -> Iterator[Suspicion]:
    tares = np.zeros_like(recorded.masses_g) if recorded.tares_g is None else recorded.tares_g
    for row, (mass, tare) in enumerate(zip(recorded.masses_g, tares, strict=True)):
        for mistake, value, detail in _other_readings(float(mass + tare), recorded.resolution_g):
            moved = recorded.masses_g.copy()
            moved[row] = value - tare
            if moved[row] >= 0:
                yield Suspicion(mistake, (row,), *_with(recorded, moved), detail)
    yield from _dry_digits(recorded)


def _dry_digits(recorded: Recorded) -> Iterator[Suspicion]:
    dry, washed = float(recorded.dry_mass_g), float(recorded.washed_g)
    unwashed = recorded.washed_dry_mass_g is None
    for mistake, value, detail in _other_readings(dry, recorded.resolution_g):
        after = value if unwashed else washed
        if after <= value:
            yield Suspicion(mistake, (DRY_ROW,), recorded.masses_g, value, after, detail)
    if unwashed:
        return
    for mistake, value, detail in _other_readings(washed, recorded.resolution_g):
        if value <= dry:
            yield Suspicion(mistake, (WASHED_ROW,), recorded.masses_g, dry, value, detail)


def _other_readings(typed_g: float, resolution_g: float) -> Iterator[tuple[Mistake, float, str]]:
    """Give the numbers that may have been meant where this one was typed."""
    digits = str(round(typed_g / resolution_g))
    for place in range(len(digits) - 1):
        if digits[place] != digits[place + 1]:
            other = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
            value = int(other) * resolution_g
            text = f"{typed_g:.6g} g typed for {value:.6g} g: two neighbouring digits exchanged"
            yield Mistake.TRANSPOSED_DIGITS, value, text
    for factor in (0.01, 0.1, 10.0, 100.0):
        value = typed_g * factor
        steps = value / resolution_g
        if value > 0 and abs(steps - round(steps)) < 1e-6:
            text = f"{typed_g:.6g} g typed for {value:.6g} g: a decimal point moved"
            yield Mistake.DECIMAL_SLIP, value, text
