"""Published gradings as drafts of specifications: the tables in `data/`, with source and mark."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import groupby

from gradation.science.apertures import designation, sieve_sizes
from gradation.science.confidence import FROM_MEMORY
from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.tables import read_table

CONFIRMED = "confirmed"
_NEAREST = Decimal("0.03")
"""A multiple such as 1.4 D stands for the sieve next to it: 15.7 mm for 16 mm, 44.1 for 45."""

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class LibraryEntry:
    """One published grading: its lines, how sure each is, where the figures come from."""

    key: str
    title: str
    family: str
    lines: tuple[EnvelopeLine, ...]
    marks: tuple[str, ...]
    source: str

    @property
    def is_from_memory(self) -> bool:
        """Whether any of its figures was set down from memory."""
        return FROM_MEMORY in self.marks

    @property
    def is_confirmed(self) -> bool:
        """Whether all its figures were seen in two places."""
        return set(self.marks) == {CONFIRMED}

    @property
    def mark(self) -> str:
        """How its figures are marked on screen."""
        return CONFIRMED if self.is_confirmed else "confirm against your edition"


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
        as `LibraryEntry.key`; of a category 'EN 12620 GC85/20 4000 8000' (sizes in µm)

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
    parts = key.split(" ")  # EN, number, category, d, D
    if len(parts) == 5 and all(part.isascii() and part.isdigit() for part in parts[3:]):
        standard = " ".join(parts[:2])
        return category_entry(standard, parts[2], Decimal(parts[3]), Decimal(parts[4]))
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


def categories() -> tuple[tuple[str, str, str], ...]:
    """Give the European grading categories by standard and name, with when each applies.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of (standard, category, applies when)
        in the order of the table

    Raises
    ------
    Nothing
        The table is part of the package.

    Notes
    -----
    Sizes d and D turn a category into limits: `category_entry`.

    References
    ----------
    `data/en_grading_categories.csv`.

    Examples
    --------
    >>> categories()[0]
    ('EN 13043', 'GC90/10', 'D > 2 mm')
    """
    return tuple(
        (row["standard"], row["category"], row["applies_when"])
        for row in read_table("en_grading_categories")
    )


def category_entry(
    standard: str, category: str, lower_um: Decimal, upper_um: Decimal
) -> LibraryEntry:
    """Give the limits of a European grading category for the sizes d and D.

    Parameters
    ----------
    standard, category : str
        such as 'EN 12620' and 'GC85/20'
    lower_um, upper_um : Decimal
        d and D [µm]; d = 0 for fine and all-in aggregates

    Returns
    -------
    LibraryEntry
        passing limits at 2D, 1.4D, D, d and d/2

    Raises
    ------
    UnknownName
        when there is no such category
    OutOfRange
        when d is not below D, a coarse category has no d, or no standard sieve is near

    Notes
    -----
    A multiple stands for the sieve within 3 % of it (1.4 x 31.5 mm for 45 mm). When a
    category applies (its column `applies_when`) is for the reader to judge.

    References
    ----------
    EN 12620 and EN 13043, grading categories; see `data/en_grading_categories.csv`.

    Examples
    --------
    >>> entry = category_entry("EN 13043", "GC90/10", Decimal(8000), Decimal(11200))
    >>> [designation(line.aperture_um) for line in entry.lines]
    ['22.4 mm', '16 mm', '11.2 mm', '8 mm', '4 mm']
    """
    row = _category(standard, category)
    _check_sizes(row, lower_um, upper_um)
    lines = tuple(_category_lines(row, lower_um, upper_um))
    lower = f"{(lower_um / 1000).normalize():f}"
    upper = f"{(upper_um / 1000).normalize():f}"
    return LibraryEntry(
        key=f"{standard} {category} {lower_um.normalize():f} {upper_um.normalize():f}",
        title=f"{standard} {category}, {lower}/{upper}",
        family="European aggregates",
        lines=lines,
        marks=(row["confidence"],) * len(lines),
        source=row["source"],
    )


def _category(standard: str, category: str) -> Row:
    for row in read_table("en_grading_categories"):
        if (row["standard"], row["category"]) == (standard, category):
            return row
    known = ", ".join(f"{each[0]} {each[1]}" for each in categories())
    raise UnknownName(f"There is no category {standard} {category}. Known: {known}.")


def _check_sizes(row: Row, lower_um: Decimal, upper_um: Decimal) -> None:
    if not 0 <= lower_um < upper_um:
        raise OutOfRange("The lower size d must lie below the upper size D. Check both.")
    if row["pd_max"] and lower_um == 0:
        raise OutOfRange(f"{row['category']} is a coarse category: enter its lower size d.")


def _category_lines(row: Row, lower_um: Decimal, upper_um: Decimal) -> Iterator[EnvelopeLine]:
    asked = (
        ("2D", 2 * upper_um, row["p2D_min"], "100"),
        ("1.4D", Decimal("1.4") * upper_um, row["p1_4D_min"], "100"),
        ("D", upper_um, row["pD_min"], row["pD_max"]),
        ("d", lower_um, row["pd_min"], row["pd_max"]),
        ("d/2", lower_um / 2, "0" if row["pd2_max"] else "", row["pd2_max"]),
    )
    for name, size_um, low, high in asked:
        if low or (high and name in {"d", "d/2"}):
            yield EnvelopeLine(
                aperture_um=_sieve_near(name, size_um), minimum=_limit(low), maximum=_limit(high)
            )


def _sieve_near(name: str, size_um: Decimal) -> Decimal:
    """The standard sieve that a multiple of d or D stands for."""
    nearest = min((each.aperture_um for each in sieve_sizes()), key=lambda um: abs(um - size_um))
    if abs(nearest - size_um) > _NEAREST * size_um:
        raise OutOfRange(
            f"No standard sieve lies near {name} = {designation(size_um)}. Check d and D."
        )
    return nearest
