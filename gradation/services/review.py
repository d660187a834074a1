"""Review: somebody else looks at a run and answers for it."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Run, RunSieve, Severity, Stage, User
from gradation.policy import Action, require
from gradation.queries.run_checks import OWN_RUN, Finding, findings, is_own_run
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason, unchanged
from gradation.services.control_charts import look_at_charts

__all__ = ["accept_run", "invalidate_run", "return_run"]


def accept_run(*, actor: User, run: Run, reason: str = "", version: int | None = None) -> Run:
    """Accept a weighed run.

    Reviewers may, not for a run they made readings of (by its check). Loss over its limit, an
    overloaded sieve, an end point not shown, and whatever the checks find that the bench gave no
    reason for, need a reason (`Invalid`); a stop that was not lifted is returned to the bench
    (`Invalid`). The control charts it belongs to are looked at. Ledger: run accepted.
    """
    require(actor, Action.REVIEW_RUN)
    with transaction.atomic():
        run = _locked_for_answer(actor, run, version)
        _refuse_unjustified(findings(run, Stage.REVIEW, reviewer=actor), reason)
        accepted = _answer(actor, run, Run.State.ACCEPTED, reason.strip())
        look_at_charts(actor=actor, run=accepted)
        return accepted


def return_run(*, actor: User, run: Run, reason: str, version: int | None = None) -> Run:
    """Return a weighed run to the bench for correction, with a reason. Ledger: run returned."""
    require(actor, Action.REVIEW_RUN)
    reason = needs_reason(reason, "return the run")
    with transaction.atomic():
        run = _locked_for_answer(actor, run, version)
        return _answer(actor, run, Run.State.RETURNED, reason)


def invalidate_run(*, actor: User, run: Run, reason: str, version: int | None = None) -> Run:
    """Make a run invalid, with a reason; it stays readable and the portion can be run again.

    Reviewers may, from any state but accepted. Its sieves are free again. Ledger: run invalid.
    """
    require(actor, Action.REVIEW_RUN)
    reason = needs_reason(reason, "make the run invalid")
    with transaction.atomic():
        run = locked(run, "portion__sample")
        unchanged(run, version)
        if run.state in {Run.State.ACCEPTED, Run.State.INVALID}:
            msg = f"Run {run} is {run.state}; only a run not yet accepted can be made invalid."
            raise Conflict(msg)
        _refuse_own(actor, run)
        RunSieve.objects.filter(run=run, in_use=True).update(in_use=False)
        return _answer(actor, run, Run.State.INVALID, reason)


def _locked_for_answer(actor: User, run: Run, version: int | None) -> Run:
    run = locked(run, "portion__sample")
    unchanged(run, version)
    if run.state != Run.State.WEIGHED:
        msg = f"Run {run} is {run.state}; only a run handed over by the bench is reviewed."
        raise Conflict(msg)
    _refuse_own(actor, run)
    return run


#: A reviewer answers for these also where the bench has given its own reason.
_GRAVE = frozenset({"sieve-overloaded", "end-point-not-shown", "loss-over-limit"})


def _refuse_unjustified(found: Iterable[Finding], reason: str) -> None:
    """Refuse to accept a run while a stop stands, or without a word where something is grave."""
    asked = [each for each in found if each.severity != Severity.NOTE and each.code != OWN_RUN]
    stops = [each for each in asked if each.is_stop and each.is_open]
    if stops:
        said = " ".join(each.sentence for each in stops)
        msg = f"{said} Return the run: this stop was not lifted at the bench."
        raise Invalid.one("answer", msg, code=stops[0].code)
    flags = [each for each in asked if each.is_open or each.code in _GRAVE]
    if flags and not reason.strip():
        said = " ".join(each.sentence for each in flags)
        msg = f"{said} Say why the run is accepted all the same, or return it."
        raise Invalid.one("reason", msg, code="justification-missing")


def _refuse_own(actor: User, run: Run) -> None:
    """Refuse who made readings of the run, by the check on testing and reviewing."""
    if is_own_run(run, actor):
        msg = f"You made readings of run {run}. Somebody else reviews it."
        raise NotAllowed(msg, code=OWN_RUN, field="answer")


def _answer(actor: User, run: Run, state: Run.State, reason: str) -> Run:
    before = ledger.snapshot(run)
    run.state, run.state_reason = state, reason
    run.reviewer, run.reviewed_at = actor, clock.now()
    run.version += 1
    run.save()
    ledger.write(
        actor=actor, action=f"run {state.value}", subject=run, before=before, reason=reason
    )
    return run
