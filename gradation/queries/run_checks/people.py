"""Checks of people: authorised and trained, and not their own reviewer. Numbers 19, 21, 25."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import Competence, Laboratory, Severity, Stage, User
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import Limits, Rule, Seen

__all__ = ["RULES"]


def _trained(context: Context, limits: Limits) -> Iterator[Seen]:
    if context.is_elsewhere:
        said = "It was sieved elsewhere, by somebody whose competence is not on file here."
        yield Seen(said, "", "run", field="bench", at_most=Severity.NOTE)
    for person in context.people:
        mine = [each for each in context.competences if each.person_id == person.pk]
        if any(each.holds_on(context.day) for each in mine):
            continue
        yield Seen(
            _said(context, person, mine),
            "Let somebody with competence make the run, or ask the quality manager to enter it.",
            "run",
            field="bench",
        )


def _said(context: Context, person: User, mine: list[Competence]) -> str:
    code = context.procedure.procedure.code
    if not context.keeps_competence:
        return f"{person} has no competence for {code} on file; the laboratory keeps none yet."
    if not mine:
        return f"{person} has no competence for {code} on file."
    last = mine[-1]
    if last.withdrawn_on is not None and last.withdrawn_on <= context.day:
        when = f"was withdrawn on {last.withdrawn_on:%d %b %Y}: {last.withdrawn_reason}"
    elif last.valid_from > context.day:
        when = f"begins on {last.valid_from:%d %b %Y}"
    else:
        when = f"lapsed after {last.valid_until:%d %b %Y}" if last.valid_until else "does not hold"
    return f"The competence of {person} for {code} {when}."


def _same_person(context: Context, limits: Limits) -> Iterator[Seen]:
    who = context.reviewer
    if who is None or context.run is None or who.pk not in {each.pk for each in context.people}:
        return
    yield Seen(
        f"{who} made readings of run {context.run} and reviews it.",
        "Somebody else reviews it.",
        "run",
        field="answer",
    )


def _reviewer_trained(context: Context, limits: Limits) -> Iterator[Seen]:
    who = context.reviewer
    if who is None:
        return
    mine = [each for each in context.competences if each.person_id == who.pk]
    if not any(each.holds_on(context.day) for each in mine):
        yield Seen(
            _said(context, who, mine),
            "Let somebody with competence review the run, or ask the quality manager to enter it.",
            "review",
            field="answer",
        )


def _by_kept(laboratory: Laboratory, keeps_competence: bool) -> Severity:
    return Severity.STOP if keeps_competence else Severity.NOTE


def _by_reviewer_must_differ(laboratory: Laboratory, keeps_competence: bool) -> Severity:
    return Severity.STOP if laboratory.reviewer_must_differ else Severity.NOTE


RULES = (
    Rule(
        number=19,
        code="not-competent",
        title="Person not authorised, or training lapsed",
        looks_at=(
            "The competence on file of everybody who makes the run, for its procedure and day."
        ),
        stages=frozenset({Stage.OPENING, Stage.HAND_OVER, Stage.REVIEW}),
        check=_trained,
        severity=Severity.STOP,
        needs=frozenset({Part.COMPETENCES}),
        derived=_by_kept,
        derived_words="A note while the laboratory keeps no competence at all.",
    ),
    Rule(
        number=21,
        code="own-run",
        title="Same person tests and reviews",
        looks_at="Whether the reviewer made readings of the run.",
        stages=frozenset({Stage.REVIEW}),
        check=_same_person,
        severity=Severity.STOP,
        override=None,
        derived=_by_reviewer_must_differ,
        derived_words="As the laboratory's policy on reviewers was set.",
    ),
    Rule(
        number=25,
        code="reviewer-not-competent",
        title="Reviewer without competence for the procedure",
        looks_at="The competence on file of the reviewer, for the run's procedure and day.",
        stages=frozenset({Stage.REVIEW}),
        check=_reviewer_trained,
        severity=Severity.NOTE,
        override=None,
        needs=frozenset({Part.COMPETENCES}),
    ),
)
