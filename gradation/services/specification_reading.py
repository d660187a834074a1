"""A specification as it comes from a file or another system: read, judged, nothing written.

The same words and columns go out again by `documents.specification_sheet`, so that what was
exported comes back as it was.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from gradation.errors import Fault, Invalid
from gradation.models import DecisionRule, LotRule, SpecificationLine
from gradation.science.apertures import parse_aperture
from gradation.science.envelope_form import LineKind
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.services.sheet_grid import grid_of, refusal

__all__ = ["LINE_COLUMNS", "ReadSpecification", "read_file", "read_lines", "read_specification"]

MOST_LINES = 200

Cells = Mapping[str, object]
Reader = Callable[[object], Any]


@dataclass(frozen=True)
class ReadSpecification:
    """What was sent: the specification's own words, the version's, and its lines."""

    named: dict[str, str]
    fields: dict[str, Any]
    lines: tuple[SpecificationLine, ...]


def _text(value: object) -> str:
    text = "" if value is None else str(value).strip()
    # The apostrophe that keeps a spreadsheet from running a cell is not part of the word.
    return text[1:] if text[:2] in {"'=", "'+", "'-", "'@"} else text


def _figure(value: object) -> Decimal | None:
    text = _text(value)
    return parse_decimal(text) if text and not isinstance(value, bool) else None


def _whole(value: object) -> int | None:
    text = _text(value)
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        msg = f"'{text[:24]}' is no whole number."
        raise ValueError(msg)
    return int(text)


def _size(value: object) -> Decimal | None:
    text = _text(value)
    return parse_aperture(text) if text else None


def _yes(value: object) -> bool:
    if isinstance(value, bool):
        return value
    text = _text(value).casefold()
    if text in {"yes", "true", "1"}:
        return True
    if text in {"no", "false", "0", ""}:
        return False
    msg = f"'{text[:24]}' is neither yes nor no."
    raise ValueError(msg)


def _day(value: object) -> date | None:
    text = _text(value)
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        msg = f"'{text[:24]}' is no day. Write it as 2026-03-31."
        raise ValueError(msg) from error


def _one_of(words: Sequence[str]) -> Reader:
    def read(value: object) -> str:
        text = _text(value)
        if text not in words:
            msg = f"'{text[:24]}' is not known here. Known: {', '.join(words)}."
            raise ValueError(msg)
        return text

    return read


#: Column of a line: the model's field and how it is read.
LINE_COLUMNS: Mapping[str, tuple[str, Reader]] = {
    "kind": ("kind", _one_of([kind.value for kind in LineKind])),
    "sieve": ("aperture_um", _size),
    "finer_sieve": ("finer_aperture_um", _size),
    "characteristic": ("characteristic", lambda value: _text(value).replace(" ", "_")),
    "minimum": ("minimum", _figure),
    "maximum": ("maximum", _figure),
    "target": ("target", _figure),
    "tolerance": ("tolerance", _figure),
    "inclusive": ("is_inclusive", _yes),
    "decimals": ("decimals", _whole),
    "odd_size": ("is_confirmed_size", _yes),
    "mark": ("mark", _text),
}
_NAMED = ("code", "title", "owner")
FIELDS: Mapping[str, Reader] = {
    "product": _text,
    "clause": _text,
    "source": _text,
    "library_key": _text,
    "unconfirmed_note": _text,
    "effective_from": _day,
    "effective_to": _day,
    "decision_rule": _one_of([rule.value for rule in DecisionRule]),
    "confidence": _figure,
    "guard_factor": _figure,
    "lot_rule": _one_of([rule.value for rule in LotRule]),
    "lot_size": _whole,
    "lot_share_pct": _figure,
    "neighbour_maximum_pct": _figure,
    "interpolate_missing": _yes,
    "certificate_wording": _text,
}
#: Written with a version for the reader's sake; no draft takes them from outside.
_TOLD = frozenset({"format", "version", "state", "confirmation", "id", "lines", *_NAMED})


def read_file(file: bytes, name: str) -> ReadSpecification:
    """Read a file of limits: CSV or XLSX with one limit a row, or JSON with all of a version.

    Refuses (`Invalid`): what is no such file (field `file`), and every cell that cannot be read,
    by its row and column.
    """
    if file.lstrip()[:1] == b"{":
        return read_specification(_json(file))
    grid = [row for row in grid_of(file, name) if any(row)]
    if len(grid) < 2:
        raise refusal("The file has no limit below its header. Fill in at least one row.")
    header = [cell.strip().casefold().replace(" ", "_") for cell in grid[0]]
    _refuse_header(header)
    rows = [dict(zip(header, row, strict=False)) for row in grid[1:]]
    return ReadSpecification({}, {}, read_lines(rows))


def _json(file: bytes) -> dict[str, object]:
    try:
        found = json.loads(file, parse_float=str, parse_int=str)
    except (ValueError, RecursionError) as error:
        raise refusal("The file cannot be read as JSON. Export it again.") from error
    if not isinstance(found, dict):
        raise refusal("The file holds no specification. Export it again.")
    return found


def _refuse_header(header: Sequence[str]) -> None:
    strange = [column for column in header if column and column not in LINE_COLUMNS]
    twice = {column for column in header if column and header.count(column) > 1}
    if strange or twice:
        named = ", ".join([*strange, *sorted(twice)])
        known = ", ".join(LINE_COLUMNS)
        raise refusal(f"Columns that are unknown or stand twice: {named}. Known: {known}.")


def read_specification(sent: Mapping[str, object]) -> ReadSpecification:
    """Read a whole version; refuses (`Invalid`) every field and line that cannot be read."""
    faults = [
        Fault(str(name), "There is no such field.", "unknown-field")
        for name in sent
        if name not in FIELDS and name not in _TOLD
    ]
    fields = dict(_read(sent, FIELDS, "", faults))
    rows = sent.get("lines", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        faults.append(Fault("lines", "A list of limits is asked for.", "lines"))
        rows = []
    lines = _lines(rows, faults)
    if faults:
        raise Invalid(faults)
    named = {name: _text(sent[name]) for name in _NAMED if name in sent}
    return ReadSpecification(named, fields, lines)


def read_lines(rows: Sequence[Cells]) -> tuple[SpecificationLine, ...]:
    """Read limits one by one; refuses (`Invalid`) every cell that cannot be read."""
    faults: list[Fault] = []
    lines = _lines(rows, faults)
    if faults:
        raise Invalid(faults)
    return lines


def _lines(rows: Sequence[Cells], faults: list[Fault]) -> tuple[SpecificationLine, ...]:
    if len(rows) > MOST_LINES:
        faults.append(Fault("lines", f"There are more than {MOST_LINES} limits.", "too-many"))
        return ()
    return tuple(_line(place, row, faults) for place, row in enumerate(rows))


def _line(place: int, row: Cells, faults: list[Fault]) -> SpecificationLine:
    at = f"lines/{place}/"
    faults += [
        Fault(f"{at}{name}", "There is no such column.", "unknown-field")
        for name in row
        if name and name not in LINE_COLUMNS
    ]
    readers = {name: reader for name, (_, reader) in LINE_COLUMNS.items()}
    read = dict(_read({"kind": LineKind.PASSING.value, **_filled(row)}, readers, at, faults))
    values = {LINE_COLUMNS[name][0]: value for name, value in read.items()}
    return SpecificationLine(**values)


def _filled(row: Cells) -> dict[str, object]:
    """The cells that say something, so that an empty one keeps the field's own default."""
    return {name: value for name, value in row.items() if name and value not in {"", None}}


def _read(
    sent: Cells, readers: Mapping[str, Reader], at: str, faults: list[Fault]
) -> Iterator[tuple[str, Any]]:
    for name, reader in readers.items():
        if name not in sent:
            continue
        try:
            yield name, reader(sent[name])
        except (GradationError, ValueError) as error:
            faults.append(Fault(f"{at}{name}", str(error), "unreadable"))
