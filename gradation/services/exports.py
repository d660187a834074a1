"""Exports: tables of the records leave the house as files; each leaves an entry in the ledger."""

from __future__ import annotations

import base64
import hashlib
import tempfile
from dataclasses import dataclass
from typing import IO, Any

from django.db import transaction

from gradation.documents.table_files import MEDIA_TYPES, Heading, TooLong, write_table
from gradation.errors import Invalid
from gradation.models import Laboratory, User
from gradation.policy import Action, require
from gradation.queries.exports import Column, Wanted, columns_of, rows_of, table_named
from gradation.services import clock, ledger

__all__ = ["Exported", "export_records"]

#: Longer files wait on the disk until they are sent.
_IN_MEMORY = 1_000_000


@dataclass(frozen=True)
class Exported:
    """A finished file, at its beginning, with what the ledger says of it."""

    file: IO[bytes]
    name: str
    media_type: str
    rows: int
    sha256: str

    @property
    def repr_digest(self) -> str:
        """Give the digest as the header Repr-Digest writes it (RFC 9530)."""
        return f"sha-256=:{base64.b64encode(bytes.fromhex(self.sha256)).decode()}:"


def export_records(*, actor: User, table: str, form: str, wanted: Wanted) -> Exported:
    """Write a table of the records to a file, some rows at a time.

    Auditors and quality managers may. Refuses (`Invalid`) a table or form that there is not, a
    period that ends before it begins, and more rows than a workbook holds. Ledger: records
    exported, with the digest of the file and what it was narrowed to.
    """
    require(actor, Action.EXPORT_RECORDS)
    _refuse_form(form)
    chosen = table_named(table, wanted)
    columns = columns_of(chosen, actor, wanted)
    file = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 - the answer closes it
    rows = _written(file, form, columns, rows_of(chosen, columns, actor, wanted))
    digest = _digest(file)
    with transaction.atomic():
        after = {"table": table, "form": form, "rows": rows, "sha256": digest, **_told(wanted)}
        ledger.write(
            actor=actor, action="records exported", subject=Laboratory.objects.get(), after=after
        )
    name = f"{table}_{clock.today():%Y-%m-%d}.{form}"
    return Exported(file, name, MEDIA_TYPES[form], rows, digest)


def _refuse_form(form: str) -> None:
    if form not in MEDIA_TYPES:
        msg = f"There is no form {form}. Choose from: {', '.join(MEDIA_TYPES)}."
        raise Invalid.one("form", msg, code="unknown-form")


def _written(file: IO[bytes], form: str, columns: tuple[Column, ...], rows: Any) -> int:  # noqa: ANN401 - rows of any table
    try:
        return write_table(file, form, [_heading(column) for column in columns], rows)
    except TooLong as error:
        raise Invalid.one("form", str(error), code="too-long") from error


def _heading(column: Column) -> Heading:
    return Heading(column.name, column.meaning, column.unit, column.kind.value)


def _digest(file: IO[bytes]) -> str:
    file.seek(0)
    digest = hashlib.sha256()
    while piece := file.read(1 << 20):
        digest.update(piece)
    file.seek(0)
    return digest.hexdigest()


def _told(wanted: Wanted) -> dict[str, str]:
    told = {
        "since": wanted.since and wanted.since.isoformat(),
        "until": wanted.until and wanted.until.isoformat(),
        "material": wanted.material and wanted.material.name,
        "customer": wanted.customer and wanted.customer.name,
    }
    return {name: str(value) for name, value in told.items() if value}
