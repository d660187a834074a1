"""Studies kept and drafted, follow-ups that wait, and the one door that works any study out."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.errors import Fault, Invalid, NotFound
from gradation.models import Study, StudyFollowUp, User
from gradation.queries.figure_names import is_followable
from gradation.queries.studies.asked import (
    BenchesAsked,
    Head,
    MethodsAsked,
    Outcome,
    PrecisionAsked,
    StudyAsked,
)
from gradation.queries.studies.benches import work_out_benches
from gradation.queries.studies.methods import work_out_methods
from gradation.queries.studies.precision import work_out_precision
from gradation.queries.studies.rounds import work_out_round

__all__ = ["find_follow_up", "find_study", "open_follow_ups", "study_list", "work_out"]


def work_out(actor: User, head: Head, asked: StudyAsked) -> Outcome:
    """Work a study of any kind out; nothing is kept. Refuses (`Invalid`) as its kind does."""
    if not isinstance(asked, BenchesAsked) and not is_followable(head.figure):
        msg = "Say which figure was found: a passing with its sieve, or a characteristic."
        raise Invalid(Fault("figure", msg, "unknown-figure"))
    if isinstance(asked, PrecisionAsked):
        return work_out_precision(asked)
    if isinstance(asked, BenchesAsked):
        return work_out_benches(actor, asked)
    if isinstance(asked, MethodsAsked):
        return work_out_methods(asked, head)
    return work_out_round(asked)


def study_list() -> QuerySet[Study]:
    """List the studies that were not given up, the newest first."""
    return (
        Study.objects.exclude(state=Study.State.GIVEN_UP)
        .select_related("material", "computed_by", "kept_by", "follow_up__answered_by")
        .order_by("-id")
    )


def find_study(number: str) -> Study:
    """Give one study by its number, or `NotFound`."""
    rows = Study.objects.select_related(
        "material", "computed_by", "kept_by", "follow_up__answered_by"
    )
    study = rows.filter(number__iexact=number).first()
    if study is None:
        msg = f"There is no study {number}. Look it up in the list of studies."
        raise NotFound(msg)
    return study


def open_follow_ups() -> QuerySet[StudyFollowUp]:
    """List the follow-ups that wait for an answer, the newest first."""
    return StudyFollowUp.objects.filter(answered_at__isnull=True).select_related(
        "study__material", "study__kept_by"
    )


def find_follow_up(number: str) -> StudyFollowUp:
    """Give the follow-up of a study, or `NotFound`."""
    row = (
        StudyFollowUp.objects.select_related("study__material", "answered_by")
        .filter(study__number__iexact=number)
        .first()
    )
    if row is None:
        msg = f"Study {number} asks for no follow-up."
        raise NotFound(msg)
    return row
