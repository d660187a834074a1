"""Backup and restore: one archive of everything kept, verified when made and when taken back."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from django.core.management import call_command
from django.db import connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import OperationalError, ProgrammingError

from gradation.errors import Conflict
from gradation.migrations._guards import OF_A_CERTIFICATE
from gradation.models import Maintenance, User
from gradation.policy import Action, require
from gradation.queries.verification import Progress, Scope, verify
from gradation.services import archive_file
from gradation.services.archive_file import Manifest
from gradation.services.archive_rows import BATCH, Sum, inserted, lines_of, models_at
from gradation.services.archive_sequences import behind, set_sequences
from gradation.services.archive_writing import HEADS, write_archive
from gradation.services.maintenance import note_maintenance
from gradation.services.people import system_account

__all__ = ["Restored", "make_backup", "restore_backup"]

#: Tables that are never empty in a laboratory at work.
_OCCUPIED = ("gradation_user", "gradation_ledgerentry", "gradation_sample")
Tables = dict[str, type[models.Model]]


@dataclass(frozen=True)
class Restored:
    """What came back."""

    manifest: Manifest
    sha256: str


def make_backup(*, actor: User, path: Path) -> Maintenance:
    """Write one archive of a running laboratory and read it again before it takes its name.

    Quality managers may, and the system account for a timer. Sessions are left out; keys are not in
    the database. Refuses (`Conflict`) a name that exists and an archive that reads otherwise than
    it was written. Ledger: backup done, with the archive's digest.
    """
    require(actor, Action.KEEP_INSTALLATION)
    return _noted(actor, Maintenance.Kind.BACKUP, path, write_archive(path))


def _noted(actor: User, kind: Maintenance.Kind, path: Path, manifest: Manifest) -> Maintenance:
    done = Maintenance(
        kind=kind.value,
        archive=path.name[:240],
        archive_sha256=archive_file.file_digest(path),
        rows=manifest.rows,
        told=f"{len(manifest.tables)} tables, {manifest.chains.rows} chains",
    )
    with transaction.atomic():
        return note_maintenance(actor=actor, done=done)


def restore_backup(
    *, actor: User | None = None, path: Path, told: Progress = lambda *_: None
) -> Restored:
    """Take an archive into an empty database of either kind, all of it or nothing.

    Whoever may run the server may; nobody can be asked in an empty database. Refuses (`Conflict`)
    a database in which anything was written, an archive that is damaged or of a newer program. What
    came back is read again and compared row by row with what the archive says: counts, values, ends
    of chains, counters of keys; nothing is restored when they differ. Then the records are proven
    as `verify_records` does it. Refuses (`Conflict`) to call them sound when something does not
    hold: it stays as it was archived, to be looked into. Ledger: restore done.
    """
    manifest = archive_file.manifest_of(path)
    faults = archive_file.faults_of(path, manifest)
    if faults:
        msg = f"The archive is damaged: {'; '.join(faults[:3])}. Take an older one."
        raise Conflict(msg, code="archive-damaged")
    _refuse_occupied()
    tables = _tables_made(manifest)
    with transaction.atomic():
        _emptied(tables)
        # Parts of certificates come first: a guard lets nothing be added to what was issued.
        for label, model in sorted(tables.items(), key=lambda item: not _is_guarded_part(item[1])):
            _taken_back(path, label, model)
        set_sequences(tables.values(), manifest.sequences, "default")
        _refuse_unlike(tables, manifest)
    call_command("migrate", interactive=False, verbosity=0)
    actor = actor or system_account()
    require(actor, Action.KEEP_INSTALLATION)
    done = _noted(actor, Maintenance.Kind.RESTORE, path, manifest)
    _refuse_unproven(told)
    return Restored(manifest, done.archive_sha256)


def _refuse_occupied() -> None:
    there = set(connection.introspection.table_names())
    for table in _OCCUPIED:
        if table in there and _has_rows(table):
            msg = (
                f"This database is not empty: {table} has rows. Restore into an empty one; nothing "
                "was changed."
            )
            raise Conflict(msg, code="not-empty")


def _has_rows(table: str) -> bool:
    quoted = connection.ops.quote_name(table)
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT 1 FROM {quoted} LIMIT 1")  # noqa: S608 - one of our own tables
            return cursor.fetchone() is not None
    except (OperationalError, ProgrammingError):
        return False


def _tables_made(manifest: Manifest) -> Tables:
    """Make the tables as they were when the archive was made."""
    executor = MigrationExecutor(connection)
    strange = [node for node in manifest.migrations if node not in executor.loader.graph.nodes]
    if strange:
        msg = f"The archive is of a newer program ({strange[0][1]}). Install that one first."
        raise Conflict(msg, code="newer-archive")
    ahead = set(executor.loader.applied_migrations) - set(manifest.migrations)
    if ahead:
        msg = "The tables here are newer than the archive. Give it a database without tables."
        raise Conflict(msg, code="newer-tables")
    executor.migrate(_newest(executor, set(manifest.migrations)))
    return models_at(manifest.migrations, "default")


def _is_guarded_part(model: type[models.Model]) -> bool:
    return model._meta.db_table in OF_A_CERTIFICATE


def _newest(executor: MigrationExecutor, migrations: set[tuple[str, str]]) -> list[tuple[str, str]]:
    """Leave out the migrations that another one of the same app follows."""
    graph = executor.loader.graph
    return sorted(
        node
        for node in migrations
        if not any(
            child.key in migrations and child.key[0] == node[0]
            for child in graph.node_map[node].children
        )
    )


def _emptied(tables: Tables) -> None:
    """Take out what the migrations themselves entered; nobody has worked here."""
    with connection.cursor() as cursor:
        for model in tables.values():
            quoted = connection.ops.quote_name(model._meta.db_table)
            cursor.execute(f"DELETE FROM {quoted}")  # noqa: S608 - one of our own tables


def _taken_back(path: Path, label: str, model: type[models.Model]) -> None:
    for batch in _batches(archive_file.rows_of(path, label)):
        inserted(model, batch, "default")


def _batches(lines: Iterable[bytes]) -> Iterable[list[bytes]]:
    waiting = iter(lines)
    while batch := list(itertools.islice(waiting, BATCH)):
        yield batch


def _refuse_unlike(tables: Tables, manifest: Manifest) -> None:
    """Compare what is in the database now with what the archive says; refuse any difference."""
    faults = []
    for label, model in tables.items():
        found = Sum()
        for line in lines_of(model, "default"):
            found.add(line)
        told = manifest.tables[label]
        if (found.rows, found.digest) != (told.rows, told.digest):
            faults.append(f"{label}: {found.rows} rows of {told.rows}, or other values")
    faults += [
        f"{label}: its counter of keys is behind" for label in behind(tables.values(), "default")
    ]
    faults += _open_chains(tables)
    if faults:
        msg = f"What came back is not what was kept: {'; '.join(faults[:3])}. Nothing was restored."
        raise Conflict(msg, code="restore-unlike")


def _refuse_unproven(told: Progress) -> None:
    """Prove what came back; a certificate whose file was still to be made is no fault."""
    broken = [each for each in verify(Scope(), told) if each.proof != "unfinished"]
    if broken:
        msg = (
            "Every row came back as it was archived, but the records do not hold: "
            f"{'; '.join(str(each) for each in broken[:3])} ({len(broken)} in all). They did not "
            "hold when they were archived either. Do not work with this copy; run verify_records "
            "here and where the archive was made."
        )
        raise Conflict(msg, code="restored-not-sound")


def _open_chains(tables: Tables) -> list[str]:
    """Name the chains whose newest entry is not the one that their head names."""
    entries, heads = tables["gradation.LedgerEntry"], tables[HEADS]
    ends = {
        chain: (sequence, digest)
        for chain, sequence, digest in entries._base_manager.order_by("chain", "sequence")
        .values_list("chain", "sequence", "digest")
        .iterator()
    }
    rows = heads._base_manager.exclude(sequence=0).values_list("chain", "sequence", "digest")
    told = {chain: (sequence, digest) for chain, sequence, digest in rows}
    chains = sorted(ends.keys() | told.keys())
    return [f"chain {chain}" for chain in chains if ends.get(chain) != told.get(chain)]
