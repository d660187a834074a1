"""An evaluation as plain JSON data.

Numbers that follow from measurements are JSON numbers, unrounded; what is reported is text,
with the decimals reported. Percentages, micrometres and grams stand in the names.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gradation.science.percentiles import percentile_name
from gradation.science.quantities import as_typed
from gradation.science.worksheet_extras import memory_notes

if TYPE_CHECKING:
    from decimal import Decimal

    from gradation.science.envelopes import Assessment, LineVerdict
    from gradation.science.worksheet_masses import Stage
    from gradation.science.worksheet_requests import DecisionRequest
    from gradation.science.worksheet_result import Evaluation, Row


def as_json(evaluation: Evaluation) -> dict[str, Any]:
    """Give an evaluation as data that `json.dumps` takes.

    Parameters
    ----------
    evaluation : Evaluation
        Complete or partial.

    Returns
    -------
    dict
        basis, is_complete, table, pan, wash_loss_g and wash_loss_pct (of the dry mass before
        washing), loss_g, loss_pct, loss_verdict, stages,
        percentiles, characteristics, not_determinable, notes, descriptions, models, assessment,
        uncertainty, effective, sensitivity, plausibility, power_lines, shaking (null or empty
        unless asked for), unconfirmed (rules kept from memory), warnings.

    Raises
    ------
    Nothing
        Values that are not known are null.

    Notes
    -----
    `characteristics` maps each name to its number or null; `not_determinable` gives the
    reason for every null; `notes` what a value takes for granted; `units` the unit of every
    value that is no pure number. `loss_pct` is the size of the loss or gain; `loss_g` carries
    its sign, positive when mass is missing.

    References
    ----------
    RFC 8259: JSON has no NaN, hence null.

    Examples
    --------
    >>> from gradation.science.worksheet import evaluate, parse_worksheet
    >>> sheet = {"dry_mass_g": "100", "fractions": [{"aperture_um": 75, "mass_g": "80"}],
    ...          "pan_g": "20"}
    >>> as_json(evaluate(parse_worksheet(sheet)))["table"][0]["passing_pct"]
    20.0
    """
    values = evaluation.characteristics
    return {
        "basis": evaluation.worksheet.basis.value,
        "is_complete": evaluation.is_complete,
        "table": [_row(row) for row in evaluation.rows],
        "pan": _pan(evaluation),
        "wash_loss_g": evaluation.wash_loss_g,
        "wash_loss_pct": _wash_loss_pct(evaluation),
        "loss_g": evaluation.loss_g,
        "loss_pct": None if evaluation.loss is None else abs(100 * evaluation.loss),
        "loss_verdict": evaluation.loss_verdict.value,
        "stages": [_stage(stage) for stage in evaluation.stages],
        "interpolation": evaluation.worksheet.interpolation.value,
        "percentiles": {
            percentile_name(each.passing): {
                "passing_pct": 100 * each.passing,
                "size_um": each.size_um,
                "text": each.text,
            }
            for each in evaluation.percentiles
        },
        "characteristics": {each.name: each.value for each in values},
        "units": {each.name: each.unit for each in values if each.unit != "1"},
        "not_determinable": {each.name: each.reason for each in values if each.value is None},
        "notes": {each.name: each.note for each in values if each.note},
        "descriptions": dict(evaluation.descriptions),
        "models": [dict(each) for each in evaluation.models],
        "assessment": _assessment(evaluation),
        **evaluation.extras,
        "unconfirmed": memory_notes(evaluation.worksheet),
        "warnings": [
            {
                "code": each.code,
                "sentence": each.sentence,
                "aperture_um": _aperture(each.aperture_um),
            }
            for each in evaluation.warnings
        ],
    }


def _row(row: Row) -> dict[str, Any]:
    """One line of the table."""
    return {
        "aperture_um": _aperture(row.aperture_um),
        "designation": row.designation,
        "retained_g": row.retained_g,
        "weighed_g": None if row.weighed_g is None else as_typed(row.weighed_g),
        "retained_pct": row.retained_pct,
        "cumulative_pct": row.cumulative_pct,
        "passing_pct": row.passing_pct,
        "passing_reported": _text(row.passing_reported),
    }


def _pan(evaluation: Evaluation) -> dict[str, Any]:
    """The pan, with the wash loss in its percentage."""
    curve = evaluation.gradation
    known = curve is not None and evaluation.is_complete
    return {
        "retained_g": evaluation.pan_g,
        "retained_pct": 100.0 * float(curve.fines) if curve is not None and known else None,
    }


def _wash_loss_pct(evaluation: Evaluation) -> float | None:
    """What was washed out, of the dry mass before washing."""
    whole_g, lost_g = evaluation.worksheet.base_dry_mass_g, evaluation.wash_loss_g
    return None if lost_g is None or not whole_g else 100 * lost_g / float(whole_g)


def _stage(stage: Stage) -> dict[str, Any]:
    """The mass balance of one stage."""
    return {
        "below_um": _aperture(stage.below_um),
        "shaken_g": _text(stage.shaken_g),
        "recovered_g": as_typed(stage.recovered_g),
        "loss_g": _text(stage.loss_g),
        "loss_pct": _number(abs(100 * stage.loss)),
    }


def _assessment(evaluation: Evaluation) -> dict[str, Any] | None:
    """The comparison with the envelope."""
    if evaluation.assessment is None:
        return None
    return assessment_as_json(evaluation.assessment, evaluation.worksheet.requests.decision)


def assessment_as_json(assessment: Assessment, decision: DecisionRequest | None) -> dict[str, Any]:
    """Give a comparison with an envelope as data that `json.dumps` takes.

    Parameters
    ----------
    assessment : Assessment
        What was found, line by line.
    decision : DecisionRequest or None
        The rule it was decided by; None for plain acceptance.

    Returns
    -------
    dict
        outcome, decision_rule, confidence, lines.

    Raises
    ------
    Nothing
        Everything can be written.

    Notes
    -----
    The same form for a run and for what several determinations report together.

    References
    ----------
    None: a rendering, not a calculation.

    Examples
    --------
    >>> from gradation.science.envelopes import assess_values
    >>> assessment_as_json(assess_values([], []), None)["outcome"]
    'not_determined'
    """
    return {
        "outcome": assessment.outcome.value,
        "decision_rule": "plain" if decision is None else decision.rule.value,
        "confidence": None if decision is None else float(decision.confidence),
        "lines": [_line(verdict) for verdict in assessment.lines],
    }


def _line(verdict: LineVerdict) -> dict[str, Any]:
    """What one line of the specification found."""
    line = verdict.line
    return {
        "kind": line.kind.value,
        "aperture_um": _aperture(line.aperture_um),
        "finer_um": _aperture(line.finer_um),
        "characteristic": line.characteristic or None,
        "min": _text(verdict.minimum),
        "max": _text(verdict.maximum),
        "value": verdict.value,
        "reported": _text(verdict.reported),
        "margin": _text(verdict.margin),
        "nearer_limit": verdict.nearer_limit or None,
        "is_inside": verdict.is_inside,
        "outcome": verdict.outcome.value,
        "u": verdict.standard,
        "probability": verdict.probability,
        "is_interpolated": verdict.is_interpolated,
        "is_moved_by_rounding": verdict.is_moved_by_rounding,
        "reason": verdict.reason or None,
    }


def _text(value: Decimal | None) -> str | None:
    """A decimal as text; null when not known."""
    return None if value is None else as_typed(value)


def _number(value: float) -> float | None:
    """A number; null when not known."""
    return value if math.isfinite(value) else None


def _aperture(aperture_um: Decimal | None) -> int | float | None:
    """An aperture as a whole number where it is one."""
    if aperture_um is None:
        return None
    return int(aperture_um) if aperture_um == int(aperture_um) else float(aperture_um)
