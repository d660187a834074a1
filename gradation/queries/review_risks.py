"""What a reviewer should look at before answering for a run: one list of risks, many runs at once.

Read from what was frozen when the run was opened and handed over, so that a queue of any length
costs the same few queries.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db.models import Min

from gradation.models import (
    LedgerEntry,
    Result,
    Run,
    RunCheckAnswer,
    RunCheckFinding,
    Severity,
    Stage,
    Weighing,
)
from gradation.queries.paper import papers_of

__all__ = ["FAILED_SIGNING", "Risk", "RiskKind", "refused_signatures", "risks_of"]

#: How the ledger names a signature that was refused.
FAILED_SIGNING = "signature refused"
_SHOWN_DAYS = 30
_MOST_SHOWN = 50


class RiskKind(StrEnum):
    """Why a run deserves a look, gravest first."""

    STOP = "stop lifted"
    AFTER_RESULT = "corrected after the result was known"
    EQUIPMENT = "equipment"
    FINGERPRINT = "looks like a mistake"
    HISTORY = "unlike its material's history"
    PAPER = "not compared with its paper"
    LATE = "entered late"
    DEVIATION = "deviation"
    REPEAT = "repeated"
    RETURNED = "returned before"
    CORRECTION = "corrected at the bench"
    FLAG = "flag"


_BY_CODE = {
    "equipment-unfit": RiskKind.EQUIPMENT,
    "balance-unfit": RiskKind.EQUIPMENT,
    "tare-drift": RiskKind.EQUIPMENT,
    "wrong-sieve": RiskKind.EQUIPMENT,
    "zero-or-kink": RiskKind.FINGERPRINT,
    "unlike-history": RiskKind.HISTORY,
    "impossible-time": RiskKind.LATE,
}
#: A mere note under these codes tells of how the laboratory keeps its files, not of the run.
_OF_THE_LABORATORY = frozenset({"not-competent"})
_ORDER = {kind: place for place, kind in enumerate(RiskKind)}


@dataclass(frozen=True)
class Risk:
    """One thing to look at, with what the bench said of it."""

    kind: RiskKind
    sentence: str
    said: str = ""


Found = Iterator[tuple[int, Risk]]


def risks_of(runs: Sequence[Run]) -> dict[int, tuple[Risk, ...]]:
    """Give the risks of runs by their keys, gravest first; a clean run has none.

    The runs come with portion and sample. The number of queries does not grow with them.
    """
    found: dict[int, list[Risk]] = defaultdict(list)
    for source in (_findings, _corrections, _paper, _deviations, _repeats, _told):
        for key, risk in source(runs):
            found[key].append(risk)
    return {
        run.pk: tuple(sorted(found[run.pk], key=lambda risk: _ORDER[risk.kind])) for run in runs
    }


def _findings(runs: Sequence[Run]) -> Found:
    """Give what the checks wrote down at the opening and at the last hand-over."""
    handed_over = {run.pk: run.weighed_at for run in runs}
    answers = {
        (row.run_id, row.code, row.place, row.sentence): row
        for row in RunCheckAnswer.objects.filter(run__in=runs).order_by("id")
    }
    told: set[tuple[int, str, str, str]] = set()
    for row in RunCheckFinding.objects.filter(run__in=runs).order_by("id"):
        key = (row.run_id, row.code, row.place, row.sentence)
        if _is_beside(row, handed_over[row.run_id]) or key in told:
            continue
        told.add(key)
        answer = answers.get(key)
        kind = _BY_CODE.get(row.code, RiskKind.FLAG)
        if row.severity == Severity.STOP:
            kind = RiskKind.STOP
        yield row.run_id, Risk(kind, row.sentence, answer.reason if answer else "")


def _is_beside(row: RunCheckFinding, handed_over: datetime | None) -> bool:
    """Say whether a finding is of a hand-over before the last one, or not of the run at all."""
    if row.severity == Severity.NOTE and row.code in _OF_THE_LABORATORY:
        return True
    return row.stage == Stage.HAND_OVER and handed_over is not None and row.found_at < handed_over


def _corrections(runs: Sequence[Run]) -> Found:
    known = dict(
        Result.objects.filter(run__in=runs)
        .order_by()
        .values_list("run_id")
        .annotate(Min("computed_at"))
    )
    rows = (
        Weighing.objects.filter(run__in=runs, revision__gt=1)
        .select_related("made_by")
        .order_by("id")
    )
    for row in rows:
        first = known.get(row.run_id)
        is_after = first is not None and row.made_at >= first
        kind = RiskKind.AFTER_RESULT if is_after else RiskKind.CORRECTION
        words = f"{row}, corrected by {row.made_by}"
        yield row.run_id, Risk(kind, words, row.reason)


def _paper(runs: Sequence[Run]) -> Found:
    """Name runs typed from paper that no second person has compared with it as they stand."""
    for key, paper in papers_of(runs).items():
        if not paper.is_compared:
            yield key, Risk(RiskKind.PAPER, paper.open_sentence, paper.transcription.reason)


def _deviations(runs: Sequence[Run]) -> Found:
    for run in runs:
        for line in run.deviations.splitlines():
            if line.strip():
                yield run.pk, Risk(RiskKind.DEVIATION, line.strip())


def _repeats(runs: Sequence[Run]) -> Found:
    """Name runs of the same portion that were made invalid: this one repeats them."""
    rows = Run.objects.filter(
        portion__in=[run.portion_id for run in runs], state=Run.State.INVALID
    ).select_related("portion")
    for row in rows:
        for run in runs:
            if run.portion_id == row.portion_id and run.pk != row.pk:
                words = f"{row.portion} was run before; that run was made invalid"
                yield run.pk, Risk(RiskKind.REPEAT, words, row.state_reason)


def _told(runs: Sequence[Run]) -> Found:
    """Read from the ledger what the row no longer says: that it was returned before."""
    keys = [run.pk for run in runs]
    rows = LedgerEntry.objects.filter(
        subject_type="run", subject_id__in=keys, action="run returned"
    ).order_by("id")
    for row in rows:
        yield row.subject_id, Risk(RiskKind.RETURNED, f"Returned by {row.actor_name}", row.reason)


def refused_signatures(now: datetime) -> list[LedgerEntry]:
    """List the signatures that were refused lately, newest first: whose, when, what did not fit."""
    since = now - timedelta(days=_SHOWN_DAYS)
    rows = LedgerEntry.objects.filter(action=FAILED_SIGNING, at__gte=since)
    return list(rows.order_by("-id")[:_MOST_SHOWN])
