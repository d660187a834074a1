"""An archive is written from one moment, read again, and only then takes its name."""

from __future__ import annotations

import zipfile
from pathlib import Path

from django.db import connections, models

from gradation.errors import Conflict
from gradation.services import archive_file, clock
from gradation.services.archive_file import FORM, Manifest, TableSum, member_of
from gradation.services.archive_rows import Sum, applied_migrations, lines_of, models_at
from gradation.services.archive_sequences import read_sequences
from gradation.services.archive_snapshot import snapshot

__all__ = ["HEADS", "write_archive"]

HEADS = "gradation.ChainHead"


def write_archive(path: Path) -> Manifest:
    """Write one archive of a running laboratory, whatever the age of its tables.

    Refuses (`Conflict`) a name that exists and an archive that does not read as it was written.
    """
    if path.exists():
        msg = f"{path} exists. An archive is never overwritten: choose another name."
        raise Conflict(msg, code="archive-exists")
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.draft")
    try:
        manifest = _written(draft)
        faults = archive_file.faults_of(draft, manifest)
        if faults:
            msg = f"The archive does not read as it was written: {'; '.join(faults[:3])}"
            raise Conflict(msg, code="archive-damaged")
        archive_file.synced_into_place(draft, path)
    finally:
        draft.unlink(missing_ok=True)
    return manifest


def _written(draft: Path) -> Manifest:
    with (
        snapshot() as alias,
        _new_archive(draft) as archive,
    ):
        migrations = applied_migrations(alias)
        tables = models_at(migrations, alias)
        sums = {label: _put(archive, label, model, alias) for label, model in tables.items()}
        manifest = Manifest(
            form=FORM,
            made_at=clock.now().isoformat(),
            database=connections[alias].vendor,
            migrations=migrations,
            tables=sums,
            sequences=read_sequences(tables.values(), alias),
            chains=sums.get(HEADS, TableSum(0, "")),
        )
        archive_file.write_manifest(archive, manifest)
    return manifest


def _new_archive(draft: Path) -> zipfile.ZipFile:
    return zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED, compresslevel=5)


def _put(archive: zipfile.ZipFile, label: str, model: type[models.Model], alias: str) -> TableSum:
    found = Sum()
    with archive.open(member_of(label), "w", force_zip64=True) as member:
        for line in lines_of(model, alias):
            found.add(line)
            member.write(line)
    return TableSum(found.rows, found.digest)
