"""A table of runs recorded elsewhere: what its columns may mean, and what one row of it says.

Nothing is written here. Every fault names its row as the spreadsheet counts it, and its column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from gradation.errors import Fault, Invalid
from gradation.models import SheetForm, Weighing
from gradation.science.apertures import designation, parse_aperture
from gradation.science.errors import GradationError
from gradation.services.sheet_faults import CellFault
from gradation.services.sheet_table import SheetTable, Told, day_of, grams_of, guessed, told

__all__ = [
    "FRACTION",
    "MEANINGS",
    "RunRow",
    "guess_columns",
    "meaning_faults",
    "read_row",
]

Slot = Weighing.Slot

#: What a column may mean, beside `fraction:` with an aperture in micrometres.
MEANINGS = {
    "sample": "sample number of this laboratory",
    "reference": "reference of the customer",
    "lot": "lot",
    "received_on": "received on",
    "tested_on": "tested on",
    "recorded_by": "recorded by",
    "dry_mass": "dry mass of the portion",
    "washed_dry_mass": "dry mass after washing",
    "pan": "pan",
    "deviations": "deviations",
}
FRACTION = "fraction:"
_MASSES = {
    "dry_mass": Slot.DRY_MASS,
    "washed_dry_mass": Slot.WASHED_DRY_MASS,
    "pan": Slot.PAN,
}
#: Headings that say by themselves what stands below them.
_HEADINGS = {
    "sample": ("sample", "sample no", "sample number"),
    "reference": ("reference", "customer reference", "ref"),
    "lot": ("lot", "batch"),
    "received_on": ("received", "received on", "date received"),
    "tested_on": ("tested", "tested on", "date", "date tested"),
    "recorded_by": ("technician", "recorded by", "tested by", "operator"),
    "dry_mass": ("dry mass", "dry mass g", "total mass", "mass"),
    "washed_dry_mass": ("dry mass after washing", "washed dry mass", "after washing"),
    "pan": ("pan", "receiver"),
    "deviations": ("deviations", "remarks", "note", "notes"),
}


@dataclass(frozen=True)
class Mass:
    """One mass of a row: what it is of, how it was written, and in grams."""

    slot: str
    aperture_um: Decimal | None
    text: str
    mass_g: Decimal


@dataclass(frozen=True)
class RunRow:
    """One run as a row tells it."""

    number: int
    sample: str
    reference: str
    lot: str
    received_on: date
    tested_on: date
    recorded_by: str
    deviations: str
    masses: tuple[Mass, ...]


def guess_columns(headings: Sequence[str]) -> dict[str, str]:
    """Guess what columns mean from their headings; what cannot be guessed is left out."""
    return guessed(headings, _guess)


def _guess(words: str) -> str:
    for meaning, known in _HEADINGS.items():
        if words in known:
            return meaning
    try:
        return f"{FRACTION}{parse_aperture(words).normalize():f}"
    except GradationError:
        return ""


def meaning_faults(form: SheetForm) -> list[Fault]:
    """Say what is wrong with the meanings of a form's columns."""
    faults = []
    meanings = [meaning for meaning in form.columns.values() if meaning]
    for meaning in sorted(set(meanings)):
        if meanings.count(meaning) > 1:
            faults.append(f"Two columns mean {_said(meaning)}. Leave one of them out.")
        if meaning not in MEANINGS and not meaning.startswith(FRACTION):
            faults.append(f"{meaning} is nothing that a column can mean.")
    faults += [
        f"No column means {MEANINGS[needed]}; it is needed."
        for needed in ("tested_on", "dry_mass", "pan")
        if needed not in meanings
    ]
    if not {"sample", "reference", "lot"} & set(meanings):
        faults.append("No column names the sample: its number, the customer's reference or a lot.")
    return [Fault("columns", fault, "columns") for fault in [*faults, *_nest_faults(form)]]


def _nest_faults(form: SheetForm) -> Iterator[str]:
    """Compare the sizes of the columns with those of the nest."""
    columns = set(_sizes(form.columns))
    if form.nest is None:
        yield "Say which nest was used."
        return
    standing = {place.sieve.aperture_um for place in form.nest.places.select_related("sieve")}
    for size in sorted(columns - standing, reverse=True):
        yield f"{form.nest} has no sieve of {designation(size)}. Choose the nest that was used."
    for size in sorted(standing - columns, reverse=True):
        yield f"No column holds the fraction on {designation(size)}, a sieve of {form.nest}."


def _sizes(columns: Mapping[str, str]) -> Iterator[Decimal]:
    for meaning in columns.values():
        if meaning.startswith(FRACTION):
            yield Decimal(meaning.removeprefix(FRACTION))


def _said(meaning: str) -> str:
    if meaning.startswith(FRACTION):
        return f"the fraction on {designation(Decimal(meaning.removeprefix(FRACTION)))}"
    return MEANINGS.get(meaning, meaning)


def read_row(
    form: SheetForm, table: SheetTable, number: int, cells: Sequence[str]
) -> tuple[RunRow | None, list[CellFault]]:
    """Read one row by a form; with any fault there is no run."""
    row = told(form, table, cells)
    faults: list[CellFault] = []
    masses = tuple(_masses(form, number, row, faults))
    tested_on = day_of("tested_on", number, row, faults)
    if not row.get("tested_on", ("", ""))[1]:
        heading = row.get("tested_on", ("", ""))[0]
        faults.append(CellFault(number, heading, "The day of the test is missing."))
    received_on = day_of("received_on", number, row, faults) or tested_on
    if tested_on and received_on and tested_on < received_on:
        msg = f"Tested on {tested_on}, before it was received on {received_on}."
        faults.append(CellFault(number, row["tested_on"][0], msg))
    names = {name: row.get(name, ("", ""))[1] for name in _NAMES}
    if not (names["sample"] or names["reference"] or names["lot"]):
        faults.append(CellFault(number, "", "Nothing in the row names the sample."))
    if faults or tested_on is None or received_on is None:
        return None, faults
    return (
        RunRow(number=number, received_on=received_on, tested_on=tested_on, masses=masses, **names),
        [],
    )


_NAMES = ("sample", "reference", "lot", "recorded_by", "deviations")


def _masses(form: SheetForm, number: int, row: Told, faults: list[CellFault]) -> Iterator[Mass]:
    for meaning, (heading, cell) in row.items():
        if meaning not in _MASSES and not meaning.startswith(FRACTION):
            continue
        aperture_um = None
        slot = _MASSES.get(meaning, Slot.FRACTION)
        if meaning.startswith(FRACTION):
            aperture_um = Decimal(meaning.removeprefix(FRACTION))
        if not cell:
            msg = "The cell is empty. Write 0 where nothing was found."
            faults.append(CellFault(number, heading, msg))
            continue
        try:
            mass_g = grams_of(form, cell)
        except (GradationError, Invalid) as error:
            faults.append(CellFault(number, heading, str(error)))
        else:
            yield Mass(slot.value, aperture_um, cell, mass_g)
