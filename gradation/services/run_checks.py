"""Checks of a run: the laboratory's choice for each, and the reasons given for what they find."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid, NotAllowed, NotFound
from gradation.models import (
    Laboratory,
    OverdueRule,
    Run,
    RunCheckAnswer,
    RunCheckPolicy,
    Severity,
    Stage,
    User,
)
from gradation.policy import Action, Role, require
from gradation.queries.run_checks import (
    Asked,
    Finding,
    Rule,
    asked_rules,
    findings,
    may_answer,
    rule_of,
)
from gradation.queries.settled import forget_settled
from gradation.services import ledger
from gradation.services.checking import cleaned_row, locked, needs_reason
from gradation.services.finding_records import act_of, keep_answer

__all__ = ["Choice", "answer_finding", "set_check_policy"]


@dataclass(frozen=True)
class Choice:
    """What a laboratory wants of one check: how grave, who may lift a stop, its figures."""

    severity: Severity
    override: Role | None
    limits: Mapping[str, Decimal] = field(default_factory=dict)


def set_check_policy(*, actor: User, code: str, choice: Choice, reason: str) -> RunCheckPolicy:
    """Set how grave one check is in this laboratory, who may lift its stop, and its figures.

    Quality managers may, with a reason. Refuses (`Invalid`) a choice that the check does not leave.
    The policies on overdue sieves, unchecked balances and reviewers follow their checks. Ledger:
    check set.
    """
    require(actor, Action.SET_POLICY)
    reason = needs_reason(reason, "change the check")
    rule = rule_of(code)
    if rule is None:
        msg = f"There is no check named {code}."
        raise NotFound(msg)
    _refuse_impossible(rule, choice)
    with transaction.atomic():
        laboratory = locked(Laboratory.objects.get())
        asked = next(each for each in asked_rules(laboratory) if each.rule is rule)
        row = RunCheckPolicy.objects.filter(code=code).first() or RunCheckPolicy(code=code)
        row.severity = choice.severity.value
        row.override_role = choice.override.value if choice.override else ""
        row.limits = {name: str(value) for name, value in choice.limits.items()}
        cleaned_row(row)
        ledger.write(
            actor=actor,
            action="check set",
            subject=row,
            before=_before(asked, row),
            reason=reason,
        )
        _let_policy_follow(actor, laboratory, rule, choice.severity, reason)
    forget_settled()
    return row


def _before(asked: Asked, row: RunCheckPolicy) -> ledger.State:
    """Give what held before, by default or by the laboratory's choice."""
    return {
        "id": row.pk,
        "code": row.code,
        "severity": asked.severity.value,
        "override_role": asked.override.value if asked.override else "",
        "limits": {name: str(value) for name, value in asked.limits.items()},
    }


def _refuse_impossible(rule: Rule, choice: Choice) -> None:
    faults = []
    if rule.fixed_because and choice.severity != rule.severity:
        msg = f"Check {rule.number} is always a {rule.severity}. {rule.fixed_because}"
        faults.append(Fault("severity", msg, "fixed"))
    if rule.fixed_because and choice.override is not None:
        msg = f"Nobody can lift check {rule.number}. {rule.fixed_because}"
        faults.append(Fault("override", msg, "fixed"))
    if choice.override in {Role.CUSTOMER, Role.AUDITOR}:
        msg = f"The {choice.override} changes nothing in the records. Choose another role."
        faults.append(Fault("override", msg, "cannot-override"))
    for limit in rule.limits:
        value = choice.limits.get(limit.name)
        if value is None or value <= 0:
            msg = f"{limit.words}: enter a figure above zero."
            faults.append(Fault(limit.name, msg, "not-positive"))
    if faults:
        raise Invalid(faults)


#: Policies older than the checks, in the words of their columns.
_FOLLOWS = {
    "equipment-unfit": ("overdue_sieve", OverdueRule.BLOCK.value, OverdueRule.WARN.value),
    "balance-unfit": ("balance_not_checked", OverdueRule.BLOCK.value, OverdueRule.WARN.value),
    "own-run": ("reviewer_must_differ", True, False),
}


def _let_policy_follow(
    actor: User, laboratory: Laboratory, rule: Rule, severity: Severity, reason: str
) -> None:
    """Let the laboratory's own column say the same, for the screens that show it."""
    if rule.code not in _FOLLOWS:
        return
    name, stops, notes = _FOLLOWS[rule.code]
    value = stops if severity == Severity.STOP else notes
    if getattr(laboratory, name) == value:
        return
    before = ledger.snapshot(laboratory)
    setattr(laboratory, name, value)
    cleaned_row(laboratory)
    ledger.write(
        actor=actor,
        action="laboratory changed",
        subject=laboratory,
        before=before,
        reason=reason,
    )


def answer_finding(*, actor: User, run: Run, key: str, reason: str) -> RunCheckAnswer:
    """Give the reason for a finding, or lift a stop; it stays with the run.

    Technicians give reasons while the run is open or returned; a stop is lifted by the role that
    the check names. Refuses (`Conflict`) a finding that is no longer found as it stood; the same
    reason again is the answer already kept. Ledger: finding answered, or stop lifted.
    """
    require(actor, Action.READ_RECORDS)
    with transaction.atomic():
        run = locked(run, "portion__sample")
        if not run.is_editable:
            msg = f"Run {run} is {run.state}; findings are answered while it is open or returned."
            raise Conflict(msg)
        finding = _standing(run, key)
        if not may_answer(actor, finding):
            raise NotAllowed(_not_yours(finding), code="not-yours", field="reason")
        known = finding.answer
        if known is not None and (known.reason, known.answered_by) == (reason.strip(), actor):
            return known
        answer = keep_answer(actor, run, finding, reason)
        ledger.write(actor=actor, action=act_of(answer), subject=answer, reason=answer.reason)
    return answer


def _standing(run: Run, key: str) -> Finding:
    """Give a finding that is found now; a note asks for nothing."""
    found = {each.key: each for each in findings(run, Stage.HAND_OVER)}
    found |= {each.key: each for each in findings(run, Stage.WEIGHING)}
    finding = found.get(key)
    if finding is None:
        msg = "This is no longer found as you saw it. Look at the findings again."
        raise Conflict(msg, code="no-longer-found")
    if finding.severity == Severity.NOTE:
        msg = "A note asks for no reason."
        raise Conflict(msg, code="only-a-note")
    return finding


def _not_yours(finding: Finding) -> str:
    if not finding.is_stop:
        return "The technician at the bench gives this reason."
    if finding.may_override is None:
        return f"Nobody can lift this stop. {finding.advice}"
    return f"Only the {finding.may_override} can lift this stop. {finding.advice}"
