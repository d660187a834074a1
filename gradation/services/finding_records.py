"""What the checks found becomes part of a run: written down, answered, or a refusal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Run, RunCheckAnswer, RunCheckFinding, Stage, User
from gradation.queries.run_checks import Finding, may_answer
from gradation.services import clock
from gradation.services.checking import needs_reason

__all__ = [
    "SAY_WHY",
    "act_of",
    "deviations_of",
    "finding_rows",
    "in_short",
    "keep_answer",
    "keep_findings",
    "reason_field",
    "refuse_opening",
    "refuse_unanswered",
]

#: How a refusal to open a run asks for the reason of a finding.
SAY_WHY = "Say why the run is opened all the same."

#: Refused as a clash with somebody else's work, not as something typed wrongly.
_CLASH = "claimed-twice"


def reason_field(finding: Finding) -> str:
    """Name the field in which the reason for a finding is typed."""
    return f"reason-{finding.key}"


def refuse_opening(actor: User, found: Iterable[Finding], reasons: Mapping[str, str]) -> None:
    """Refuse to open a run: what stops it, and what lacks its reason, all at once.

    `reasons` are by the findings' keys. A stop is lifted by the reason of somebody who may. Refuses
    (`Conflict`) when nothing but somebody else's open run stands against it.
    """
    open_ones = [each for each in found if not _is_met(actor, each, reasons)]
    faults = [_opening_fault(actor, each) for each in open_ones]
    if faults and all(each.code == _CLASH for each in open_ones):
        raise Conflict(faults[0].message, code=_CLASH, field=faults[0].field)
    if faults:
        raise Invalid(faults)


def _is_met(actor: User, finding: Finding, reasons: Mapping[str, str]) -> bool:
    if not finding.is_open:
        return True
    return bool(reasons.get(finding.key, "").strip()) and may_answer(actor, finding)


def _opening_fault(actor: User, finding: Finding) -> Fault:
    if not may_answer(actor, finding):
        return Fault(finding.field, f"{finding.sentence} {finding.advice}", finding.code)
    ask = SAY_WHY
    if finding.is_stop:
        ask = f"As {finding.may_override} you may lift this stop. {ask}"
    return Fault(reason_field(finding), f"{finding.sentence} {ask}", finding.code)


def refuse_unanswered(found: Iterable[Finding]) -> None:
    """Refuse to hand a run over while a reason is missing or a stop stands; one fault each."""
    faults = [Fault(each.place, _unanswered(each), each.code) for each in found if each.is_open]
    if faults:
        raise Invalid(faults)


def _unanswered(finding: Finding) -> str:
    if not finding.is_stop:
        return f"{finding.sentence} Give the reason for it among the findings."
    if finding.may_override is None:
        return f"{finding.sentence} {finding.advice} Nobody can lift this stop."
    return (
        f"{finding.sentence} {finding.advice} Only the {finding.may_override} can lift this stop."
    )


def keep_findings(run: Run, stage: Stage, found: Sequence[Finding]) -> list[str]:
    """Write down what was found at a stage; give it back in short for the ledger."""
    RunCheckFinding.objects.bulk_create(finding_rows(run, stage, found))
    return in_short(found)


def in_short(found: Iterable[Finding]) -> list[str]:
    """Name findings as the ledger does."""
    return [f"{each.number} {each.code}: {each.severity}" for each in found]


def finding_rows(run: Run, stage: Stage, found: Iterable[Finding]) -> list[RunCheckFinding]:
    """Give the rows of what was found at a stage, to be written."""
    return [
        RunCheckFinding(
            run=run,
            code=each.code,
            stage=stage.value,
            severity=each.severity.value,
            place=each.place,
            sentence=each.sentence,
            found_at=clock.now(),
        )
        for each in found
    ]


def keep_answer(actor: User, run: Run, finding: Finding, reason: str) -> RunCheckAnswer:
    """Write down the reason for a finding, as it stands; the caller's entry covers it."""
    answer = RunCheckAnswer(
        run=run,
        code=finding.code,
        place=finding.place,
        sentence=finding.sentence,
        reason=needs_reason(reason, "go on"),
        is_override=finding.is_stop,
        answered_by=actor,
        answered_at=clock.now(),
    )
    answer.save(force_insert=True)
    return answer


def act_of(answer: RunCheckAnswer) -> str:
    """Name the act of an answer for the ledger."""
    return "stop lifted" if answer.is_override else "finding answered"


def deviations_of(found: Iterable[Finding], said: str, reasons: Mapping[str, str]) -> list[str]:
    """Give the lines that belong among a run's deviations and do not stand there yet."""
    lines = []
    for each in found:
        if not each.rule.is_deviation or each.sentence in said:
            continue
        given = each.answer.reason if each.answer else reasons.get(each.key, "").strip()
        lines.append(f"{each.sentence} {given}".strip())
    return lines
