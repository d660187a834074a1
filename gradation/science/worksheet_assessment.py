"""The envelope of a worksheet under its decision rule, with the uncertainty it states."""

from __future__ import annotations

from collections.abc import Sequence

from gradation.science.characteristics import Characteristic, characteristics
from gradation.science.decisions import DecisionRule, Rule
from gradation.science.descriptions import describe
from gradation.science.envelopes import AssessmentRule, assess
from gradation.science.errors import NotDeterminable
from gradation.science.gradation import Combined, Gradation
from gradation.science.line_uncertainty import line_standards
from gradation.science.uncertainty import PassingUncertainty
from gradation.science.worksheet_apertures import Judged
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_masses import Weighed
from gradation.science.worksheet_requests import DecisionRequest, RuleName
from gradation.science.worksheet_uncertainty import budget_of


def budget_or_reason(
    worksheet: Worksheet, masses: Weighed, combined: Combined | None, curve: Gradation | None
) -> PassingUncertainty | str | None:
    """Give the uncertainty of the passing asked for, or why these sieves cannot give it.

    Parameters
    ----------
    worksheet : Worksheet
        with what is asked for
    masses : Weighed
        what was weighed
    combined : Combined or None
        the same brought to the whole portion
    curve : Gradation or None
        what it amounts to

    Returns
    -------
    PassingUncertainty, str or None
        a reason as text; None when it was not asked for, or the run is still being weighed

    Raises
    ------
    OutOfRange
        when a statement of the budget cannot be

    Notes
    -----
    What these sieves cannot tell must not keep back the rest of the result.

    References
    ----------
    As `worksheet_uncertainty.budget_of`.

    Examples
    --------
    >>> from gradation.science.worksheet_masses import weighed
    >>> budget_or_reason(Worksheet(()), weighed(Worksheet(())), None, None) is None
    True
    """
    if curve is None or combined is None or not masses.is_complete:
        return None
    try:
        return budget_of(worksheet, masses, combined, curve)
    except NotDeterminable as refusal:
        return str(refusal)


def judge(
    worksheet: Worksheet,
    curve: Gradation | None,
    found: Sequence[Characteristic],
    budget: PassingUncertainty | str | None,
) -> Judged | None:
    """Give the comparison of a run with its envelope, and the way to judge any other curve of it.

    Parameters
    ----------
    worksheet : Worksheet
        with the envelope, the decision rule and how lines are compared
    curve : Gradation or None
        the run; None while there is none
    found : sequence of Characteristic
        its characteristic values
    budget : PassingUncertainty, str or None
        the uncertainty of its passing, as far as known

    Returns
    -------
    Judged or None
        None while there is no curve; its assessment is None without an envelope

    Raises
    ------
    OutOfRange
        when a line cannot be compared

    Notes
    -----
    Another curve is judged under the same rule and the same uncertainty, so that a change of
    the verdict is due to the values.

    References
    ----------
    As `envelopes.assess`.

    Examples
    --------
    >>> judge(Worksheet(()), None, (), None) is None
    True
    """
    if curve is None:
        return None
    if not worksheet.envelope:
        return Judged(worksheet, curve, None, lambda other: None)
    standards, rule = _standards(worksheet, budget), _rule(worksheet)
    values = {each.name: each.value for each in found}
    return Judged(
        worksheet,
        curve,
        assess(curve, worksheet.envelope, rule, values, standards),
        lambda other: assess(other, worksheet.envelope, rule, _values(worksheet, other), standards),
    )


def _standards(
    worksheet: Worksheet, budget: PassingUncertainty | str | None
) -> tuple[float | None, ...] | None:
    """The standard uncertainty of each line's value; None when none was asked for."""
    if budget is None or isinstance(budget, str) or not worksheet.envelope:
        return None
    return line_standards(
        budget, worksheet.envelope, worksheet.interpolation, lambda c: _values(worksheet, c)
    )


def _values(worksheet: Worksheet, curve: Gradation) -> dict[str, float | None]:
    """All values of a completely weighed curve that a line may limit, by name."""
    shown = describe(curve, worksheet.describe, worksheet.soil, worksheet.interpolation)
    found = characteristics(
        curve,
        worksheet.interpolation,
        is_modulus_interpolated=worksheet.is_modulus_interpolated,
    )
    return {each.name: each.value for each in (*found, *shown.values)}


def _rule(worksheet: Worksheet) -> AssessmentRule:
    """How the lines of the envelope are compared."""
    return AssessmentRule(
        missing=worksheet.missing_aperture,
        interpolation=worksheet.interpolation,
        compare=worksheet.compare,
        rounding=worksheet.rounding,
        decision=decision_rule(worksheet.requests.decision),
    )


def decision_rule(asked: DecisionRequest | None) -> DecisionRule:
    """Give the decision rule agreed; plain acceptance when none is stated.

    Parameters
    ----------
    asked : DecisionRequest or None
        The rule as a worksheet states it.

    Returns
    -------
    DecisionRule
        As the comparison takes it.

    Raises
    ------
    OutOfRange
        When its confidence or guard factor cannot be applied.

    Notes
    -----
    One translation for single runs and for what several determinations report.

    References
    ----------
    JCGM 106:2012, 8 (decision rules).

    Examples
    --------
    >>> decision_rule(None).rule.value
    'plain'
    """
    if asked is None:
        return DecisionRule()
    rules = {
        RuleName.PLAIN: Rule.PLAIN,
        RuleName.GUARD_BAND: Rule.GUARD_BAND,
        RuleName.PROBABILITY: Rule.PROBABILITY,
    }
    return DecisionRule(rules[asked.rule], float(asked.confidence), float(asked.guard_factor))
