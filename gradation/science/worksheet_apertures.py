"""What a worksheet asks about its sieves: measured apertures, and what an error would move."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from gradation.science.effective_apertures import beside_nominal
from gradation.science.envelopes import Assessment, LineVerdict
from gradation.science.error_landing import BenchError, landing_sentence
from gradation.science.errors import OutOfRange
from gradation.science.gradation import Gradation
from gradation.science.percentiles import percentile_name, size_at_passing
from gradation.science.propagation import FloatArray
from gradation.science.quantities import as_typed
from gradation.science.redrawn import with_passing
from gradation.science.sensitivity import aperture_shift
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_refusals import answered, known, pct, sieve_name
from gradation.science.worksheet_requests import ApertureError


@dataclass(frozen=True, slots=True)
class Judged:
    """One run, its assessment, and how any other curve of it would be assessed."""

    worksheet: Worksheet
    curve: Gradation
    assessment: Assessment | None
    assess: Callable[[Gradation], Assessment | None]

    @property
    def shares(self) -> tuple[float, ...]:
        """The percentiles asked for, as shares."""
        return tuple(float(each / 100) for each in self.worksheet.percentiles_pct)


def effective_json(judged: Judged) -> dict[str, Any] | None:
    """Give the gradation at each sieve's measured mean aperture beside the nominal one.

    Parameters
    ----------
    judged : Judged
        a run whose worksheet states apertures found

    Returns
    -------
    dict or None
        rows, sizes, and the assessment of both; None when no aperture was stated

    Raises
    ------
    WorksheetFaults
        when the measured apertures do not fall from coarse to fine

    Notes
    -----
    A sieve without a measured aperture counts at its nominal one. The assessment is of the
    passing read at the nominal apertures, under the same rule and uncertainty.

    References
    ----------
    As `effective_apertures.beside_nominal`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> run = gradation([400, 200], [10.0, 40.0, 50.0], 100.0)
    >>> effective_json(Judged(Worksheet(()), run, None, lambda curve: None)) is None
    True
    """
    if not judged.worksheet.requests.apertures_found:
        return None
    return answered("$.apertures_found", lambda: _effective(judged))


def _effective(judged: Judged) -> dict[str, Any]:
    """The effective table."""
    worksheet, curve = judged.worksheet, judged.curve
    found = {float(e.aperture_um): float(e.mean_um) for e in worksheet.requests.apertures_found}
    measured = [found.get(float(size), float(size)) for size in curve.apertures_um]
    both = beside_nominal(
        curve.apertures_um, measured, curve.passing, judged.shares, worksheet.interpolation
    )
    return {
        "rows": [
            {
                "aperture_um": sieve_name(float(size)),
                "found_um": sieve_name(float(both.measured_um[row])),
                "is_measured": float(size) in found,
                "passing_pct": 100.0 * float(curve.passing[row]),
                "passing_at_nominal_pct": 100.0 * float(both.passing_at_nominal[row]),
                "is_extended": bool(both.extended[row]),
            }
            for row, size in enumerate(curve.apertures_um)
        ],
        "sizes": {
            percentile_name(share): {"nominal_um": known(n), "effective_um": known(e)}
            for share, n, e in zip(
                judged.shares, both.sizes_nominal_um, both.sizes_measured_um, strict=True
            )
        },
        "assessment": _flips(judged, both.passing_at_nominal),
    }


def sensitivity_json(judged: Judged) -> list[dict[str, Any]]:
    """Give what moves if the aperture of one sieve is off, for each error asked about.

    Parameters
    ----------
    judged : Judged
        a run whose worksheet names sieves and errors

    Returns
    -------
    list of dict
        rows, sizes, assessment before and after, and where such an error lands in words

    Raises
    ------
    WorksheetFaults
        when an error carries a sieve past its neighbour, or is not worth asking about

    Notes
    -----
    Each error on its own. With complete sieving only the sieve's own cumulative point moves.

    References
    ----------
    As `sensitivity.aperture_shift`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> run = gradation([400, 200], [10.0, 40.0, 50.0], 100.0)
    >>> sensitivity_json(Judged(Worksheet(()), run, None, lambda curve: None))
    []
    """
    return [
        answered(f"$.sensitivity[{number}].error_um", partial(_shifted, judged, error))
        for number, error in enumerate(judged.worksheet.requests.sensitivity)
    ]


def _shifted(judged: Judged, error: ApertureError) -> dict[str, Any]:
    """What one error moves."""
    curve = judged.curve
    if error.error_um == 0:
        raise OutOfRange("An error of 0 µm moves nothing; state how far the aperture may be off.")
    position = int(np.flatnonzero(curve.apertures_um == float(error.aperture_um))[0])
    shift = aperture_shift(curve.apertures_um, curve.passing, position, float(error.error_um))
    kind = BenchError.OVERSIZE_SIEVE if error.error_um > 0 else BenchError.UNDERSIZE_SIEVE
    return {
        "aperture_um": sieve_name(float(error.aperture_um)),
        "error_um": float(error.error_um),
        "rows": [
            {"aperture_um": sieve_name(float(size)), "passing_pct": b, "passing_if_so_pct": a,
             "change_pct": c, "is_extended": bool(extended)}
            for size, b, a, c, extended in zip(
                curve.apertures_um, pct(shift.recorded), pct(shift.corrected), pct(shift.change),
                shift.extended, strict=True,
            )
        ],
        "sizes": _moved_sizes(judged, shift.corrected),
        "assessment": _flips(judged, shift.corrected),
        "sentence": landing_sentence(kind, curve.apertures_um, position, curve.basis),
    }  # fmt: skip


def _moved_sizes(judged: Judged, passing: FloatArray) -> dict[str, Any]:
    """D-values before and after."""
    before, after = (
        size_at_passing(
            judged.curve.apertures_um, each, judged.shares, judged.worksheet.interpolation
        ).size_um
        for each in (judged.curve.passing, passing)
    )
    return {
        percentile_name(share): {
            "size_um": known(b), "size_if_so_um": known(a), "change_um": known(a - b),
        }
        for share, b, a in zip(judged.shares, before, after, strict=True)
    }  # fmt: skip


def _flips(judged: Judged, passing: FloatArray) -> dict[str, Any] | None:
    """The assessment as recorded and with the other curve, line by line."""
    before = judged.assessment
    after = None if before is None else judged.assess(with_passing(judged.curve, passing))
    if before is None or after is None:
        return None
    return {
        "outcome": before.outcome.value,
        "outcome_if_so": after.outcome.value,
        "is_flipped": before.outcome is not after.outcome,
        "lines": [_flip(b, a) for b, a in zip(before.lines, after.lines, strict=True)],
    }


def _flip(before: LineVerdict, after: LineVerdict) -> dict[str, Any]:
    """One line before and after."""
    line = before.line
    return {
        "kind": line.kind.value,
        "aperture_um": None if line.aperture_um is None else sieve_name(float(line.aperture_um)),
        "finer_um": None if line.finer_um is None else sieve_name(float(line.finer_um)),
        "characteristic": line.characteristic or None,
        "value": before.value,
        "value_if_so": after.value,
        "reported": None if before.reported is None else as_typed(before.reported),
        "reported_if_so": None if after.reported is None else as_typed(after.reported),
        "margin": None if before.margin is None else as_typed(before.margin),
        "margin_if_so": None if after.margin is None else as_typed(after.margin),
        "outcome": before.outcome.value,
        "outcome_if_so": after.outcome.value,
        "is_flipped": before.outcome is not after.outcome,
    }
