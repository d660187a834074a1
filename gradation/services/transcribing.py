"""Runs recorded on paper: marked before they are typed, scans kept, compared by a second person.

The paper stays the original record and a true copy of it is kept (MHRA, 'GXP' Data Integrity
Guidance and Definitions, 2018, 6.11); what is entered by hand is checked a second time (EU GMP
Annex 11, 2011, 6), also after a breakdown that was bridged on paper (16).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.db import transaction

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Laboratory, PaperComparison, Run, Scan, Transcription, User
from gradation.policy import Action, is_customer, require
from gradation.queries.days import day_of
from gradation.queries.paper import PaperWork, paper_of, typists_of
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason
from gradation.services.file_scanner import refuse_malicious
from gradation.services.kept_files import KeptFile, judged_file

__all__ = ["OnPaper", "ScanGiven", "add_scan", "compare_with_paper", "mark_transcribed"]

#: Read with a run, because its entries name them.
_OF_A_RUN = ("portion__sample", "transcription")


@dataclass(frozen=True)
class OnPaper:
    """What the paper says of the work as a whole, and why there is paper."""

    performed_on: date
    performed_by: User
    reason: str


@dataclass(frozen=True)
class ScanGiven:
    """A scan or photograph of the paper, as it was handed in."""

    name: str
    content: bytes


def mark_transcribed(*, actor: User, run: Run, told: OnPaper, scan: ScanGiven) -> Transcription:
    """Mark a run as recorded on paper: every reading is typed from it, and the paper is kept.

    Technicians may, while the run is open and nothing is weighed in it; it is not taken back.
    Refuses (`Invalid`) a day in the future or before the sample was received, somebody outside the
    laboratory, a missing reason, and what is no scan (PDF, PNG, JPEG or plain text, up to 10 MB);
    refuses (`Conflict`) a run that has readings or is marked already. Ledger: readings come from
    paper; scan of the paper kept, with its digest.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(told.reason, "work on paper")
    given = _judged(scan)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        _refuse_begun(run)
        _refuse_untimely(run, told.performed_on)
        _refuse_stranger(told.performed_by)
        mark = Transcription(
            run=run,
            performed_on=told.performed_on,
            performed_by=told.performed_by,
            reason=reason,
            made_at=clock.now(),
            made_by=actor,
        )
        cleaned(mark).save(force_insert=True)
        ledger.write(actor=actor, action="readings come from paper", subject=mark, reason=reason)
        _keep_scan(actor, mark, given)
    return mark


def add_scan(*, actor: User, run: Run, scan: ScanGiven) -> Scan:
    """Keep a further page of the paper that a run is typed from.

    Technicians may, until the run is answered for; a comparison made before no longer holds.
    Refuses (`Conflict`) a run that is not typed from paper, one accepted or invalid, and a file
    that it has already; (`Invalid`) what is no scan. Ledger: scan of the paper kept.
    """
    require(actor, Action.RECORD_RUN)
    given = _judged(scan)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        mark = _mark_of(run)
        if run.state in {Run.State.ACCEPTED, Run.State.INVALID}:
            msg = f"Run {run} is {run.state}; its paper is complete. Hand it in with another run."
            raise Conflict(msg)
        return _keep_scan(actor, mark, given)


def compare_with_paper(*, actor: User, run: Run, agrees: bool, note: str = "") -> PaperComparison:
    """Keep that a second person compared all that was typed with the paper, and what was found.

    Technicians and reviewers may, once the run is handed over; who opened the run, typed any of it
    or marked it may not (`NotAllowed`). It holds until something of the run is corrected or a scan
    is added. Refuses (`Invalid`) a difference without a note; (`Conflict`) a run that is not typed
    from paper or does not wait for review. Ledger: agrees with the paper, or differs from it.
    """
    require(actor, Action.COMPARE_WITH_PAPER)
    note = note.strip() if agrees else needs_reason(note, "find it unlike the paper")
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        mark = _mark_of(run)
        _refuse_not_waiting(run)
        _refuse_typist(actor, run)
        paper = _paper(run)
        comparison = PaperComparison(
            transcription=mark,
            number=len(paper.comparisons) + 1,
            agrees=agrees,
            note=note,
            compared_sha256=paper.digest,
            made_at=clock.now(),
            made_by=actor,
        )
        cleaned(comparison).save(force_insert=True)
        act = "agrees with the paper" if agrees else "differs from the paper"
        ledger.write(actor=actor, action=act, subject=comparison, reason=note)
    return comparison


def _refuse_begun(run: Run) -> None:
    if run.on_paper is not None:
        msg = f"Run {run} is typed from paper already. Add a further page to it as a scan."
        raise Conflict(msg, code="on-paper-already")
    if run.state != Run.State.OPEN:
        msg = f"Run {run} is {run.state}; it is marked while it is open and nothing is weighed."
        raise Conflict(msg)
    if run.weighings.exists():
        msg = (
            f"Run {run} has readings that were not typed from paper. Open another run for what "
            "stands on paper."
        )
        raise Conflict(msg, code="weighed-already")


def _refuse_untimely(run: Run, day: date) -> None:
    laboratory = Laboratory.objects.get()
    if day > clock.today(laboratory):
        msg = "The work lies in the future. Enter the day that stands on the paper."
        raise Invalid.one("performed_on", msg, code="in-future")
    sample = run.portion.sample
    received = day_of(sample.received_at, ZoneInfo(laboratory.time_zone))
    if day < received:
        msg = (
            f"Sample {sample} was received on {received.day} {received:%b %Y}, after this day. "
            "Enter the day that stands on the paper, or correct when the sample was received."
        )
        raise Invalid.one("performed_on", msg, code="before-receipt")


def _refuse_stranger(person: User) -> None:
    if is_customer(person) or person.customer_id is not None:
        msg = f"{person} does not belong to the laboratory. Name who worked."
        raise Invalid.one("performed_by", msg, code="not-of-the-laboratory")


def _judged(scan: ScanGiven) -> KeptFile:
    """Look at a scan before anything is held for it."""
    given = judged_file(scan.name, scan.content)
    refuse_malicious(scan.content)
    return given


def _keep_scan(actor: User, mark: Transcription, given: KeptFile) -> Scan:
    known = mark.scans.filter(sha256=given.sha256).defer("file").first()
    if known is not None:
        msg = f"Run {mark.run} has this very file already, as {known.name}."
        raise Conflict(msg, code="attached-already", field="file")
    kept = Scan(transcription=mark, **asdict(given), added_at=clock.now(), added_by=actor)
    cleaned(kept).save(force_insert=True)
    ledger.write(actor=actor, action="scan of the paper kept", subject=kept)
    return kept


def _mark_of(run: Run) -> Transcription:
    if run.on_paper is None:
        msg = f"The readings of run {run} are not typed from paper."
        raise Conflict(msg, code="not-on-paper")
    return run.on_paper


def _paper(run: Run) -> PaperWork:
    paper = paper_of(run)
    if paper is None:
        msg = f"Run {run} has no paper."
        raise RuntimeError(msg)
    return paper


def _refuse_not_waiting(run: Run) -> None:
    if run.state != Run.State.WEIGHED:
        msg = f"Run {run} is {run.state}; it is compared with its paper once it is handed over."
        raise Conflict(msg)


def _refuse_typist(actor: User, run: Run) -> None:
    if actor.pk in typists_of(run):
        msg = f"You typed a part of run {run}. Somebody else compares it with the paper."
        raise NotAllowed(msg, code="second-person", field="agrees")
