"""Review: somebody else looks at a run and answers for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import transaction

from gradation.errors import Conflict, Invalid, NotAllowed, Refusal
from gradation.models import Event, Run, RunSieve, Severity, Stage, TrailReview, User
from gradation.policy import Action, require
from gradation.queries.paper import paper_of
from gradation.queries.review_risks import Risk, risks_of
from gradation.queries.run_checks import (
    OWN_RUN,
    REVIEWER_NOT_COMPETENT,
    Finding,
    findings,
    is_own_run,
)
from gradation.queries.trail import Trail, trail_of
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason, unchanged
from gradation.services.control_charts import look_at_charts
from gradation.services.outbox import announce

__all__ = [
    "BatchAnswer",
    "Picked",
    "accept_run",
    "accept_runs",
    "invalidate_run",
    "look_through_trail",
    "return_run",
]


@dataclass(frozen=True)
class Picked:
    """A run picked for acceptance, with the newest entry of its history that was shown."""

    run: Run
    seen: int


@dataclass(frozen=True)
class BatchAnswer:
    """What became of one run of several: accepted, or why not."""

    run: Run
    refusal: str = ""


def look_through_trail(
    *, actor: User, run: Run, seen: int | None = None, note: str = ""
) -> TrailReview:
    """Keep that a reviewer went through the history of a run, up to the entry that was shown.

    Reviewers may, not for a run they made readings of. Without `seen` the whole history counts as
    shown. Refuses (`Conflict`) when something was written since. Ledger: history looked through.
    """
    require(actor, Action.REVIEW_RUN)
    with transaction.atomic():
        run = locked(run, "portion__sample")
        _refuse_own(actor, run)
        return _looked_through(actor, run, seen, note)


def accept_run(
    *,
    actor: User,
    run: Run,
    reason: str = "",
    version: int | None = None,
    seen: int | None = None,
) -> Run:
    """Accept a weighed run.

    Reviewers may, not for a run they made readings of and not without competence for its procedure
    (each by its check: `NotAllowed`), once they have gone through
    its history: `seen` is the newest entry they were shown, or they looked through it before
    (`look_through_trail`); `Conflict` otherwise. A run typed from paper was compared with it as it
    stands by a second person (`compare_with_paper`; `Conflict`). Loss over its limit, an
    overloaded sieve, an end point not shown, and whatever the checks find that the bench gave no
    reason for, need a reason (`Invalid`); a stop that was not lifted is returned to the bench
    (`Invalid`). The control charts it belongs to are looked at. Ledger: history looked through, run
    accepted. Other systems: run.accepted.
    """
    require(actor, Action.REVIEW_RUN)
    with transaction.atomic():
        run = _locked_for_answer(actor, run, version)
        found = findings(run, Stage.REVIEW, reviewer=actor)
        _refuse_not_competent(found)
        _refuse_unjustified(found, reason)
        _refuse_not_compared(run)
        if seen is not None:
            _looked_through(actor, run, seen, "")
        _refuse_unread(actor, trail_of(run))
        accepted = _answer(actor, run, Run.State.ACCEPTED, reason.strip())
        look_at_charts(actor=actor, run=accepted)
        announce(Event.RUN_ACCEPTED, [accepted])
        return accepted


def accept_runs(*, actor: User, picked: Sequence[Picked]) -> list[BatchAnswer]:
    """Accept several runs at once, each in a transaction of its own, only where each is clean.

    Reviewers may. A run with any risk, one of one's own, or one whose history moved on since it was
    shown is not accepted; the answer names why, and the others go on. Ledger: as for each alone.
    """
    require(actor, Action.REVIEW_RUN)
    risks = risks_of([each.run for each in picked])
    return [_accepted_if_clean(actor, each, risks[each.run.pk]) for each in picked]


def _accepted_if_clean(actor: User, picked: Picked, risks: Sequence[Risk]) -> BatchAnswer:
    if risks:
        said = " ".join(f"{risk.kind.capitalize()}: {risk.sentence.rstrip('.')}." for risk in risks)
        return BatchAnswer(picked.run, f"{said} Open it and answer for it alone.")
    try:
        return BatchAnswer(accept_run(actor=actor, run=picked.run, seen=picked.seen))
    except Refusal as refusal:
        return BatchAnswer(picked.run, refusal.message)


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


def _looked_through(actor: User, run: Run, seen: int | None, note: str) -> TrailReview:
    trail = trail_of(run)
    sequence = trail.newest if seen is None else seen
    if not trail.is_seen_up_to(sequence):
        newer = [event.action for event in trail.events if event.sequence > sequence]
        msg = (
            f"Since the page was opened something was written about run {run}: "
            f"{', '.join(newer)}. Look at it, then answer."
        )
        raise Conflict(msg, code="trail-moved", field="went_through")
    look = TrailReview(
        run=run,
        reviewer=actor,
        looked_at=clock.now(),
        seen_sequence=sequence,
        entries=len(trail.entries),
        note=note.strip(),
    )
    cleaned(look).save(force_insert=True)
    ledger.write(actor=actor, action="history looked through", subject=look, reason=look.note)
    return look


def _refuse_unread(actor: User, trail: Trail) -> None:
    """Refuse to accept what nobody went through, or somebody else did (FDA data integrity, 8)."""
    if trail.is_current and trail.seen is not None and trail.seen.reviewer_id == actor.pk:
        return
    msg = (
        f"Go through the history of run {trail.run} first: who entered, corrected and answered "
        "what. It stands below its readings."
    )
    raise Conflict(msg, code="trail-not-seen", field="went_through")


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


def _refuse_not_competent(found: Iterable[Finding]) -> None:
    """Refuse whom the laboratory keeps from reviewing what they were not found able to do."""
    for each in found:
        if each.code == REVIEWER_NOT_COMPETENT and each.is_stop:
            msg = f"{each.sentence} Somebody with that competence reviews it."
            raise NotAllowed(msg, code=REVIEWER_NOT_COMPETENT, field="answer")


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


def _refuse_not_compared(run: Run) -> None:
    """Refuse a run typed from paper while nobody has confirmed what stands there now."""
    paper = paper_of(run)
    if paper is not None and not paper.is_compared:
        msg = (
            f"{paper.open_sentence.rstrip('.')}. Somebody who typed none of it compares it with "
            "the scans first, on the page of the run."
        )
        raise Conflict(msg, code="paper-not-compared", field="answer")


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
