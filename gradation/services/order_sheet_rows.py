"""A table of orders from another system: what its columns may mean, and what one row says.

Nothing is written here. Every fault names its row as the spreadsheet counts it, and its column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from gradation.errors import Fault, Invalid
from gradation.models import Sample, SheetForm
from gradation.science.errors import GradationError
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_table import SheetTable, Told, day_of, grams_of, guessed, told

__all__ = ["MEANINGS", "OrderRow", "guess_columns", "meaning_faults", "read_row"]

#: What a column may mean.
MEANINGS = {
    "customer": "customer, by name",
    "material": "material, by name",
    "source": "source of the customer, by name",
    "customer_reference": "reference of the customer",
    "lot": "lot",
    "description": "description",
    "condition": "condition on receipt",
    "sampled_by": "sampled by: customer, laboratory or not stated",
    "sampler_name": "name of the sampler",
    "sampling_method": "how it was sampled",
    "sampled_on": "sampled on",
    "received_on": "received on",
    "mass_received": "mass as received",
    "storage_place": "place where it is kept",
    "due_on": "due on",
}
#: Headings that say by themselves what stands below them.
_HEADINGS = {
    "customer": ("customer", "client", "customer name"),
    "material": ("material", "product"),
    "source": ("source", "pit", "plant", "quarry"),
    "customer_reference": ("reference", "customer reference", "ref", "order", "order no"),
    "lot": ("lot", "batch"),
    "description": ("description", "remarks", "note", "notes"),
    "condition": ("condition", "condition on receipt"),
    "sampled_by": ("sampled by",),
    "sampler_name": ("sampler", "sampler name"),
    "sampling_method": ("sampling method", "method of sampling", "how sampled"),
    "sampled_on": ("sampled", "sampled on", "date sampled"),
    "received_on": ("received", "received on", "date received", "date"),
    "mass_received": ("mass", "mass as received", "mass received"),
    "storage_place": ("place", "storage place", "kept at"),
    "due_on": ("due", "due on", "due date", "needed by"),
}
_SAMPLERS = frozenset(each.value for each in Sample.SampledBy)


@dataclass(frozen=True)
class OrderRow:
    """One order as a row tells it: names to look up, words and days by the fields of a sample."""

    number: int
    headings: Mapping[str, str]
    names: Mapping[str, str]
    words: Mapping[str, str]
    days: Mapping[str, date | None]
    mass_received_g: Decimal | None


#: Taken as they stand.
_WORDS = (
    *("customer_reference", "lot", "description", "condition", "sampled_by"),
    *("sampler_name", "sampling_method", "storage_place"),
)


def guess_columns(headings: Sequence[str]) -> dict[str, str]:
    """Guess what columns mean from their headings; what cannot be guessed is left out."""
    return guessed(headings, _guess)


def _guess(words: str) -> str:
    return next((meaning for meaning, known in _HEADINGS.items() if words in known), "")


def meaning_faults(form: SheetForm) -> list[Fault]:
    """Say what is wrong with the meanings of a form's columns."""
    return [Fault("columns", fault, "columns") for fault in _meaning_faults(form)]


def _meaning_faults(form: SheetForm) -> Iterator[str]:
    meanings = [meaning for meaning in form.columns.values() if meaning]
    for meaning in sorted(set(meanings)):
        if meaning not in MEANINGS:
            yield f"{meaning} is nothing that a column can mean."
        elif meanings.count(meaning) > 1:
            yield f"Two columns mean {MEANINGS[meaning]}. Leave one of them out."
    for word, given in (("customer", form.customer), ("material", form.material)):
        if given is None and word not in meanings:
            yield f"No column means the {word}, and the form names none. Choose one of both."
    if not {"customer_reference", "lot"} & set(meanings):
        yield "No column names the order: the customer's reference or a lot."


def read_row(
    form: SheetForm, table: SheetTable, number: int, cells: Sequence[str]
) -> tuple[OrderRow | None, list[CellFault]]:
    """Read one row by a form; with any fault there is no order."""
    row = told(form, table, cells)
    faults: list[CellFault] = []
    days = {name: day_of(name, number, row, faults) for name in _DAYS}
    words = {name: row[name][1] for name in _WORDS if name in row and row[name][1]}
    names = {name: row.get(name, ("", ""))[1] for name in _NAMES}
    mass_g = _mass(form, number, row, faults)
    if not (words.get("customer_reference") or words.get("lot")):
        faults.append(CellFault(number, "", "Nothing in the row names the order."))
    if words.get("sampled_by", "customer") not in _SAMPLERS:
        msg = f"{words['sampled_by']!r} is none of: {', '.join(sorted(_SAMPLERS))}."
        faults.append(CellFault(number, row["sampled_by"][0], msg))
    if faults:
        return None, faults
    headings = {meaning: heading for meaning, (heading, _) in row.items()}
    return OrderRow(number, headings, names, words, days, mass_g), []


_DAYS = ("sampled_on", "received_on", "due_on")
_NAMES = ("customer", "material", "source")


def _mass(form: SheetForm, number: int, row: Told, faults: list[CellFault]) -> Decimal | None:
    heading, cell = row.get("mass_received", ("", ""))
    if not cell:
        return None
    try:
        return grams_of(form, cell)
    except (GradationError, Invalid) as error:
        faults.append(CellFault(number, heading, str(error)))
        return None
