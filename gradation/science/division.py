"""Dividing a sample: is the divider wide enough, and is the portion heavy enough for its size."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.tables import read_table

UM_PER_MM = 1000


class Place(StrEnum):
    """Where a mass lies to a band."""

    INSIDE = "inside"
    BELOW = "below"
    ABOVE = "above"


@dataclass(frozen=True, slots=True)
class Band:
    """Least and largest mass of a test portion [g]; None where there is no such limit."""

    least_g: Decimal | None = None
    most_g: Decimal | None = None


def place_in_band(mass_g: Decimal, band: Band) -> Place:
    """Say whether a portion is heavy enough and not too heavy.

    Parameters
    ----------
    mass_g : Decimal
        Mass of the portion [g], > 0.
    band : Band
        Least and largest mass [g].

    Returns
    -------
    Place
        `inside` includes both limits.

    Raises
    ------
    OutOfRange
        When the mass is not above zero.

    Notes
    -----
    A portion outside is divided anew: a portion that was trimmed to a mass is no random part
    of its sample any more.

    References
    ----------
    ASTM C136-14, 7.2 with C702: "approximately of the desired mass ... shall be the end result
    of reduction. Reduction to an exact predetermined mass is not permitted" (from memory).

    Examples
    --------
    >>> place_in_band(Decimal("212"), Band(Decimal(300), Decimal(900))).value
    'below'
    """
    if mass_g <= 0:
        raise OutOfRange("The mass of the portion must be above zero.")
    if band.least_g is not None and mass_g < band.least_g:
        return Place.BELOW
    if band.most_g is not None and mass_g > band.most_g:
        return Place.ABOVE
    return Place.INSIDE


def size_basis(table: str) -> str:
    """Name the size by which a table of smallest portions is read.

    Parameters
    ----------
    table : str
        Name of the table, as `acceptance.portion_tables()` lists them.

    Returns
    -------
    str
        Such as 'nominal maximum size'; '' when one mass holds for every size.

    Raises
    ------
    UnknownName
        When there is no such table.

    Notes
    -----
    A size is asked for as soon as one row has one.

    References
    ----------
    `data/sample_mass.csv`, where each row names its source.

    Examples
    --------
    >>> size_basis("astm_c136_coarse"), size_basis("astm_c136_fine")
    ('nominal maximum size', '')
    """
    rows = [row for row in read_table("sample_mass") if row["table"] == table]
    if not rows:
        raise UnknownName(f"There is no table {table!r} of test portions.")
    return next((row["size_basis"] or "largest size" for row in rows if row["size_um"]), "")


def least_chute_width_mm(top_size_um: Decimal, rule: str = "astm_c702") -> Decimal:
    """Give the narrowest chute of a riffle for a material.

    Parameters
    ----------
    top_size_um : Decimal
        Largest grains of the material [µm], > 0.
    rule : str
        Row of the table of chutes.

    Returns
    -------
    Decimal
        Width of one chute [mm].

    Raises
    ------
    OutOfRange
        When the size is not above zero.
    UnknownName
        When there is no such rule.

    Notes
    -----
    In narrower chutes large grains bridge, and what follows them goes to one side.

    References
    ----------
    `data/divider_chutes.csv`: ASTM C702, from memory.

    Examples
    --------
    >>> least_chute_width_mm(Decimal(16000))
    Decimal('24.0')
    """
    if top_size_um <= 0:
        raise OutOfRange("The size of the largest grains must be above zero.")
    for row in read_table("divider_chutes"):
        if row["rule"] == rule:
            return Decimal(row["times_largest"]) * top_size_um / UM_PER_MM
    raise UnknownName(f"There is no rule {rule!r} for the chutes of a divider.")
