"""Studies of precision and comparison: begun, changed, kept, given up; follow-ups answered."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Study, StudyFollowUp, User
from gradation.policy import Action, require
from gradation.queries.studies.asked import Head, LeftOut, Outcome, StudyAsked
from gradation.queries.studies.precision import left_out_of, precision_asked_again
from gradation.queries.studies.records import work_out
from gradation.science import SCIENCE_VERSION
from gradation.services import clock, ledger
from gradation.services.answering import answer_words
from gradation.services.checking import cleaned, locked, needs_reason, shortened
from gradation.services.numbering import next_number
from gradation.services.results import digest_of_inputs

__all__ = [
    "answer_follow_up",
    "begin_study",
    "change_study",
    "give_up_study",
    "keep_study",
    "leave_out",
    "take_back",
]


def begin_study(*, actor: User, head: Head, asked: StudyAsked) -> Study:
    """Work a study out and put it down as a draft.

    Reviewers and quality managers may. Refuses (`Invalid`) what its kind refuses and a missing
    title; then nothing is put down. Ledger: study begun, with the digest of its inputs.
    """
    require(actor, Action.KEEP_STUDIES)
    _refuse_untitled(head)
    with transaction.atomic():
        study = _filled(Study(kind=asked.kind), head, work_out(actor, head, asked), actor)
        year = clock.today().year
        study.number = f"S{year % 100:02d}-{next_number(f'study/{year}'):04d}"
        cleaned(study).save(force_insert=True)
        ledger.write(actor=actor, action="study begun", subject=study, after=_told(study))
    return study


def change_study(*, actor: User, study: Study, head: Head, asked: StudyAsked) -> Study:
    """Enter a draft anew; what was left out before is in again.

    Reviewers and quality managers may. Refuses as `begin_study`, and (`Conflict`) a study that is
    no draft any more. Ledger: study changed.
    """
    require(actor, Action.KEEP_STUDIES)
    _refuse_untitled(head)
    with transaction.atomic():
        study = _draft(study)
        before = _told(study)
        _filled(study, head, work_out(actor, head, asked), actor)
        _store(actor, study, "study changed", before)
    return study


def leave_out(*, actor: User, study: Study, participant: str, level: str, reason: str) -> Study:
    """Leave the results of one participant at one level out of a draft precision study.

    No test does it: a person does, with a reason that stays in the record. Reviewers and quality
    managers may. Refuses (`Invalid`) a cell that is not there or out already, and one without
    which too few are left; (`Conflict`) a study that is no draft. Ledger: results left out.
    """
    require(actor, Action.KEEP_STUDIES)
    reason = needs_reason(reason, "leave these results out")
    with transaction.atomic():
        study = _draft(study)
        _refuse_cell(study, participant, level)
        now = clock.now().isoformat(timespec="minutes")
        more = LeftOut(participant, level, reason, str(actor), now)
        _worked_anew(actor, study, (*left_out_of(study.inputs), more), "results left out", reason)
    return study


def take_back(*, actor: User, study: Study, participant: str, level: str, reason: str) -> Study:
    """Take results that were left out of a draft in again, with a reason.

    Reviewers and quality managers may. Refuses (`Conflict`) a study that is no draft, (`Invalid`)
    results that are not out. Ledger: results taken in again.
    """
    require(actor, Action.KEEP_STUDIES)
    reason = needs_reason(reason, "take these results in again")
    with transaction.atomic():
        study = _draft(study)
        out = left_out_of(study.inputs if study.kind == Study.Kind.PRECISION else {"left_out": []})
        kept = tuple(e for e in out if (e.participant, e.level) != (participant, level))
        if len(kept) == len(out):
            msg = f"{participant} was not left out at {level}."
            raise Invalid.one("participant", msg, code="not-out")
        _worked_anew(actor, study, kept, "results taken in again", reason)
    return study


def keep_study(*, actor: User, study: Study) -> Study:
    """Keep a draft: from now on nothing changes it, and a bad score opens a follow-up.

    Reviewers and quality managers may. Refuses (`Conflict`) a study that is no draft. Ledger:
    study kept, and follow-up to be answered.
    """
    require(actor, Action.KEEP_STUDIES)
    with transaction.atomic():
        study = _draft(study)
        before = _told(study)
        study.state, study.kept_at, study.kept_by = Study.State.KEPT, clock.now(), actor
        _store(actor, study, "study kept", before)
        if signals := study.figures.get("signals"):
            reasons = shortened(" ".join(signals), 700)
            row = StudyFollowUp(study=study, reasons=reasons, opened_at=clock.now())
            cleaned(row).save(force_insert=True)
            ledger.write(actor=actor, action="follow-up to be answered", subject=row)
    return study


def give_up_study(*, actor: User, study: Study, reason: str) -> Study:
    """Give a draft up, with a reason; it stays in the ledger and can be read by its number.

    Reviewers and quality managers may. Refuses (`Conflict`) a study that is no draft. Ledger:
    study given up.
    """
    require(actor, Action.KEEP_STUDIES)
    reason = needs_reason(reason, "give the study up")
    with transaction.atomic():
        study = _draft(study)
        before = _told(study)
        study.state, study.given_up_reason = Study.State.GIVEN_UP, reason
        _store(actor, study, "study given up", before, reason)
    return study


def answer_follow_up(
    *, actor: User, follow_up: StudyFollowUp, cause: str, done: str
) -> StudyFollowUp:
    """Answer a bad score: what caused it, what was done.

    Reviewers and quality managers may, once; refuses (`Invalid`) an answer without both, and
    (`Conflict`) one answered already. Ledger: follow-up answered.
    """
    require(actor, Action.ANSWER_POINT)
    cause, done = answer_words(cause, done)
    with transaction.atomic():
        row = locked(follow_up, "study", "answered_by")
        if row.answered_at is not None:
            msg = f"This was answered by {row.answered_by} on {row.answered_at:%d %b %Y}."
            raise Conflict(msg, code="answered-already")
        before = ledger.snapshot(row)
        row.cause, row.done = cause, done
        row.answered_at, row.answered_by = clock.now(), actor
        cleaned(row).save()
        ledger.write(
            actor=actor, action="follow-up answered", subject=row, before=before, reason=cause
        )
    return row


def _refuse_untitled(head: Head) -> None:
    if not head.title.strip():
        msg = "Give the study a title, such as the round or the material."
        raise Invalid.one("title", msg, code="required")


def _draft(study: Study) -> Study:
    held = locked(study, "material", "kept_by")
    if not held.is_draft:
        msg = f"Study {held} is {held.state}; nothing changes it. Begin a further one."
        raise Conflict(msg, code="not-draft")
    return held


def _filled(study: Study, head: Head, outcome: Outcome, actor: User) -> Study:
    study.title, study.note = " ".join(head.title.split()), head.note.strip()
    study.figure, study.material = head.figure, head.material
    study.valid_for, study.entered = head.valid_for.strip(), head.entered
    return _with_outcome(study, outcome, actor)


def _with_outcome(study: Study, outcome: Outcome, actor: User) -> Study:
    study.inputs, study.inputs_digest = outcome.inputs, digest_of_inputs(outcome.inputs)
    study.figures = outcome.figures | {"signals": list(outcome.signals)}
    study.sentence = shortened(outcome.sentence, 400)
    study.science_version = SCIENCE_VERSION
    study.computed_at, study.computed_by = clock.now(), actor
    return study


def _refuse_cell(study: Study, participant: str, level: str) -> None:
    if study.kind != Study.Kind.PRECISION:
        msg = "Results are left out of precision studies only."
        raise Conflict(msg, code="wrong-kind")
    there = {
        (cell["participant"], each["name"])
        for each in study.inputs["levels"]
        for cell in each["cells"]
    }
    out = {(each.participant, each.level) for each in left_out_of(study.inputs)}
    if (participant, level) not in there - out:
        msg = f"{participant or 'Nobody'} has no results at {level or 'no level'} to leave out."
        raise Invalid(Fault("participant", msg, "unknown-cell"))


def _worked_anew(
    actor: User, study: Study, left: tuple[LeftOut, ...], action: str, reason: str
) -> None:
    before = _told(study)
    head = Head(study.title, study.figure, study.material)
    asked = precision_asked_again(study.inputs, left)
    _with_outcome(study, work_out(actor, head, asked), actor)
    _store(actor, study, action, before, reason)


def _store(actor: User, study: Study, action: str, before: ledger.State, reason: str = "") -> None:
    cleaned(study).save()
    ledger.write(
        actor=actor,
        action=action,
        subject=study,
        before=before,
        after=_told(study),
        reason=reason,
    )


def _told(study: Study) -> ledger.State:
    """Give what the ledger keeps: the figures themselves are in the record, named by digest."""
    return {
        "number": study.number,
        "kind": study.kind,
        "state": study.state,
        "title": study.title,
        "figure": study.figure,
        "material": str(study.material or ""),
        "valid_for": study.valid_for,
        "inputs_digest": study.inputs_digest,
        "left_out": study.inputs.get("left_out", []),
        "sentence": study.sentence,
        "science_version": study.science_version,
    }
