"""Asking the checks: which rules a stage has, as the laboratory wants them, and what they find."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal

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
from gradation.queries.run_checks.parts import LOADERS, sharing
from gradation.queries.run_checks.rule import Asked, Finding, Rule, Seen
from gradation.science.worksheet import Evaluation

__all__ = [
    "OWN_RUN",
    "RULES",
    "answers_of",
    "asked_rules",
    "findings",
    "findings_elsewhere",
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
    return _found(of_candidate(candidate, laboratory, day))


def findings(
    run: Run,
    stage: Stage = Stage.WEIGHING,
    *,
    evaluation: Evaluation | None = None,
    reviewer: User | None = None,
    laboratory: Laboratory | None = None,
) -> tuple[Finding, ...]:
    """Say what speaks against a run as it stands at one stage of its course, with the answers.

    A run from `find_run` costs few queries more, and their number does not grow with the nest.
    With `evaluation` it is not computed again; with `laboratory` that is not read again.
    """
    context = of_run(run, stage, laboratory or Laboratory.objects.get(), evaluation)
    return _found(replace(context, reviewer=reviewer))


def findings_elsewhere(
    runs: Iterable[Run], stage: Stage, laboratory: Laboratory, new_samples: Collection[int]
) -> Iterator[tuple[Run, tuple[Finding, ...]]]:
    """Say of each of many runs recorded elsewhere and just written what speaks against it.

    What they share is read once; nobody has answered anything yet. `new_samples` are the keys of
    those that came with their runs.
    """
    choices, loaders = tuple(RunCheckPolicy.objects.all()), sharing(new_samples)
    for run in runs:
        context = of_run(run, stage, laboratory)
        yield run, _asked_in(context, loaders, choices, {})


def _found(context: Context) -> tuple[Finding, ...]:
    """Ask every rule of the stage; answers are read when there is something to answer."""
    return _asked_in(context, LOADERS, None, None)


def _asked_in(
    context: Context,
    loaders: Mapping[Part, Loader],
    choices: Iterable[RunCheckPolicy] | None,
    answers: Mapping[AnswerKey, RunCheckAnswer] | None,
) -> tuple[Finding, ...]:
    rules = [rule for rule in RULES if context.stage in rule.stages]
    context = with_parts(context, _needed(rules, context.stage), loaders)
    laboratory, kept = context.laboratory, context.keeps_competence
    asked = {
        each.rule.code: each
        for each in asked_rules(laboratory, keeps_competence=kept, choices=choices)
    }
    saw = [
        (asked[rule.code], seen)
        for rule in rules
        for seen in rule.check(context, asked[rule.code].limits)
    ]
    if answers is None:
        answers = answers_of(context.run) if saw and context.run is not None else {}
    found = (_finding(rule, seen, answers) for rule, seen in saw)
    return tuple({finding.key: finding for finding in found}.values())


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
