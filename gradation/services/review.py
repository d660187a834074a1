"""Review: somebody else looks at a run and answers for it."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Laboratory, Run, RunSieve, User
from gradation.policy import Action, may_review, require
from gradation.queries.readings import people_of_run
from gradation.queries.runs import needs_justification
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason, unchanged

__all__ = ["accept_run", "invalidate_run", "return_run"]


def accept_run(*, actor: User, run: Run, reason: str = "", version: int | None = None) -> Run:
    """Accept a weighed run.

    Reviewers may, not for a run they made readings of (laboratory policy). A run with a loss over
    its limit or an overloaded sieve needs a reason (`Invalid`). Ledger: run accepted.
    """
    require(actor, Action.REVIEW_RUN)
    with transaction.atomic():
        run = _locked_for_answer(actor, run, version)
        flags = needs_justification(run)
        if flags and not reason.strip():
            msg = f"{' '.join(flags)} Say why the run is accepted all the same, or return it."
            raise Invalid.one("reason", msg, code="justification-missing")
        return _answer(actor, run, Run.State.ACCEPTED, reason.strip())


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


def _refuse_own(actor: User, run: Run) -> None:
    must_differ = Laboratory.objects.get().reviewer_must_differ
    own = must_differ and actor.pk in people_of_run(run)
    if own or not may_review(actor, run, reviewer_must_differ=must_differ):
        msg = f"You made readings of run {run}. Somebody else reviews it."
        raise NotAllowed(msg, code="own-run", field="answer")


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
