"""How often each check found something, and how often its stop was lifted; who is competent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q, QuerySet

from gradation.models import Competence, Laboratory, RunCheckAnswer, RunCheckFinding
from gradation.queries.run_checks import Asked, Limit, asked_rules

__all__ = ["CheckRow", "check_rows", "competence_list", "find_competence"]


@dataclass(frozen=True)
class CheckRow:
    """One check as the laboratory asks it, and what came of it since a day."""

    asked: Asked
    runs: int
    """Runs opened or handed over in which it found something."""
    answered: int
    lifted: int

    @property
    def figures(self) -> list[Figure]:
        """Give its figures as they hold now."""
        limits = self.asked.limits
        return [Figure(each, limits[each.name]) for each in self.asked.rule.limits]


@dataclass(frozen=True)
class Figure:
    """One figure of a check, as it holds now."""

    limit: Limit
    value: Decimal

    @property
    def source(self) -> str:
        """Say where the value comes from: the laboratory itself, when it is not the usual one."""
        return self.limit.source if self.value == self.limit.usual else "the laboratory's own"


def check_rows(laboratory: Laboratory, since: datetime) -> list[CheckRow]:
    """Give every check by number, with its counts since a moment; three queries in all."""
    found = dict(
        RunCheckFinding.objects.filter(found_at__gte=since)
        .order_by()
        .values_list("code")
        .annotate(Count("run", distinct=True))
    )
    answers = {
        row["code"]: row
        for row in RunCheckAnswer.objects.filter(answered_at__gte=since)
        .order_by()
        .values("code")
        .annotate(
            answered=Count("pk", filter=Q(is_override=False)),
            lifted=Count("pk", filter=Q(is_override=True)),
        )
    }
    none = {"answered": 0, "lifted": 0}
    return [
        CheckRow(
            asked,
            found.get(asked.rule.code, 0),
            answers.get(asked.rule.code, none)["answered"],
            answers.get(asked.rule.code, none)["lifted"],
        )
        for asked in asked_rules(laboratory)
    ]


@dataclass(frozen=True)
class CompetenceRow:
    """One entry of the competence file and how it stands on a day."""

    competence: Competence
    word: str

    @property
    def holds(self) -> bool:
        """Say whether it holds."""
        return self.word == "holds"


def competence_list(today: date) -> list[CompetenceRow]:
    """List who may work which procedure, by person and procedure, the newest entry first."""
    rows = _competences().filter(person__is_active=True)
    return [CompetenceRow(row, _word(row, today)) for row in rows]


def _word(row: Competence, today: date) -> str:
    if row.withdrawn_on is not None and row.withdrawn_on <= today:
        return "withdrawn"
    if row.holds_on(today):
        return "holds"
    return "begins later" if row.valid_from > today else "lapsed"


def find_competence(pk: int) -> Competence | None:
    """Give one entry, or None."""
    return _competences().filter(pk=pk).first()


def _competences() -> QuerySet[Competence]:
    return Competence.objects.select_related("person", "procedure", "granted_by").order_by(
        "person__full_name", "procedure__code", "-valid_from", "-pk"
    )
