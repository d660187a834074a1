"""Checks at the bench and competence of people: what the laboratory wants, and why."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from gradation.models import Competence, Procedure, Severity, User
from gradation.policy import Role
from gradation.queries.laboratory import people_list
from gradation.queries.run_checks import Asked
from gradation.services.run_checks import Choice
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)

SEVERITY_WORDS = {
    Severity.NOTE: "note: it is written down",
    Severity.REASON: "needs a reason: the technician gives one",
    Severity.STOP: "stop: the run does not go on",
}
_SEVERITIES = [(severity.value, words) for severity, words in SEVERITY_WORDS.items()]
_NOBODY = "nobody"
_MAY_LIFT = (
    Role.TECHNICIAN,
    Role.REVIEWER,
    Role.SIGNATORY,
    Role.EQUIPMENT_KEEPER,
    Role.QUALITY_MANAGER,
)
_ROLES = [("", _NOBODY), *((role.value, f"the {role}") for role in _MAY_LIFT)]


class CheckForm(NotebookForm):
    """How grave a check is, who may lift its stop, its figures, and why."""

    severity = WordChoiceField("What it asks", _SEVERITIES)
    override = WordChoiceField("Who may lift a stop", _ROLES, required=False)
    reason = ReasonField("Why is it changed")

    def __init__(self, asked: Asked, *args: Any, **kwargs: Any) -> None:
        self._asked = asked
        given = {
            "severity": asked.severity.value,
            "override": asked.override.value if asked.override else "",
            **asked.limits,
        }
        super().__init__(*args, initial=given, **kwargs)
        for limit in asked.rule.limits:
            hint = f"Usual: {limit.usual.normalize():f}. {limit.source.capitalize()}."
            self.fields[limit.name] = FigureField(limit.words, unit=limit.unit, help_text=hint)
        if asked.rule.fixed_because:
            self.fields["severity"].help_text = f"Always a stop. {asked.rule.fixed_because}"
        self.order_fields(
            ["severity", "override", *(limit.name for limit in asked.rule.limits), "reason"]
        )

    def choice(self) -> Choice:
        """Give the service what was chosen."""
        told = self.cleaned_data
        role = Role(told["override"]) if told["override"] else None
        names = [limit.name for limit in self._asked.rule.limits]
        return Choice(Severity(told["severity"]), role, {name: told[name] for name in names})


def who_tests_or_reviews() -> QuerySet[User]:
    """List those whose competence is asked for."""
    return (
        people_list()
        .filter(is_active=True, groups__name__in=[Role.TECHNICIAN.value, Role.REVIEWER.value])
        .distinct()
    )


class CompetenceForm(NotebookForm):
    """Somebody found able to work a procedure."""

    person = RowField("Who", who_tests_or_reviews)
    procedure = RowField("Procedure", Procedure.objects.all)
    valid_from = DayField("From")
    valid_until = DayField(
        "Until", required=False, help_text="That day included; empty: until it is withdrawn."
    )
    evidence = WordsField(
        "Judged by", look="long", help_text="Training, observed runs, a comparison passed."
    )

    def competence(self) -> Competence:
        """Give the service the entry that was described."""
        return Competence(**self.cleaned_data)
