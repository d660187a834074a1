"""A procedure as it comes from the library or another system: read, nothing written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import models

from gradation.errors import Fault, Invalid
from gradation.models import ProcedureAperture, ProcedureVersion
from gradation.science.apertures import parse_aperture
from gradation.science.errors import GradationError
from gradation.science.procedure_library import LibraryProcedure
from gradation.science.quantities import parse_decimal
from gradation.services.checking import shortened
from gradation.services.methods import CHANGEABLE

__all__ = ["ReadProcedure", "from_library", "nest_of", "read_procedure"]

MOST_SIZES = 60
Value = Decimal | int | bool | str | None
_NAMED = ("code", "title")
_PLACE = {"size", "optional", "split", "odd_size"}
_COLUMNS = {column.name: column for column in ProcedureVersion._meta.concrete_fields}


@dataclass(frozen=True)
class ReadProcedure:
    """What was sent: the procedure's own words, the version's fields, its sieve sizes."""

    named: dict[str, str]
    fields: dict[str, Any]
    places: list[ProcedureAperture] = field(default_factory=list)


def nest_of(*apertures_um: Decimal | int) -> list[ProcedureAperture]:
    """Give the places of a nest in which no size is optional and nothing is reduced."""
    return [ProcedureAperture(aperture_um=Decimal(size)) for size in apertures_um]


def from_library(kept: LibraryProcedure) -> ReadProcedure:
    """Give what a draft from the library holds, with a note of what is to be confirmed."""
    fields = {name: _value(name, figure.value) for name, figure in kept.figures.items()}
    fields["unconfirmed_note"] = _note(kept)
    optional, split = set(kept.optional_um), set(kept.split_um)
    places = [
        ProcedureAperture(aperture_um=size, is_optional=size in optional, is_split=size in split)
        for size in kept.apertures_um
    ]
    return ReadProcedure({"title": kept.title}, {**fields, "library_key": kept.key}, places)


def _note(kept: LibraryProcedure) -> str:
    if not kept.to_confirm:
        return ""
    text = (
        f"{kept.to_confirm} of {len(kept.every_figure)} figures from the library were not seen in "
        "two places; each is marked on the page. Confirm them against your own edition."
    )
    return shortened(text, 240)


def read_procedure(data: Mapping[str, object]) -> ReadProcedure:
    """Read a draft as another system sends it; every fault is named with its place (`Invalid`)."""
    named = {name: str(data.get(name) or "").strip() for name in _NAMED}
    faults: list[Fault] = []
    fields: dict[str, Any] = {}
    for name, value in data.items():
        if name in {*_NAMED, "apertures"}:
            continue
        try:
            fields[name] = _sent(name, value)
        except (ValueError, GradationError) as error:
            faults.append(Fault(name, str(error), "unreadable"))
    places = list(_places(data.get("apertures"), faults))
    if faults:
        raise Invalid(faults)
    return ReadProcedure(named, fields, places)


def _sent(name: str, value: object) -> Value:
    if name not in {*CHANGEABLE, "library_key"}:
        msg = f"A procedure has no {name[:40]}. Leave it out."
        raise ValueError(msg)
    return _value(name, value)


def _value(name: str, value: object) -> Value:
    """Read a value as the column of that name holds it; None and empty are the column's own."""
    column = _COLUMNS[name]
    if isinstance(column, models.BooleanField):
        return _yes(value)
    text = "" if value is None else str(value).strip()
    if isinstance(column, models.DecimalField | models.IntegerField):
        return _figure(name, column, text)
    if text and column.choices and text not in dict(column.choices):
        known = ", ".join(str(word) for word, _ in column.choices)
        msg = f"'{text[:40]}' is not known here. Known: {known}."
        raise ValueError(msg)
    return text


def _figure(name: str, column: models.Field[Any, Any], text: str) -> Decimal | int | None:
    if not text:
        return None if column.null else column.get_default()
    if name.endswith("aperture_um"):
        return parse_aperture(text)
    if isinstance(column, models.DecimalField):
        return parse_decimal(text)
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        msg = f"'{text[:24]}' is no whole number."
        raise ValueError(msg)
    return int(text)


def _yes(value: object) -> bool:
    text = str(value).strip().casefold()
    if text in {"yes", "true", "1"}:
        return True
    if text in {"no", "false", "0", "", "none"}:
        return False
    msg = f"'{text[:24]}' is neither yes nor no."
    raise ValueError(msg)


def _places(rows: object, faults: list[Fault]) -> Iterator[ProcedureAperture]:
    if not isinstance(rows, list) or len(rows) > MOST_SIZES:
        msg = f"Send the sieve sizes as a list of at most {MOST_SIZES}."
        faults.append(Fault("apertures", msg, "no-sizes"))
        return
    for number, row in enumerate(rows):
        told = row if isinstance(row, Mapping) else {"size": row}
        try:
            yield _place(told)
        except (ValueError, GradationError) as error:
            faults.append(Fault(f"apertures/{number}", str(error), "unreadable"))


def _place(told: Mapping[str, object]) -> ProcedureAperture:
    unknown = sorted(set(map(str, told)) - _PLACE)
    if unknown:
        msg = f"A sieve size has no {unknown[0][:40]}. Known: {', '.join(sorted(_PLACE))}."
        raise ValueError(msg)
    return ProcedureAperture(
        aperture_um=parse_aperture(str(told.get("size") or "")),
        is_optional=_yes(told.get("optional", False)),
        is_split=_yes(told.get("split", False)),
        is_confirmed_size=_yes(told.get("odd_size", False)),
    )
