"""Import: the sieve file that a laboratory already keeps comes in, all of it or nothing."""

from __future__ import annotations

from dataclasses import replace

from django.db import transaction

from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.policy import Action, require
from gradation.services import ledger, upkeep
from gradation.services.sieve_sheet import COLUMNS, CellFault, ImportReport, SieveRow, read_sieves

__all__ = ["COLUMNS", "CellFault", "ImportReport", "SieveRow", "import_sieves", "read_sieves"]


def import_sieves(*, actor: User, file: bytes, name: str, dry_run: bool) -> ImportReport:
    """Register every sieve of a CSV or XLSX file; with `dry_run` only say what would happen.

    Equipment keepers may. A dry run names every fault by row and column and changes nothing.
    Refuses (`Invalid`) a file with any fault, so that half a file is never on record. Ledger: sieve
    registered, for each, with the file's name.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        report = read_sieves(file, name)
        if dry_run:
            return report
        if report.faults:
            raise Invalid(
                Fault(f"row {fault.row}, {fault.column}", fault.message, "import-fault")
                for fault in report.faults
            )
        for row in report.rows:
            sieve = upkeep.register_sieve(actor=actor, sieve=row.sieve)
            ledger.write(
                actor=actor,
                action="sieve imported",
                subject=sieve,
                after={"file": name[:160], "row": row.row},
            )
    return replace(report, registered=len(report.rows))
