"""The second look a worksheet asks for: mistakes that would explain it, and runs unlike others."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np

from gradation.science.errors import NotDeterminable
from gradation.science.history import History, Recorded, history_of, no_history, unlike_history
from gradation.science.mistakes import DRY_ROW, WASHED_ROW
from gradation.science.plausibility import Finding, empty_inside, fingerprints, odd_tares
from gradation.science.propagation import FloatArray
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_masses import Weighed
from gradation.science.worksheet_refusals import answered, sieve_name
from gradation.science.worksheet_requests import EarlierRun


def plausibility_json(worksheet: Worksheet, masses: Weighed) -> dict[str, Any] | None:
    """Give what looks like a mistake in a run, with its evidence; nothing is ever corrected.

    Parameters
    ----------
    worksheet : Worksheet
        with `requests.plausibility`, and perhaps a history
    masses : Weighed
        individual masses, completely weighed

    Returns
    -------
    dict or None
        findings, odd_tares, empty_inside, unlike_history, history_runs; None when not asked
        for; a reason alone when there is nothing to compare with

    Raises
    ------
    WorksheetFaults
        when the history holds a run that cannot be

    Notes
    -----
    Without a history only the tolerance on the loss is expected. The digits looked at are those
    typed, to the last decimal of any mass of the run.

    References
    ----------
    As `plausibility.fingerprints` and `history.unlike_history`.

    Examples
    --------
    >>> from gradation.science.worksheet_masses import weighed
    >>> plausibility_json(Worksheet(()), weighed(Worksheet(()))) is None
    True
    """
    if not worksheet.requests.plausibility:
        return None
    path = "$.history" if worksheet.requests.history else "$.plausibility"
    return answered(path, lambda: _second_look(worksheet, masses))


def _second_look(worksheet: Worksheet, masses: Weighed) -> dict[str, Any]:
    """Everything that stands out."""
    recorded = _recorded(worksheet, masses)
    history = _history(worksheet)
    hollow = empty_inside(recorded.masses_g)
    tares = recorded.tares_g is not None
    return {
        "history_runs": history.runs,
        "findings": [_finding(each, recorded) for each in fingerprints(recorded, history)],
        "odd_tares": [
            _finding(each, recorded) for each in (odd_tares(recorded, history) if tares else ())
        ],
        "empty_inside_um": [sieve_name(float(s)) for s in recorded.apertures_um[hollow[:-1]]],
        "unlike_history": _unlike(recorded, history),
    }


def _recorded(worksheet: Worksheet, masses: Weighed) -> Recorded:
    """The run as recorded."""
    dry = worksheet.base_dry_mass_g
    if dry is None:
        raise NotDeterminable("Without a dry mass there is no sum that the masses must agree with.")
    if worksheet.splits:
        raise NotDeterminable(
            "The material was reduced on the way; mistakes are looked for in runs sieved whole."
        )
    held = [*masses.masses_g, masses.pan_g or Decimal(0)]
    tares = [*(each.tare_g for each in masses.fractions), worksheet.pan_tare_g]
    washed = worksheet.washed_dry_mass_g
    return Recorded(
        apertures_um=np.array([float(each.aperture_um) for each in masses.fractions]),
        masses_g=np.array([float(each) for each in held]),
        dry_mass_g=np.array(float(dry)),
        washed_dry_mass_g=None if washed is None else np.array(float(washed)),
        tares_g=_all_or_none(tares),
        resolution_g=_resolution_g([*held, dry]),
    )


def _all_or_none(masses_g: list[Decimal | None]) -> FloatArray | None:
    """Masses of every row or run, or none at all."""
    noted = [float(each) for each in masses_g if each is not None]
    return np.array(noted) if len(noted) == len(masses_g) else None


def _resolution_g(typed_g: list[Decimal]) -> float:
    """The last decimal of the masses as they were typed."""
    exponents = [each.as_tuple().exponent for each in typed_g]
    return float(10.0 ** min(0, *(each for each in exponents if isinstance(each, int))))


def _history(worksheet: Worksheet) -> History:
    """What is usual: the earlier runs, or only that no mass is lost."""
    runs = worksheet.requests.history
    if runs:
        return history_of(_runs(runs))
    tolerance_pct = worksheet.loss_tolerance_pct
    if not tolerance_pct:
        raise NotDeterminable(
            "There is nothing to compare with. Give earlier runs, or a tolerance on the loss."
        )
    return no_history(len(worksheet.fractions), float(tolerance_pct) / 100.0)


def _runs(runs: tuple[EarlierRun, ...]) -> Recorded:
    """The earlier runs side by side."""
    washed = [run.washed_dry_mass_g for run in runs]
    tares = [_all_or_none([*(f.tare_g for f in run.fractions), run.pan_tare_g]) for run in runs]
    known = [each for each in tares if each is not None]
    return Recorded(
        apertures_um=np.array([float(each.aperture_um) for each in runs[0].fractions]),
        masses_g=np.array(
            [[*(float(f.mass_g) for f in run.fractions), float(run.pan_g)] for run in runs]
        ),
        dry_mass_g=np.array([float(run.dry_mass_g) for run in runs]),
        washed_dry_mass_g=_all_or_none(washed),
        tares_g=np.array(known) if len(known) == len(runs) else None,
    )


def _finding(finding: Finding, recorded: Recorded) -> dict[str, Any]:
    """One suspicion as data."""
    return {
        "mistake": finding.mistake.value,
        "rows": [_row(row, recorded) for row in finding.rows],
        "score": finding.score,
        "evidence": finding.evidence,
        "masses_if_so_g": finding.masses_if_so_g.tolist(),
    }


def _row(row: int, recorded: Recorded) -> int | float | str:
    """A row by its aperture, or the name of the mass that is no fraction."""
    if row in (DRY_ROW, WASHED_ROW):
        return "dry_mass" if row == DRY_ROW else "washed_dry_mass"
    sizes = recorded.apertures_um
    return "pan" if row == sizes.size else sieve_name(float(sizes[row]))


def _unlike(recorded: Recorded, history: History) -> dict[str, Any] | None:
    """How far the run lies from its material's history; None without one."""
    if not history.runs:
        return None
    found = unlike_history(recorded.passing, history)
    return {
        "is_unlike": bool(found.is_unlike),
        "row_um": sieve_name(float(recorded.apertures_um[int(found.row)])),
        "z": found.z.tolist(),
        "usual_passing_pct": (100.0 * history.passing.centre).tolist(),
    }
