"""European categories of aggregates: limits that follow from the sizes d and D."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from gradation.science.apertures import designation, parse_aperture, sieve_sizes
from gradation.science.envelope_form import WHOLE_PCT, EnvelopeLine
from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.library_form import LibraryEntry, Row
from gradation.science.tables import read_table

_NEAREST = Decimal("0.03")
"""A multiple such as 1.4 D stands for the sieve next to it: 15.7 mm for 16 mm, 44.1 for 45."""
_WIDE = 4  # D/d from which EN 12620 and EN 13043 look at D/2 instead of D/1.4


def categories() -> tuple[tuple[str, str, str], ...]:
    """Give the European categories by standard and name, with when each applies.

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
    `data/en_grading_categories.csv`, `data/en_mid_size_limits.csv`.

    Examples
    --------
    >>> categories()[0]
    ('EN 13043', 'GC90/10', 'D > 2 mm')
    """
    overall = [
        (row["standard"], row["category"], row["applies_when"])
        for row in read_table("en_grading_categories")
    ]
    mid = [
        (row["standard"], row["category"], _mid_applies(row))
        for row in read_table("en_mid_size_limits")
    ]
    return (*overall, *dict.fromkeys(mid))


def _mid_applies(row: Row) -> str:
    return row["D_over_d"] if _is_of_fines(row) else f"mid-size, D/d {row['D_over_d']}"


def _is_of_fines(row: Row) -> bool:
    """Whether the category sets tolerances on declared values alone, without limits over all."""
    return not row["overall_min"]


def category_entry(
    standard: str,
    category: str,
    lower_um: Decimal,
    upper_um: Decimal,
    declared_pct: Sequence[Decimal] = (),
) -> LibraryEntry:
    """Give the limits of a European category for the sizes d and D.

    Parameters
    ----------
    standard, category : str
        such as 'EN 12620' and 'GC85/20'
    lower_um, upper_um : Decimal
        d and D [µm]; d = 0 for fine and all-in aggregates
    declared_pct : sequence of Decimal
        of a mid-size category or tolerances of fines: the typical passing [%] the producer
        declares at each of its sieves, coarse to fine; empty for the limits over all alone

    Returns
    -------
    LibraryEntry
        passing limits at 2D, 1.4D, D, d and d/2; of a mid-size category at its one sieve

    Raises
    ------
    UnknownName
        when there is no such category
    OutOfRange
        when d is not below D, a coarse category has no d, D/d is not the category's, declared
        values are missing or too many, or no standard sieve is near

    Notes
    -----
    A multiple stands for the sieve within 3 % of it (1.4 x 31.5 mm for 45 mm). When a
    category applies (its column `applies_when`) is for the reader to judge.

    References
    ----------
    EN 12620 and EN 13043, grading categories and mid-size limits; see
    `data/en_grading_categories.csv` and `data/en_mid_size_limits.csv`.

    Examples
    --------
    >>> entry = category_entry("EN 13043", "GC90/10", Decimal(8000), Decimal(11200))
    >>> [designation(line.aperture_um) for line in entry.lines]
    ['22.4 mm', '16 mm', '11.2 mm', '8 mm', '4 mm']
    """
    rows = _mid_size_rows(standard, category)
    if rows:
        _check_mid_size(rows, lower_um, upper_um, declared_pct)
        lines = tuple(_mid_size_lines(rows, upper_um, declared_pct))
    else:
        rows = [_category(standard, category)]
        _check_sizes(rows[0], lower_um, upper_um)
        lines = tuple(_category_lines(rows[0], lower_um, upper_um))
    lower, upper = (f"{(size / 1000).normalize():f}" for size in (lower_um, upper_um))
    asked = (lower_um, upper_um, *declared_pct)
    return LibraryEntry(
        key=" ".join([standard, category, *(f"{each.normalize():f}" for each in asked)]),
        title=f"{standard} {category}, {lower}/{upper}",
        family="European aggregates",
        lines=lines,
        marks=(rows[0]["confidence"],) * len(lines),
        source=rows[0]["source"],
    )


def _mid_size_rows(standard: str, category: str) -> list[Row]:
    return [
        row
        for row in read_table("en_mid_size_limits")
        if (row["standard"], row["category"]) == (standard, category)
    ]


def _check_mid_size(
    rows: Sequence[Row], lower_um: Decimal, upper_um: Decimal, declared_pct: Sequence[Decimal]
) -> None:
    row, sieves = rows[0], ", ".join(each["mid_sieve"] for each in rows)
    if not 0 <= lower_um < upper_um:
        raise OutOfRange("The lower size d must lie below the upper size D. Check both.")
    if _is_of_fines(row):
        if len(declared_pct) != len(rows):
            raise OutOfRange(
                f"{row['category']} is a tolerance around what the producer declares: enter the "
                f"typical passing at {sieves}."
            )
        return
    is_wide = lower_um > 0 and upper_um / lower_um >= _WIDE
    if lower_um == 0 or is_wide != (row["D_over_d"] == ">=4"):
        raise OutOfRange(
            f"{row['category']} is for D/d {row['D_over_d']}. Check d and D, or take another "
            "category."
        )
    if len(declared_pct) > len(rows):
        raise OutOfRange(f"{row['category']} takes one declared passing, that at {sieves}.")


def _mid_size_lines(
    rows: Sequence[Row], upper_um: Decimal, declared_pct: Sequence[Decimal]
) -> Iterator[EnvelopeLine]:
    for place, row in enumerate(rows):
        declared = declared_pct[place] if declared_pct else None
        if declared is not None and not 0 <= declared <= WHOLE_PCT:
            raise OutOfRange("A declared passing lies between 0 and 100 %.")
        yield EnvelopeLine(
            aperture_um=_mid_sieve(row["mid_sieve"], upper_um),
            minimum=_limit(row["overall_min"]),
            maximum=_limit(row["overall_max"]),
            target=declared,
            tolerance=None if declared is None else Decimal(row["tolerance_on_declared"]),
        )


def _mid_sieve(name: str, upper_um: Decimal) -> Decimal:
    """The sieve a row speaks of: a part of D, or one by its own size."""
    whole, slash, divisor = name.partition("/")
    if whole == "D":
        return _sieve_near(name, upper_um / Decimal(divisor) if slash else upper_um)
    return parse_aperture(name)


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


def _limit(text: str) -> Decimal | None:
    return Decimal(text) if text else None
