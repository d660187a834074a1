"""The archive as a file: a table of contents and one member of rows for each table."""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

from gradation.errors import Conflict
from gradation.services.archive_rows import Sum

__all__ = ["FORM", "Manifest", "TableSum", "faults_of", "file_digest", "manifest_of", "rows_of"]

FORM = 1
_CONTENTS = "manifest.json"


@dataclass(frozen=True)
class TableSum:
    """A table's rows in the archive."""

    rows: int
    digest: str


@dataclass(frozen=True)
class Manifest:
    """What an archive says of itself."""

    form: int
    made_at: str
    database: str
    migrations: list[tuple[str, str]]
    tables: dict[str, TableSum] = field(default_factory=dict)
    sequences: dict[str, int] = field(default_factory=dict)
    chains: TableSum = field(default_factory=lambda: TableSum(0, ""))

    @property
    def rows(self) -> int:
        """Count the rows of all tables."""
        return sum(table.rows for table in self.tables.values())

    def to_json(self) -> str:
        """Write it down."""
        return json.dumps(asdict(self), indent=1, sort_keys=True)


def member_of(label: str) -> str:
    """Name the member that holds a table's rows."""
    return f"tables/{label}.jsonl"


def write_manifest(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    """Put the table of contents into an archive that is being written."""
    archive.writestr(_CONTENTS, manifest.to_json())


def manifest_of(path: Path) -> Manifest:
    """Read what an archive says of itself; refuses (`Conflict`) a file that is none."""
    try:
        with zipfile.ZipFile(path) as archive:
            said = json.loads(archive.read(_CONTENTS))
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        msg = f"{path} is no archive of Gradation, or is damaged: {error}"
        raise Conflict(msg, code="no-archive") from error
    if said["form"] != FORM:
        msg = f"{path} is of form {said['form']}; this program reads form {FORM}."
        raise Conflict(msg, code="other-form")
    said["migrations"] = [(app, name) for app, name in said["migrations"]]
    said["tables"] = {label: TableSum(**table) for label, table in said["tables"].items()}
    said["chains"] = TableSum(**said["chains"])
    return Manifest(**said)


def rows_of(path: Path, label: str) -> Iterator[bytes]:
    """Give the lines of a table in an archive."""
    with zipfile.ZipFile(path) as archive, archive.open(member_of(label)) as lines:
        yield from lines


def faults_of(path: Path, manifest: Manifest) -> list[str]:
    """Read a whole archive again and name each table that is not what the contents say."""
    faults = []
    for label, told in manifest.tables.items():
        found = Sum()
        try:
            for line in rows_of(path, label):
                found.add(line)
        except (OSError, KeyError, zipfile.BadZipFile, EOFError) as error:
            faults.append(f"{label}: {error}")
            continue
        if (found.rows, found.digest) != (told.rows, told.digest):
            faults.append(f"{label}: {found.rows} rows, {told.rows} expected, or other values")
    return faults


def file_digest(path: Path) -> str:
    """Give the SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def synced_into_place(draft: Path, path: Path) -> None:
    """Let a finished draft take its name once its bytes are on the disk."""
    with draft.open("rb") as file:
        os.fsync(file.fileno())
    draft.replace(path)
    directory = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)
