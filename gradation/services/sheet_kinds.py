"""What a table may hold: for each kind what its columns mean, how a row is read, how it is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gradation.errors import Fault
from gradation.models import RunImport, SheetForm, User
from gradation.policy import Action
from gradation.services import order_sheet_rows, run_sheet_rows
from gradation.services.order_storing import OrderStoring
from gradation.services.run_import_storing import Storing, store_rows
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_table import SheetTable

__all__ = ["SheetKind", "kind_of"]

#: Keeps some rows in the caller's transaction; gives faults, after which the caller rolls back.
Store = Callable[[Sequence[Any]], list[CellFault]]


@dataclass(frozen=True)
class SheetKind:
    """How the tables of one kind are read and kept."""

    needs: Action
    meanings: Mapping[str, str]
    guess: Callable[[Sequence[str]], dict[str, str]]
    faults: Callable[[SheetForm], list[Fault]]
    read_row: Callable[
        [SheetForm, SheetTable, int, Sequence[str]], tuple[Any | None, list[CellFault]]
    ]
    storing: Callable[[User, RunImport], Store]


def _runs_kept(actor: User, job: RunImport) -> Store:
    storing = Storing.of(actor, job)
    return lambda rows: store_rows(storing, rows)


_KINDS = {
    SheetForm.Kind.RUNS: SheetKind(
        Action.IMPORT_RUNS,
        run_sheet_rows.MEANINGS,
        run_sheet_rows.guess_columns,
        run_sheet_rows.meaning_faults,
        run_sheet_rows.read_row,
        _runs_kept,
    ),
    SheetForm.Kind.ORDERS: SheetKind(
        Action.LOG_SAMPLE,
        order_sheet_rows.MEANINGS,
        order_sheet_rows.guess_columns,
        order_sheet_rows.meaning_faults,
        order_sheet_rows.read_row,
        lambda actor, job: OrderStoring(actor, job).store,
    ),
}


def kind_of(word: str) -> SheetKind:
    """Give a kind by its word."""
    return _KINDS[SheetForm.Kind(word)]
