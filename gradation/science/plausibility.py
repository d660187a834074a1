"""Fingerprints of mistakes: which slip would explain an unusual run, with evidence and a score.

Public: `Finding`, `fingerprints`, `odd_tares`, `empty_inside`. Nothing is ever corrected: a person
looks at the raw data and decides. How often planted mistakes are found, and how often a sound run
raises a false alarm, is printed by tests/load/fingerprint_rates.py.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.apertures import designation
from gradation.science.errors import Impossible
from gradation.science.history import History, Recorded, loss_share, root_shares, wash_share
from gradation.science.mistakes import DRY_ROW, WASHED_ROW, Mistake, Suspicion, suspicions
from gradation.science.propagation import FloatArray

# Heavy tails, because spreads come from few runs: Student's t with five degrees of freedom.
_FREEDOM = 5.0
# Chosen on the development seeds of tests/load/fingerprint_rates.py; its other seeds confirm them.
_LEAST_SCORE = 5.0
_BESIDE_BEST = 4.0
_USUAL_Z = 6.0
_ODD_TARE_Z = 6.0


@dataclass(frozen=True)
class Finding:
    """One mistake that would explain the run, for a person to judge."""

    mistake: Mistake
    rows: tuple[int, ...]
    score: float
    evidence: str
    masses_if_so_g: FloatArray


def fingerprints(recorded: Recorded, history: History) -> tuple[Finding, ...]:
    """Give the mistakes that would turn an unusual run into a usual one, likeliest first.

    Parameters
    ----------
    recorded : Recorded
        one run, net masses (n+1,) [g], pan last
    history : History
        what the material usually gives (`history_of`), or only the loss tolerance (`no_history`)

    Returns
    -------
    tuple of Finding
        named mistakes with evidence and score; empty when nothing stands out or nothing explains it

    Raises
    ------
    Impossible
        when a mass is missing or the dry mass is not above zero

    Notes
    -----
    Score: gain in log likelihood (natural units) when the mistake is undone, less the logarithm of
    how many ways that kind of mistake could have been made, less what a freely fitted amount is
    worth. Likelihood: independent Student's t (5 degrees of freedom) of the roots of the retained
    shares, the loss and the wash loss about their usual values. Reported from a score of 5 (odds of
    about 150), if the run then lies within 6 usual spreads everywhere, together with other
    explanations within 4 of the best. One mistake at a time. A finding never changes a mass.

    References
    ----------
    Likelihood ratio with a penalty for the number of alternatives: Bonferroni; any statistics text.
    The thresholds are ours, set on simulated runs.

    Examples
    --------
    Without any history the sum alone betrays 31.2 typed for 13.2:

    >>> from gradation.science.history import no_history
    >>> masses = np.array([31.2, 186.3, 203.4, 96.9])
    >>> run = Recorded(np.array([1000.0, 500.0, 250.0]), masses, np.array(500.0))
    >>> best = fingerprints(run, no_history(3, 0.003))[0]
    >>> best.mistake.value, best.rows
    ('transposed_digits', (0,))
    """
    _check(recorded)
    before = float(_log_likelihood(recorded, history))
    # No likelihood is above one, so that nothing could gain enough: most sound runs end here.
    candidates = suspicions(recorded, history) if -before >= _LEAST_SCORE else ()
    if not candidates:
        return ()
    scores = _scores(candidates, recorded, history) - before
    best = float(scores.max())
    if best < _LEAST_SCORE:
        return ()
    order = np.argsort(-scores, kind="stable")
    kept = [k for k in order if scores[k] >= max(_LEAST_SCORE, best - _BESIDE_BEST)]
    return tuple(_finding(candidates[k], float(scores[k]), recorded, history) for k in kept)


def _check(recorded: Recorded) -> None:
    if recorded.masses_g.ndim != 1:
        raise Impossible("Mistakes are looked for in one run at a time.")
    if not np.all(np.isfinite(recorded.masses_g)) or not recorded.dry_mass_g > 0:
        raise Impossible("Weigh all fractions and the dry mass before looking for mistakes.")


def _terms(recorded: Recorded, history: History) -> FloatArray:
    """Give robust z of all rows, the loss and the wash, (..., n+3)."""
    return np.concatenate(
        [
            history.root.z(root_shares(recorded)),
            history.loss.z(loss_share(recorded))[..., None],
            history.wash.z(wash_share(recorded))[..., None],
        ],
        axis=-1,
    )


def _log_likelihood(recorded: Recorded, history: History) -> FloatArray:
    z = _terms(recorded, history)
    return np.asarray(-0.5 * (_FREEDOM + 1) * np.log1p(z**2 / _FREEDOM).sum(axis=-1))


def _scores(candidates: Sequence[Suspicion], recorded: Recorded, history: History) -> FloatArray:
    """Give the log likelihood of each mistake undone, less its penalties."""
    undone = Recorded(
        recorded.apertures_um,
        np.stack([each.masses_g for each in candidates]),
        np.array([each.dry_mass_g for each in candidates]),
        np.array([each.washed_g for each in candidates]),
    )
    ways = Counter(each.mistake for each in candidates)
    penalty = np.array([each.penalty + np.log(ways[each.mistake]) for each in candidates])
    usual = (np.abs(_terms(undone, history)) <= _USUAL_Z).all(axis=-1)
    return np.where(usual, _log_likelihood(undone, history) - penalty, -np.inf)


def _place(row: int, apertures_um: FloatArray) -> str:
    if row == DRY_ROW:
        return "dry mass"
    if row == WASHED_ROW:
        return "dry mass after washing"
    return "pan" if row == apertures_um.size else designation(float(apertures_um[row]))


_SENTENCES = {
    Mistake.SWAPPED_ROWS: "The masses of {places} look exchanged",
    Mistake.SWAPPED_SIEVES: "The sieves {places} look exchanged in the nest",
    Mistake.TARE: "The tare or zero of {places} looks wrong",
    Mistake.MISSED_WASH: "The wash looks left out",
    Mistake.WASH_NOT_RECORDED: "The dry mass after washing looks not entered",
    Mistake.CUMULATIVE_AS_INDIVIDUAL: "Cumulative masses look entered as individual ones",
    Mistake.TRANSPOSED_DIGITS: "The {places} looks mistyped",
    Mistake.DECIMAL_SLIP: "The {places} looks mistyped",
}


def _finding(suspicion: Suspicion, score: float, recorded: Recorded, history: History) -> Finding:
    rows = suspicion.rows
    everywhere = len(rows) == recorded.masses_g.size
    names = " and ".join(_place(row, recorded.apertures_um) for row in rows)
    places = "all rows" if everywhere else names
    sentence = _SENTENCES[suspicion.mistake].format(places=places)
    evidence = f"{sentence}: {suspicion.detail}. {_balance(suspicion, recorded)}"
    if history.runs:
        evidence += f" The run would then be like the material's last {history.runs} runs."
    return Finding(
        suspicion.mistake, rows, score, f"{evidence} Check the raw data.", suspicion.masses_g
    )


def _balance(suspicion: Suspicion, recorded: Recorded) -> str:
    now = 100 * float(loss_share(recorded))
    then = 100 * (1 - float(suspicion.masses_g.sum()) / suspicion.washed_g)
    return f"Loss {now:.2f} %, without the mistake {then:.2f} %."


def odd_tares(recorded: Recorded, history: History) -> tuple[Finding, ...]:
    """Give the rows whose tare is not the sieve's own: drifted, or another sieve's.

    Parameters
    ----------
    recorded : Recorded
        one run with its tares (n+1,) [g]
    history : History
        usual tares of the same serial-numbered sieves and pan

    Returns
    -------
    tuple of Finding
        one for each odd tare, worst first; the score is its robust z

    Raises
    ------
    Impossible
        when the run has no tares

    Notes
    -----
    Odd from 6 usual spreads, and 0.05 g counts as the least spread. When the tare equals the usual
    tare of another row, the sentence says whose. `masses_if_so_g` uses the sieve's usual tare.

    References
    ----------
    Common practice: tare bound to the serial number, drift limit asks whether the sieve is clean.

    Examples
    --------
    >>> usual = np.array([[410.0, 380.0], [410.1, 380.0]] * 4)
    >>> runs = Recorded(np.array([500.0]), np.full((8, 2), 50.0), np.full(8, 100.0), None, usual)
    >>> from gradation.science.history import history_of
    >>> net, tares = np.array([80.0, 50.0]), np.array([380.0, 380.0])
    >>> run = Recorded(np.array([500.0]), net, np.array(100.0), None, tares)
    >>> odd_tares(run, history_of(runs))[0].evidence[:72]
    'The tare of 500 µm is 380 g, usually 410.05 g; it is the usual tare of p'
    """
    if recorded.tares_g is None:
        raise Impossible("This run has no tares. Weigh sieves empty, or enter net masses only.")
    z = np.abs(history.tare.z(recorded.tares_g))
    rows = [row for row in np.argsort(-z, kind="stable") if z[row] > _ODD_TARE_Z]
    return tuple(_odd_tare(int(row), float(z[row]), recorded, history) for row in rows)


def _odd_tare(row: int, z: float, recorded: Recorded, history: History) -> Finding:
    tares = np.asarray(recorded.tares_g, dtype=np.float64)
    usual = history.tare.centre
    near = np.abs(tares[row] - usual) <= 3 * history.tare.scale
    near[row] = False
    place = _place(row, recorded.apertures_um)
    text = f"The tare of {place} is {tares[row]:g} g, usually {usual[row]:g} g"
    if near.any():
        text += f"; it is the usual tare of {_place(int(near.argmax()), recorded.apertures_um)}"
    masses = recorded.masses_g.copy()
    masses[row] += tares[row] - usual[row]
    return Finding(Mistake.TARE, (row,), z, f"{text}. Check the raw data.", masses)


def empty_inside(masses_g: ArrayLike, least_neighbour: float = 0.02) -> NDArray[np.bool_]:
    """Give where a sieve inside the nest kept nothing between two that kept something.

    Parameters
    ----------
    masses_g : array_like, (..., n+1)
        mass on each sieve, pan last [g], >= 0
    least_neighbour : float, optional
        share of the sum both neighbours must reach [pure number], 0 to 1

    Returns
    -------
    ndarray of bool, (..., n+1)
        True in the rows that look skipped; never in the first row or the pan

    Raises
    ------
    Nothing.

    Notes
    -----
    Needs no history. A gap-graded material does this too, so it is a question, not a finding.

    References
    ----------
    Common practice (a zero on an inside sieve asks for a look).

    Examples
    --------
    >>> empty_inside([20.0, 0.0, 60.0, 20.0]).tolist()
    [False, True, False, False]
    """
    masses = np.asarray(masses_g, dtype=np.float64)
    enough = masses >= least_neighbour * masses.sum(axis=-1, keepdims=True)
    odd = np.zeros(masses.shape, dtype=np.bool_)
    odd[..., 1:-1] = (masses[..., 1:-1] <= 0) & enough[..., :-2] & enough[..., 2:]
    return odd
