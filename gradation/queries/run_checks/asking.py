"""Asking the checks: which rules a stage has, as the laboratory wants them, and what they find."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from functools import cache

from gradation.models import (
    Competence,
    Laboratory,
    Run,
    RunCheckAnswer,
    RunCheckPolicy,
    Severity,
    Stage,
    User,
)
from gradation.policy import Action, Role, may
from gradation.queries.days import day_of_work, laboratory_zone
from gradation.queries.readings import people_of_run
from gradation.queries.run_checks import (
    equipment,
    figures,
    masses,
    nest,
    people,
    preparation,
    shaking,
    shape,
    times,
    versions,
)
from gradation.queries.run_checks.context import (
    Candidate,
    Context,
    Loader,
    Part,
    of_candidate,
    of_run,
    with_parts,
)
from gradation.queries.run_checks.parts import LOADERS, LOADERS_AT_WORK, sharing
from gradation.queries.run_checks.rule import Asked, Finding, Rule, Seen
from gradation.science.worksheet import Evaluation

__all__ = [
    "OWN_RUN",
    "REVIEWER_NOT_COMPETENT",
    "RULES",
    "FindingsElsewhere",
    "answers_of",
    "asked_rules",
    "findings",
    "is_own_run",
    "may_answer",
    "opening_findings",
    "review_findings",
    "rule_of",
]

_TOPICS = (
    equipment, nest, preparation, masses, shaking, shape, figures, people, versions, times
)  # fmt: skip

#: Every check, by its number.
RULES: tuple[Rule, ...] = tuple(
    sorted((rule for topic in _TOPICS for rule in topic.RULES), key=lambda rule: rule.number)
)
_BY_CODE = {rule.code: rule for rule in RULES}

#: Too dear after every reading; asked when the run is handed over.
_NOT_WHILE_WEIGHING = frozenset({Part.HISTORY})

AnswerKey = tuple[str, str, str]


def rule_of(code: str) -> Rule | None:
    """Give a check by its stable name."""
    return _BY_CODE.get(code)


def asked_rules(
    laboratory: Laboratory,
    *,
    keeps_competence: bool | None = None,
    choices: Iterable[RunCheckPolicy] | None = None,
) -> list[Asked]:
    """Give every check as the laboratory asks it, by number.

    Its `choices` are read unless they are given.
    """
    kept = Competence.objects.exists() if keeps_competence is None else keeps_competence
    made = RunCheckPolicy.objects.all() if choices is None else choices
    rows = {row.code: row for row in made}
    return [_asked(rule, rows.get(rule.code), laboratory, kept) for rule in RULES]


def _asked(
    rule: Rule, row: RunCheckPolicy | None, laboratory: Laboratory, keeps_competence: bool
) -> Asked:
    own = row.limits if row else {}
    limits = {each.name: Decimal(own.get(each.name, each.usual)) for each in rule.limits}
    if row is None:
        return Asked(rule, rule.default(laboratory, keeps_competence), rule.override, limits)
    role = Role(row.override_role) if row.override_role else None
    severity = Severity(row.severity)
    return Asked(rule, severity, role, limits, is_own=True)


def opening_findings(
    candidate: Candidate, *, laboratory: Laboratory, day: date
) -> tuple[Finding, ...]:
    """Say what speaks against opening a run as somebody is about to."""
    context = of_candidate(candidate, laboratory, day)
    return _asked_in(context, LOADERS, _choices(laboratory, None), None)


def findings(
    run: Run,
    stage: Stage = Stage.WEIGHING,
    *,
    evaluation: Evaluation | None = None,
    reviewer: User | None = None,
    laboratory: Laboratory | None = None,
    choices: Iterable[RunCheckPolicy] | None = None,
) -> tuple[Finding, ...]:
    """Say what speaks against a run as it stands at one stage of its course, with the answers.

    A run from `find_run` costs few queries more, and their number does not grow with the nest.
    With `evaluation` it is not computed again; `laboratory` and its `choices` are not read again
    where they are given. With `choices`, as the page of a run at work has them, the history of the
    material and who was found able are those of a moment ago, too.
    """
    laboratory = laboratory or Laboratory.objects.get()
    context = replace(of_run(run, stage, laboratory, evaluation), reviewer=reviewer)
    loaders = LOADERS if choices is None else LOADERS_AT_WORK
    return _asked_in(context, loaders, _choices(laboratory, choices), None)


class FindingsElsewhere:
    """What the checks say of many runs recorded elsewhere and just written.

    Whatever the runs share is read once, so that the number of queries does not grow with them.
    Nobody has answered anything yet. `new_samples` are the keys of those that came with their runs.
    """

    def __init__(
        self, laboratory: Laboratory, runs: Sequence[Run], new_samples: Collection[int]
    ) -> None:
        self._laboratory = laboratory
        self._loaders = sharing(runs, new_samples)
        self._asked = cache(_choices(laboratory, tuple(RunCheckPolicy.objects.all())))

    def day_of(self, run: Run) -> date:
        """Say on which day of the laboratory a run was worked."""
        return day_of_work(run, laboratory_zone(self._laboratory))

    def at_opening(self, candidate: Candidate, day: date) -> tuple[Finding, ...]:
        """Say what speaks against having opened a run on its day, as `opening_findings` does."""
        context = of_candidate(candidate, self._laboratory, day)
        return _asked_in(context, self._loaders, self._asked, {})

    def at_hand_over(self, run: Run, evaluation: Evaluation | None) -> tuple[Finding, ...]:
        """Say what speaks against a run handed over, as `findings` does."""
        context = of_run(run, Stage.HAND_OVER, self._laboratory, evaluation)
        return _asked_in(context, self._loaders, self._asked, {})


#: Every check as the laboratory asks it, by its code; whether it keeps competences decides some.
Choices = Callable[[bool], Mapping[str, Asked]]


def _choices(laboratory: Laboratory, made: Iterable[RunCheckPolicy] | None) -> Choices:
    def asked(keeps_competence: bool) -> Mapping[str, Asked]:
        all_ = asked_rules(laboratory, keeps_competence=keeps_competence, choices=made)
        return {each.rule.code: each for each in all_}

    return asked


def _asked_in(
    context: Context,
    loaders: Mapping[Part, Loader],
    choices: Choices,
    answers: Mapping[AnswerKey, RunCheckAnswer] | None,
) -> tuple[Finding, ...]:
    """Ask every rule of the stage; answers are read when there is something to answer."""
    rules = _rules_at(context.stage)
    context = with_parts(context, _needed(rules, context.stage), loaders)
    asked = choices(context.keeps_competence)
    saw = [
        (asked[rule.code], seen)
        for rule in rules
        for seen in rule.check(context, asked[rule.code].limits)
    ]
    if answers is None:
        answers = answers_of(context.run) if saw and context.run is not None else {}
    found = (_finding(rule, seen, answers) for rule, seen in saw)
    return tuple({finding.key: finding for finding in found}.values())


@cache
def _rules_at(stage: Stage) -> tuple[Rule, ...]:
    return tuple(rule for rule in RULES if stage in rule.stages)


def _needed(rules: Iterable[Rule], stage: Stage) -> set[Part]:
    needed = {part for rule in rules for part in rule.needs}
    return needed - _NOT_WHILE_WEIGHING if stage == Stage.WEIGHING else needed


def _finding(asked: Asked, seen: Seen, answers: Mapping[AnswerKey, RunCheckAnswer]) -> Finding:
    place = seen.place or seen.field or "run"
    return Finding(
        rule=asked.rule,
        severity=seen.severity(asked.severity),
        sentence=seen.sentence,
        advice=seen.advice,
        place=place,
        field=seen.field,
        may_override=asked.override,
        answer=answers.get((asked.rule.code, place, seen.sentence)),
    )


def answers_of(run: Run) -> dict[AnswerKey, RunCheckAnswer]:
    """Give the last answer to each finding of a run, as the finding stood."""
    rows = run.check_answers.select_related("answered_by").order_by("pk")
    return {(row.code, row.place, row.sentence): row for row in rows}


def may_answer(actor: User, finding: Finding) -> bool:
    """Say whether this person may give the reason, or lift the stop."""
    if not actor.is_active:
        return False
    if finding.is_stop:
        return finding.may_override is not None and finding.may_override in actor.role_names
    return may(actor, Action.RECORD_RUN)


def review_findings(run: Run, reviewer: User | None = None) -> tuple[Finding, ...]:
    """Give the list of what a reviewer looks at: what is found now, and what was answered before.

    What was noted when the run was opened stays in it; a finding at hand-over that a correction
    has removed stays only if somebody gave a reason for it.
    """
    now = findings(run, Stage.REVIEW, reviewer=reviewer)
    known = {finding.key for finding in now}
    before = {finding.key: finding for finding in _kept(run) if finding.key not in known}
    everything = [*now, *before.values()]
    return tuple(sorted(everything, key=lambda finding: (not finding.is_open, finding.number)))


OWN_RUN = "own-run"
REVIEWER_NOT_COMPETENT = "reviewer-not-competent"


def is_own_run(run: Run, reviewer: User) -> bool:
    """Say whether the check on testing and reviewing keeps this person from reviewing the run."""
    laboratory = Laboratory.objects.get()
    asked = next(
        each
        for each in asked_rules(laboratory, keeps_competence=False)
        if each.rule.code == OWN_RUN
    )
    return asked.severity == Severity.STOP and reviewer.pk in people_of_run(run)


def _kept(run: Run) -> Iterator[Finding]:
    answers = answers_of(run)
    for row in run.check_findings.order_by("pk"):
        rule, answer = rule_of(row.code), answers.get((row.code, row.place, row.sentence))
        if rule is None or (row.stage != Stage.OPENING and answer is None):
            continue
        yield Finding(
            rule=rule,
            severity=Severity(row.severity),
            sentence=row.sentence,
            advice="",
            place=row.place,
            field="",
            may_override=None,
            answer=answer,
        )
