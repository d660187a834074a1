"""Import of tables of runs or orders: a form for each origin, a look, then all or the sound.

The look through is the same work as taking in, rolled back, so that it cannot promise what the
other then refuses.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from django.db import IntegrityError, transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    ChainHead,
    LedgerEntry,
    Result,
    Run,
    RunImport,
    RunSieve,
    Sample,
    SheetForm,
    TestPortion,
    User,
    Weighing,
)
from gradation.policy import require
from gradation.queries.methods import released_procedure
from gradation.queries.run_imports import import_list
from gradation.services import clock, ledger, long_work
from gradation.services.bulk_rows import count_anew
from gradation.services.checking import cleaned_row, locked, unchanged
from gradation.services.file_scanner import refuse_malicious
from gradation.services.long_work import Progress
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_kinds import kind_of
from gradation.services.sheet_table import read_table

__all__ = [
    "add_table",
    "begin_look",
    "begin_take_in",
    "change_sheet_form",
    "do_work",
    "look_in_background",
    "look_through",
    "stop_import",
    "take_in",
    "take_in_background",
]

Way = RunImport.Way

_FORM_OF = ("form__customer", "form__material", "form__nest", "form__bench")
AT_ONCE = 200
FIRST_COUNTED = 2 * AT_ONCE
FAULTS_KEPT = 500
#: The tables that grow with an import, and that others refer to.
_FILLED = (Sample, TestPortion, Run, RunSieve, Weighing, Result, LedgerEntry, ChainHead)
#: Columns that tell how far an import is; the file beside them never changes.
_HOW_FAR = (
    *("state", "way", "said", "stop_asked", "beat_at", "ended_at"),
    *("rows_done", "rows_stored", "rows_faulty", "faults"),
)


def change_sheet_form(*, actor: User, form: SheetForm, version: int | None = None) -> SheetForm:
    """Keep how the tables of one origin are read, new or changed.

    Technicians and quality managers may. Refuses (`Invalid`) columns that mean the same, a missing
    column without which there is no run or order, a form of runs without its bench or nest, sizes
    that the nest has not, a material without released procedure. Ledger: sheet form kept.
    """
    kind = kind_of(form.kind)
    require(actor, kind.needs)
    before = None
    with transaction.atomic():
        if form.pk:
            present = locked(form)
            unchanged(present, version)
            before = ledger.snapshot(present)
            form.version = present.version + 1
        if faults := [*_gaps(form), *kind.faults(form)]:
            raise Invalid(faults)
        cleaned_row(form)
        ledger.write(actor=actor, action="sheet form kept", subject=form, before=before)
    return form


def _gaps(form: SheetForm) -> Iterator[Fault]:
    """Say what the form itself lacks."""
    for name in ("customer", "material", "bench", "nest"):
        if form.kind == SheetForm.Kind.RUNS and getattr(form, name) is None:
            yield Fault(name, f"A table of runs needs its {name}. Choose one.", "required")
    if form.material is not None and released_procedure(form.material) is None:
        msg = f"{form.material} has no released procedure. Choose another material."
        yield Fault("material", msg, "procedure-missing")


def add_table(*, actor: User, form: SheetForm, file: bytes, name: str) -> RunImport:
    """Give in a table of runs or orders; nothing is taken in yet.

    Technicians and quality managers may. Refuses (`Invalid`) what is no table or lacks a column of
    the form; refuses (`Conflict`) a file that was taken in before, naming when. Ledger: table
    given.
    """
    require(actor, kind_of(form.kind).needs)
    table = read_table(file, name)
    refuse_malicious(file)
    missing = [heading for heading in form.columns if heading not in table.headings]
    if missing:
        msg = f"{name} has no column {', '.join(missing)}, which {form} reads. Choose another form."
        raise Invalid.one("file", msg, code="columns-missing")
    digest = hashlib.sha256(file).hexdigest()
    with transaction.atomic():
        _refuse_known(digest)
        job = cleaned_row(
            RunImport(
                form=form,
                file_name=name[:160],
                file=file,
                file_digest=digest,
                rows_total=len(table.rows),
                given_at=clock.now(),
                given_by=actor,
            )
        )
        ledger.write(actor=actor, action="table given", subject=job)
    return job


def _refuse_known(digest: str) -> None:
    known = RunImport.objects.filter(file_digest=digest, state=RunImport.State.STORED).first()
    if known is not None:
        msg = f"This very file was taken in before, as {known}. Its rows are on record."
        raise Conflict(msg, code="file-known")


def stop_import(*, actor: User, job: RunImport) -> RunImport:
    """Ask an import under way to stop; it does at the next rows. Ledger: import stop asked."""
    require(actor, kind_of(job.form.kind).needs)
    with transaction.atomic():
        job = locked(job)
        if not job.is_busy:
            msg = f"{job} is {job.state}; there is nothing to stop."
            raise Conflict(msg)
        job.stop_asked = True
        job.save(update_fields=["stop_asked"])
        ledger.write(actor=actor, action="import stop asked", subject=job, after={"stop": True})
    Progress.ask_to_stop(job.work_name)
    return job


def look_through(*, actor: User, job: RunImport) -> RunImport:
    """Read every row and do all that taking it in would do, then roll it back.

    `begin_look` and `do_work` in one.
    """
    require(actor, kind_of(job.form.kind).needs)
    return do_work(actor=actor, job=begin_look(actor=actor, job=job))


def take_in(*, actor: User, job: RunImport, way: str) -> RunImport:
    """Take the rows in: all of them or none, or without the faulty rows.

    `begin_take_in` and `do_work` in one.
    """
    require(actor, kind_of(job.form.kind).needs)
    return do_work(actor=actor, job=begin_take_in(actor=actor, job=job, way=way))


def begin_look(*, actor: User, job: RunImport) -> RunImport:
    """Claim a table for looking it through; `do_work` does it.

    Technicians and quality managers may. Refuses (`Conflict`) while somebody's work on it is under
    way, and when it was taken in. Ledger: import begun.
    """
    require(actor, kind_of(job.form.kind).needs)
    with transaction.atomic():
        job = locked(job)
        _refuse_busy(job)
        _claim(job, RunImport.State.LOOKING, goes_on=False)
        ledger.write(actor=actor, action="import begun", subject=job, after=_how_far(job))
    return job


def begin_take_in(*, actor: User, job: RunImport, way: str) -> RunImport:
    """Claim a table for taking its rows in; `do_work` does it.

    Technicians and quality managers may, after a look through. Refuses (`Conflict`) as `begin_look`
    does, a table with faulty rows where all or nothing is asked for, and a file that was taken in
    meanwhile. Ledger: import begun.
    """
    require(actor, kind_of(job.form.kind).needs)
    with transaction.atomic():
        job = locked(job)
        _refuse_busy(job)
        goes_on = way == Way.SOUND and job.rows_stored > 0
        if not goes_on:
            _refuse_unlooked(job, way)
        _refuse_known(job.file_digest)
        job.way = way
        _claim(job, RunImport.State.STORING, goes_on=goes_on)
        ledger.write(actor=actor, action="import begun", subject=job, after=_how_far(job))
    return job


def look_in_background(*, actor: User, job: RunImport) -> RunImport:
    """Claim a table for looking it through, which goes on after the answer.

    Technicians and quality managers may; ask for the table to see how far it is. Refuses
    (`Conflict`) while somebody's work on it is under way, and when it was taken in. Ledger: import
    begun.
    """
    return _in_background(actor, begin_look(actor=actor, job=job))


def take_in_background(*, actor: User, job: RunImport, way: str) -> RunImport:
    """Claim a table for taking its rows in, which goes on after the answer.

    Technicians and quality managers may, after a look through; ask for the table to see how far it
    is. Refuses (`Conflict`) while somebody's work on it is under way, a table with faulty rows
    where all or nothing is asked for, and a file that was taken in meanwhile. Ledger: import begun.
    """
    return _in_background(actor, begin_take_in(actor=actor, job=job, way=way))


def _in_background(actor: User, job: RunImport) -> RunImport:
    def work() -> None:
        do_work(actor=actor, job=job)

    transaction.on_commit(lambda: long_work.begin(job.work_name, work))
    return job


def do_work(*, actor: User, job: RunImport) -> RunImport:
    """Do what was claimed, and write down how it ended.

    All or nothing is one transaction; leaving faulty rows out goes some rows at a time, and can be
    gone on with after a stop. Runs wait for review, orders for the bench. Ledger: one entry for
    each sample, portion and run; import looked through, taken in or stopped.
    """
    require(actor, kind_of(job.form.kind).needs)
    is_trial = job.state == RunImport.State.LOOKING
    ends_as = RunImport.State.LOOKED if is_trial else RunImport.State.STORED
    job = import_list().defer(None).select_related(*_FORM_OF).get(pk=job.pk)
    return _told(actor, job, _Work(actor, job, is_trial=is_trial), ends_as)


def _claim(job: RunImport, state: RunImport.State, *, goes_on: bool) -> None:
    Progress.forget(job.work_name)
    job.state, job.said, job.stop_asked = state, "", False
    job.beat_at = clock.now()
    if not goes_on:
        job.rows_done = job.rows_stored = job.rows_faulty = 0
        job.faults = []
    job.save(update_fields=_HOW_FAR)


def _refuse_busy(job: RunImport) -> None:
    if job.is_busy and not job.is_silent(clock.now()):
        msg = f"{job} is being worked on. Wait until it is done, or stop it."
        raise Conflict(msg, code="import-busy")
    if job.state == RunImport.State.STORED:
        msg = f"{job} was taken in. Its rows are on record."
        raise Conflict(msg, code="import-stored")


def _refuse_unlooked(job: RunImport, way: str) -> None:
    if way not in set(Way):
        msg = "Say whether faulty rows are left out, or nothing is taken in then."
        raise Invalid.one("way", msg, code="unknown-way")
    if job.state != RunImport.State.LOOKED:
        msg = f"{job} is {job.state}. Look it through first."
        raise Conflict(msg, code="not-looked-through")
    if way == Way.ALL and job.rows_faulty:
        rows = "1 row is" if job.rows_faulty == 1 else f"{job.rows_faulty} rows are"
        msg = (
            f"{rows} faulty, so nothing is taken in. Put it right in the file and give it in "
            "again, or leave the faulty rows out."
        )
        raise Conflict(msg, code="faulty-rows")


class _Stopped(Exception):
    """Somebody asked to stop, or a row was faulty where all or nothing was asked for."""


class _Work:
    """One pass over the rows of an import."""

    def __init__(self, actor: User, job: RunImport, *, is_trial: bool) -> None:
        self.job, self.is_trial = job, is_trial
        self.kind = kind_of(job.form.kind)
        self.keep = self.kind.storing(actor, job)
        self.table = read_table(bytes(job.file), job.file_name)
        self.faults: list[CellFault] = [CellFault(*fault) for fault in job.faults]
        self.done, self.stored, self.faulty = job.rows_done, job.rows_stored, job.rows_faulty
        self.next, self.counted_next = self.done, FIRST_COUNTED
        self.progress = Progress(job.work_name, self._keep, self._is_stop_asked)

    def do(self) -> None:
        """Go through the rows that are left, in the way that was asked for."""
        if self.job.way == Way.ALL and not self.is_trial:
            with transaction.atomic():
                for batch in self._batches():
                    self._store(batch)
                    self._count_anew()
                    if self.faulty:
                        msg = "A row turned faulty since it was looked through; nothing was kept."
                        raise _Stopped(msg)
        else:
            for batch in self._batches():
                self._store_sound(batch)

    def _batches(self) -> Iterator[list[Any]]:
        """Read the rows, some at a time; between them somebody may stop the work."""
        while lines := self.table.rows[self.done : self.done + AT_ONCE]:
            if self.progress.is_to_stop:
                msg = "It was stopped."
                raise _Stopped(msg)
            rows = []
            for number, cells in lines:
                row, faults = self.kind.read_row(self.job.form, self.table, number, cells)
                self._fault(faults)
                rows += [row] if row else []
            self.next = self.done + len(lines)
            yield rows
            self.done = self.next
            self.progress.tell(self.done)

    def _store_sound(self, rows: list[Any]) -> None:
        """Store some rows in a transaction of their own, without those that turn out faulty."""
        while rows:
            with transaction.atomic():
                faults = self.keep(rows)
                kept = bool(not faults and not self.is_trial)
                if kept:
                    self._count(len(rows))
                transaction.set_rollback(not kept)
            self._fault(faults)
            if not faults:
                self.stored += len(rows)
                return
            wrong = {fault.row for fault in faults}
            rows = [row for row in rows if row.number not in wrong]

    def _count(self, stored: int) -> None:
        """Keep in the same transaction how far it is, so that going on repeats nothing."""
        RunImport.objects.filter(pk=self.job.pk).update(
            rows_done=self.next, rows_stored=self.stored + stored
        )

    def _store(self, rows: list[Any]) -> None:
        if rows and not self.faulty:
            self._fault(self.keep(rows))
            self.stored += len(rows)

    def _count_anew(self) -> None:
        """Tell the database, each time the rows have doubled, how many there are."""
        if self.stored >= self.counted_next:
            count_anew(_FILLED)
            self.counted_next = 2 * self.stored

    def _fault(self, faults: Sequence[CellFault]) -> None:
        self.faulty += len({fault.row for fault in faults})
        self.faults += faults[: max(0, FAULTS_KEPT - len(self.faults))]

    def _keep(self, done: int) -> None:
        RunImport.objects.filter(pk=self.job.pk).update(
            rows_done=done, rows_faulty=self.faulty, beat_at=clock.now()
        )

    def _is_stop_asked(self) -> bool:
        return RunImport.objects.filter(pk=self.job.pk, stop_asked=True).exists()


def _told(actor: User, job: RunImport, work: _Work, state: RunImport.State) -> RunImport:
    """Do the work and write down how it ended."""
    said = ""
    try:
        work.do()
    except _Stopped as stopped:
        state, said = RunImport.State.STOPPED, str(stopped)
    except IntegrityError:
        state = RunImport.State.STOPPED
        said = "Somebody else wrote the same thing at that moment. Nothing of it was kept; go on."
    with transaction.atomic():
        job = locked(job)
        is_undone = state == RunImport.State.STOPPED and job.way == Way.ALL
        job.state, job.said = state, said
        job.rows_done, job.rows_faulty = work.done, work.faulty
        job.rows_stored = 0 if is_undone or work.is_trial else work.stored
        job.faults = [
            [fault.row, fault.column, fault.message]
            for fault in sorted(work.faults, key=lambda fault: fault.row)
        ]
        job.ended_at = job.beat_at = clock.now()
        job.save(update_fields=_HOW_FAR)
        action = _ENDS[state]
        ledger.write(actor=actor, action=action, subject=job, after=_how_far(job))
    return job


_ENDS = {
    RunImport.State.LOOKED: "import looked through",
    RunImport.State.STORED: "import taken in",
    RunImport.State.STOPPED: "import stopped",
}


def _how_far(job: RunImport) -> dict[str, Any]:
    """Say in a ledger entry what was done with a table, without every fault."""
    return {
        "state": str(job.state),
        "way": job.way,
        "said": job.said,
        "rows_total": job.rows_total,
        "rows_stored": job.rows_stored,
        "rows_faulty": job.rows_faulty,
        "file_digest": job.file_digest,
    }
