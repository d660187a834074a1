"""Statements of conformity for values with limits, under a decision rule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gradation.science.calculations.reading import ZERO, Answer, Reader, maybe, number
from gradation.science.calculations.writing import plain
from gradation.science.decisions import DecisionRule, Limits, Outcome, Rule, decide, overall
from gradation.science.worksheet_reading import Fields
from gradation.science.worksheet_requests import RuleName

RULES = {
    RuleName.PLAIN: Rule.PLAIN,
    RuleName.GUARD_BAND: Rule.GUARD_BAND,
    RuleName.PROBABILITY: Rule.PROBABILITY,
}
CODES = {
    Outcome.CONFORMS: "conforms",
    Outcome.DOES_NOT_CONFORM: "does_not_conform",
    Outcome.NOT_DECIDABLE: "not_decidable",
}


def read_decision(fields: Fields | None) -> DecisionRule:
    """Give the decision rule that an object states; plain acceptance without one.

    Parameters
    ----------
    fields : Fields or None
        the object with `rule`, `confidence` and `guard_factor`

    Returns
    -------
    DecisionRule
        the rule

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    The same form as `decision` of a worksheet.

    References
    ----------
    JCGM 106:2012, 8.2 and 8.3.

    Examples
    --------
    >>> read_decision(Fields({"rule": "guard_band"}, "$", [])).rule.value
    'guard_band'
    """
    if fields is None:
        return DecisionRule()
    fields.only(("rule", "confidence", "guard_factor"))
    fields.require("rule")
    confidence = number(fields, "confidence", 0.95)
    if not 0.5 <= confidence < 1:
        fields.fault("confidence", "must be 0.5 or more and below 1, such as 0.95 for 95 %.")
        confidence = 0.95
    factor = number(fields, "guard_factor", 1.0, least=ZERO)
    return DecisionRule(RULES[fields.choice("rule", RuleName.PLAIN)], confidence, factor)


def _decision(fields: Fields) -> Answer:
    """Outcome, probability and margin of each value."""
    fields.only(("values", "decision"))
    fields.require("values", "decision")
    rule = read_decision(fields.object("decision"))
    values = [_value(each) for each in fields.objects("values")]
    if fields.has("values") and not values:
        fields.fault("values", "holds no value.")

    def answer() -> dict[str, Any]:
        found = [
            decide(value, standard, Limits(low, high), rule)
            for (value, standard, low, high) in values
        ]
        return {
            "outcome": CODES[overall([each.outcomes.item() for each in found])],
            "values": [
                {
                    "outcome": CODES[each.outcomes.item()],
                    "probability": plain(float(each.probability)),
                    "guard_band": plain(float(each.guard_band)),
                    "margin": plain(float(each.margin)),
                }
                for each in found
            ],
        }

    return answer


def _value(fields: Fields) -> tuple[float, float, float | None, float | None]:
    """A value with its standard uncertainty and limits."""
    fields.only(("value", "u", "lower", "upper"))
    fields.require("value", "u")
    lower, upper = maybe(fields, "lower"), maybe(fields, "upper")
    if not fields.has("lower") and not fields.has("upper"):
        fields.fault("upper", "is missing; give a lower or an upper limit.")
    if lower is not None and upper is not None and lower > upper:
        fields.fault("lower", "lies above the upper limit; check the specification.")
    return number(fields, "value"), number(fields, "u", least=ZERO), lower, upper


CALCULATIONS: Mapping[str, Reader] = {"decision": _decision}
