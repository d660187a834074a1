"""Runs typed from paper: scans, comparisons, and whether the last one covers what stands there."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from hashlib import sha256
from typing import Any

from django.db.models import F, Model, QuerySet

from gradation.errors import NotFound
from gradation.models import (
    DryingContainer,
    DryingMass,
    PaperComparison,
    Run,
    RunSieve,
    Scan,
    Shaking,
    Transcription,
    User,
    Weighing,
)
from gradation.policy import Action, may

__all__ = ["PICTURES", "PaperWork", "may_compare", "paper_of", "papers_of", "scan_of", "typists_of"]

#: Kinds of scans that a page can show beside the readings.
PICTURES = frozenset({"image/png", "image/jpeg"})

#: What is typed of each kind of row; by it a comparison knows what it was made with.
_OF_A_READING = (
    *("slot", "position", "increment", "revision", "entered_text", "mass_g", "gross_g", "tare_g"),
)
_OF_A_SHAKING = (
    *("number", "revision", "minutes", "amplitude_mm", "acceleration_g", "frequency_hz"),
    *("interval_s", "taps_per_min", "shaker_id", "began_at", "note"),
)
_OF_A_DRYING = ("drying_id", "number", "revision", "entered_text", "mass_g")
_OF_A_CONTAINER = ("drying_id", "revision", "mass_g")
_OF_A_PLACE = ("position", "sieve_id", "is_split", "is_relief")
_OF_A_RUN = (
    *("wash_agent", "soak_minutes", "guard_sieve_id", "wet_sieved", "aids", "shaking_minutes"),
    "climate",
)


@dataclass(frozen=True)
class PaperWork:
    """The paper behind a run, and how far it was compared with what was typed."""

    transcription: Transcription
    scans: tuple[Scan, ...]
    comparisons: tuple[PaperComparison, ...]
    digest: str
    """Of all that was typed and of the scans, as they stand."""

    @property
    def last(self) -> PaperComparison | None:
        """Give the newest comparison."""
        return self.comparisons[-1] if self.comparisons else None

    @property
    def is_current(self) -> bool:
        """Say whether the newest comparison was made with what stands there now."""
        return self.last is not None and self.last.compared_sha256 == self.digest

    @property
    def is_compared(self) -> bool:
        """Say whether a second person found all that stands there as it is on the paper."""
        return self.last is not None and self.last.agrees and self.is_current

    @property
    def open_sentence(self) -> str:
        """Say what stands against the run; '' once it was compared as it stands."""
        if self.is_compared:
            return ""
        day = self.transcription.performed_on
        typed = f"Typed from paper of {day.day} {day:%b %Y}"
        if self.last is None:
            return f"{typed}; nobody has compared it with the paper yet."
        if not self.is_current:
            return f"{typed}; it was changed after {self.last.made_by} compared it with the paper."
        return f"{typed}; {self.last.made_by} found it unlike the paper: {self.last.note}"


def paper_of(run: Run) -> PaperWork | None:
    """Give the paper behind a run; None where its readings are not typed from paper."""
    return papers_of([run]).get(run.pk)


def papers_of(runs: Sequence[Run]) -> dict[int, PaperWork]:
    """Give the paper behind runs by their keys, where there is any; constant queries."""
    marks = list(
        Transcription.objects.filter(run__in=runs).select_related(
            "run__portion", "performed_by", "made_by"
        )
    )
    if not marks:
        return {}
    keys = [mark.pk for mark in marks]
    scans = _by(_scans().filter(transcription__in=keys), "transcription_id")
    compared = _by(
        PaperComparison.objects.filter(transcription__in=keys).select_related("made_by"),
        "transcription_id",
    )
    typed = _typed([mark.run for mark in marks])
    return {
        mark.run_id: PaperWork(
            transcription=mark,
            scans=tuple(scans[mark.pk]),
            comparisons=tuple(compared[mark.pk]),
            digest=_digest(mark, typed[mark.run_id], scans[mark.pk]),
        )
        for mark in marks
    }


def _scans() -> QuerySet[Scan]:
    """List scans without their content, oldest first."""
    return Scan.objects.select_related("added_by").defer("file").order_by("id")


def scan_of(run: Run, pk: int) -> Scan:
    """Give one scan of a run with its content, or `NotFound`."""
    scan = Scan.objects.filter(transcription__run=run, pk=pk).first()
    if scan is None:
        msg = f"There is no such scan of run {run}. Open it from the page of the run."
        raise NotFound(msg)
    return scan


def typists_of(run: Run) -> set[int]:
    """Give the keys of all who typed the run's record: a comparison by one of them is none.

    Who opened it typed the sieves. Who only worked on paper may compare what others typed.
    """
    mark = run.on_paper
    typed = {*run.shakings.values_list("made_by_id", flat=True), run.technician_id}
    typed |= set(run.weighings.values_list("made_by_id", flat=True))
    return typed | ({mark.made_by_id} if mark else set())


def may_compare(actor: User, run: Run) -> bool:
    """Say whether this person can be the second one: handed over, and nothing typed by them."""
    return (
        run.state == Run.State.WEIGHED
        and may(actor, Action.COMPARE_WITH_PAPER)
        and actor.pk not in typists_of(run)
    )


#: What is typed of runs and of the drying of their portions, each kind with its columns.
_OF_RUNS: tuple[tuple[str, type[Model], Sequence[str]], ...] = (
    ("readings", Weighing, _OF_A_READING),
    ("shakings", Shaking, _OF_A_SHAKING),
    ("sieves", RunSieve, _OF_A_PLACE),
)
_OF_DRYINGS: tuple[tuple[str, type[Model], Sequence[str]], ...] = (
    ("dryings", DryingMass, _OF_A_DRYING),
    ("containers", DryingContainer, _OF_A_CONTAINER),
)
Typed = dict[str, list[list[object]]]


def _typed(runs: Sequence[Run]) -> dict[int, Typed]:
    """Read all that was typed of runs, each row as plain values; later revisions come after."""
    by_portion: dict[int, list[int]] = defaultdict(list)
    for run in runs:
        by_portion[run.portion_id].append(run.pk)
    found: dict[int, Typed] = {run.pk: {"run": [_values(run, _OF_A_RUN)]} for run in runs}
    for name, model, fields in _OF_RUNS:
        for key, rows in _by(model._default_manager.filter(run__in=runs), "run_id").items():
            found[key][name] = _rows(rows, fields)
    for name, model, fields in _OF_DRYINGS:
        dried = model._default_manager.filter(drying__portion__in=list(by_portion))
        for portion, rows in _by(dried.annotate(of=F("drying__portion")), "of").items():
            for key in by_portion[portion]:
                found[key][name] = _rows(rows, fields)
    return found


def _by(rows: Iterable[Any], name: str) -> Mapping[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return found


def _rows(rows: Iterable[Model], fields: Sequence[str]) -> list[list[object]]:
    return [_values(row, fields) for row in sorted(rows, key=lambda row: row.pk)]


def _values(row: Model, fields: Sequence[str]) -> list[object]:
    return [_plain(getattr(row, name)) for name in fields]


def _plain(value: object) -> object:
    """Write a value so that it reads the same before and after it was stored."""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value


def _digest(mark: Transcription, typed: Typed, scans: Iterable[Scan]) -> str:
    whole = {
        **typed,
        "paper": [mark.performed_on.isoformat(), mark.performed_by_id],
        "scans": sorted(scan.sha256 for scan in scans),
    }
    text = json.dumps(whole, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return sha256(text.encode()).hexdigest()
