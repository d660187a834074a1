"""Published gradings as drafts of specifications: the tables in `data/`, with source and mark."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from itertools import groupby

from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.errors import UnknownName
from gradation.science.grading_categories import category_entry
from gradation.science.library_form import LibraryEntry, Row
from gradation.science.tables import read_table

_FIGURE = re.compile(r"[0-9]{1,6}(\.[0-9]{1,3})?")


@cache
def library() -> tuple[LibraryEntry, ...]:
    """Give every published grading that is kept here.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of LibraryEntry
        envelopes, fineness classes and abrasive grits, in the order of their tables

    Raises
    ------
    Nothing
        The tables are part of the package.

    Notes
    -----
    An entry is a draft, never a rule: figures from memory must be confirmed before they
    judge anything. Categories of EN 12620 and EN 13043 need sizes: `category_entry`.

    References
    ----------
    `data/envelopes.csv`, `data/fineness_classes.csv`, `data/abrasive_grits.csv`: each row
    names its source.

    Examples
    --------
    >>> library_entry("c33_fine").mark
    'confirmed'
    """
    return (*_envelopes(), *_fineness_classes(), *_grits())


def library_entry(key: str) -> LibraryEntry:
    """Give one published grading by its key.

    Parameters
    ----------
    key : str
        as `LibraryEntry.key`; of a category 'EN 12620 GC85/20 4000 8000' (sizes in µm), behind
        it the declared typical passings [%] of a mid-size category

    Returns
    -------
    LibraryEntry
        its lines and marks

    Raises
    ------
    UnknownName
        when there is no such grading

    Notes
    -----
    As `library` and `category_entry`.

    References
    ----------
    As `library`.

    Examples
    --------
    >>> len(library_entry("c33_fine").lines)
    8
    """
    found = next((entry for entry in library() if entry.key == key), None)
    if found is not None:
        return found
    parts = key.split(" ")  # EN, number, category, d, D, declared values
    if len(parts) >= 5 and all(_FIGURE.fullmatch(part) for part in parts[3:]):
        lower_um, upper_um, *declared = (Decimal(part) for part in parts[3:])
        return category_entry(" ".join(parts[:2]), parts[2], lower_um, upper_um, declared)
    raise UnknownName(f"There is no published grading {key[:60]!r} here. Pick one from the list.")


def _envelopes() -> Iterator[LibraryEntry]:
    for key, group in groupby(read_table("envelopes"), key=lambda row: row["envelope"]):
        rows = list(group)
        yield LibraryEntry(
            key=key,
            title=rows[0]["title"],
            family=_family(key),
            lines=tuple(_passing(row) for row in rows),
            marks=tuple(row["confidence"] for row in rows),
            source=_sources(rows),
        )


_FAMILIES = {
    "c33": "Concrete aggregate", "m43": "Coarse aggregate sizes", "en": "European aggregates",
    "superpave": "Asphalt mixes", "ufgs02749": "Asphalt mixes", "m147": "Bases and surfaces",
    "d1241": "Bases and surfaces", "iadot": "Bases and surfaces", "cdot": "Bases and surfaces",
    "usp811": "Pharmaceutical powders", "pheur": "Pharmaceutical powders",
    "fb": "Pharmaceutical powders", "fepa": "Abrasive grains", "c144": "Mortar sand",
    "din1045": "Concrete grading curves",
}  # fmt: skip


def _family(key: str) -> str:
    return _FAMILIES.get(key.partition("_")[0], "Other gradings")


def _passing(row: Row) -> EnvelopeLine:
    low, high = _limit(row["passing_min_pct"]), _limit(row["passing_max_pct"])
    is_strict = row["max_is_exclusive"] == "yes"
    return EnvelopeLine(
        aperture_um=Decimal(row["aperture_um"]),
        # A minimum of 0 beside a limit that is not itself inside would turn 0 % away.
        minimum=None if is_strict and low == 0 else low,
        maximum=high,
        is_inclusive=not is_strict,
    )


def _limit(text: str) -> Decimal | None:
    return Decimal(text) if text else None


def _sources(rows: list[Row]) -> str:
    return "; ".join(dict.fromkeys(row["source"] for row in rows))


_MODULUS = "fineness modulus"


def _fineness_classes() -> Iterator[LibraryEntry]:
    for row in read_table("fineness_classes"):
        if not row["scheme"].startswith("EN 12620"):
            continue  # sums of grading curves: points, not classes
        low, high = _limit(row["min"]), _limit(row["max"])
        is_modulus = row["parameter"] == _MODULUS
        line = (
            EnvelopeLine(
                LineKind.CHARACTERISTIC,
                characteristic="fineness_modulus_en",
                minimum=low,
                maximum=high,
            )
            if is_modulus
            else EnvelopeLine(aperture_um=Decimal(500), minimum=low, maximum=high)
        )
        yield LibraryEntry(
            key=f"fineness_{row['code'].lower()}",
            title=f"{row['scheme']} fineness class {row['code']}",
            family="European aggregates",
            lines=(line,),
            marks=(row["confidence"],),
            source=row["source"],
        )


def _grits() -> Iterator[LibraryEntry]:
    for row in read_table("abrasive_grits"):
        lines = tuple(_grit_lines(row))
        yield LibraryEntry(
            key=f"grit_{row['grit'].lower()}",
            title=f"FEPA 42-1 / ISO 8486-1 {row['grit']}, all five sieves",
            family="Abrasive grains",
            lines=lines,
            marks=(row["confidence"],) * len(lines),
            source=row["source"],
        )


def _grit_lines(row: Row) -> Iterator[EnvelopeLine]:
    """What stays above, on and between the five sieves of a grit."""
    s1, s2, s3, s4, s5 = (Decimal(row[f"s{number}_um"]) for number in range(1, 6))
    yield EnvelopeLine(LineKind.RETAINED, s1, maximum=_limit(row["s1_retained_max_pct"]))
    yield EnvelopeLine(LineKind.RETAINED, s2, maximum=_limit(row["s2_retained_max_pct"]))
    yield EnvelopeLine(LineKind.BETWEEN, s2, s3, minimum=_limit(row["s3_retained_min_pct"]))
    both = _limit(row["s3_plus_s4_retained_min_pct"])
    yield EnvelopeLine(LineKind.BETWEEN, s2, s4, minimum=both)
    if row["s5_passing_max_pct"]:
        yield EnvelopeLine(aperture_um=s5, maximum=_limit(row["s5_passing_max_pct"]))
