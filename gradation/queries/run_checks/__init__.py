"""The 25 checks of a run: one mechanism, asked when it is opened, weighed, handed over, reviewed.

Public: `RULES`, `findings`, `opening_findings`, `asked_rules`, `Finding`, `Rule`, `Asked`,
`Candidate`. Each rule is in the file of its topic; `context` reads what they look at.
"""

from gradation.queries.run_checks.asking import (
    OWN_RUN,
    REVIEWER_NOT_COMPETENT,
    RULES,
    FindingsElsewhere,
    answers_of,
    asked_rules,
    findings,
    is_own_run,
    may_answer,
    opening_findings,
    review_findings,
    rule_of,
)
from gradation.queries.run_checks.context import Candidate
from gradation.queries.run_checks.rule import Asked, Finding, Limit, Rule, place_name

__all__ = [
    "OWN_RUN",
    "REVIEWER_NOT_COMPETENT",
    "RULES",
    "Asked",
    "Candidate",
    "Finding",
    "FindingsElsewhere",
    "Limit",
    "Rule",
    "answers_of",
    "asked_rules",
    "findings",
    "is_own_run",
    "may_answer",
    "opening_findings",
    "place_name",
    "review_findings",
    "rule_of",
]
