"""Apertures as numbers and as the trade writes them; the sieve series."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal

from gradation.science.errors import GradationError, OutOfRange
from gradation.science.quantities import NotANumber, as_typed, parse_decimal
from gradation.science.rounding import round_significant
from gradation.science.tables import read_table

UM_PER_MM = 1000

Style = Literal["iso", "astm"]


class UnknownAperture(GradationError):
    """What was typed is not an aperture."""


class Series(StrEnum):
    """The series of sieve sizes in use."""

    R20_3 = "iso_r20_3"
    R20 = "iso_r20"
    R40_3 = "iso_r40_3"
    R10 = "iso_r10"
    ASTM_E11 = "astm_e11"


@dataclass(frozen=True, slots=True)
class SieveSize:
    """One standard size: its aperture, the series it belongs to, its ASTM E11 name."""

    aperture_um: Decimal
    series: frozenset[Series]
    astm_designation: str


@cache
def sieve_sizes() -> tuple[SieveSize, ...]:
    """Give all standard sieve sizes, coarse to fine.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of SieveSize
        99 sizes from 125 mm to 20 µm.

    Raises
    ------
    Nothing
        The table is part of the package.

    Notes
    -----
    A size may belong to several series.

    References
    ----------
    ISO 565 / ISO 3310-1 and ASTM E11-17; see `data/sieve_series.csv`.

    Examples
    --------
    >>> sieve_sizes()[0].astm_designation
    '5 in.'
    """
    return tuple(
        SieveSize(
            aperture_um=Decimal(row["aperture_um"]),
            series=frozenset(_series_of(row)),
            astm_designation=row["astm_e11_designation"],
        )
        for row in read_table("sieve_series")
    )


def _series_of(row: Mapping[str, str]) -> list[Series]:
    """The series a row of the table belongs to."""
    found = [each for each in Series if row.get(each.value) == "1"]
    return [*found, Series.ASTM_E11] if row["astm_e11_designation"] else found


def series_apertures_um(series: Series) -> tuple[Decimal, ...]:
    """Give the apertures of one series, coarse to fine.

    Parameters
    ----------
    series : Series
        Which series.

    Returns
    -------
    tuple of Decimal
        Apertures [µm].

    Raises
    ------
    Nothing
        Every series has sizes.

    Notes
    -----
    R 20/3 is the principal series; R 20 and R 40/3 add sizes between.

    References
    ----------
    ISO 565 / ISO 3310-1 and ASTM E11-17; see `data/sieve_series.csv`.

    Examples
    --------
    >>> len(series_apertures_um(Series.R20_3))
    24
    """
    return tuple(size.aperture_um for size in sieve_sizes() if series in size.series)


@lru_cache(maxsize=1024)
def designation(aperture_um: Decimal | float, style: Style = "iso") -> str:
    """Give the name of an aperture as the trade writes it.

    Parameters
    ----------
    aperture_um : Decimal or float
        Aperture [µm], > 0.
    style : 'iso' or 'astm'
        Metric size, or the alternative designation of ASTM E11 where there is one.

    Returns
    -------
    str
        '125 µm', '4.75 mm', 'No. 200', '3/8 in.'.

    Raises
    ------
    OutOfRange
        When the aperture is not above zero.

    Notes
    -----
    From 1 mm up in millimetres, below in micrometres. An aperture without an ASTM E11 name
    keeps its metric size in both styles.

    References
    ----------
    ISO 565 and ASTM E11-17; see `data/sieve_series.csv`.

    Examples
    --------
    >>> designation(4750), designation(75, "astm")
    ('4.75 mm', 'No. 200')
    """
    exact = Decimal(f"{aperture_um:.6f}") if isinstance(aperture_um, float) else aperture_um
    exact = Decimal(exact)
    if not exact.is_finite() or exact <= 0:
        raise OutOfRange("An aperture is a size above zero.")
    if style == "astm" and (name := _astm_names().get(exact)):
        return name
    if exact >= UM_PER_MM:
        return f"{_plain(exact / UM_PER_MM)} mm"
    return f"{_plain(exact)} µm"


def size_text(size_um: float) -> str:
    """Give a size read off the curve as text with three significant figures.

    Parameters
    ----------
    size_um : float
        Size [µm], > 0.

    Returns
    -------
    str
        '189 µm', '1.23 mm'.

    Raises
    ------
    NotDeterminable
        When the size is NaN.

    Notes
    -----
    Rounded half to even. Below 1 mm in micrometres, as apertures are written.

    References
    ----------
    Common practice: a size read between two sieves is not better than three figures.

    Examples
    --------
    >>> size_text(1234.5), size_text(999.9)
    ('1.23 mm', '1.00 mm')
    """
    rounded = round_significant(size_um, 3)
    if rounded < UM_PER_MM:
        return f"{as_typed(rounded)} µm"
    return f"{as_typed(round_significant(rounded / UM_PER_MM, 3))} mm"


_NUMBER_NAME = re.compile(r"(?:no\.?|n°|#)\s*([0-9]+(?: 1/2)?)", re.IGNORECASE)
_INCH_NAME = re.compile(r"(?:([0-9]+)[ -])?([0-9]+)/([0-9]+)\s*(?:in\.?|inch|\")", re.IGNORECASE)
_INCH_SIZE = re.compile(r"([0-9]*[.,]?[0-9]+)\s*(?:in\.?|inch|\")", re.IGNORECASE)
_METRIC = re.compile(r"([0-9.,]+)\s*(µm|μm|um|mm)", re.IGNORECASE)


def parse_aperture(text: str) -> Decimal:
    """Give the aperture in micrometres that was typed or scanned.

    Parameters
    ----------
    text : str
        '125 µm', '125 um', '4.75 mm', '4,75 mm', 'No. 200', '#200', '3/8 in.', '1 1/2 in.'.

    Returns
    -------
    Decimal
        Aperture [µm].

    Raises
    ------
    UnknownAperture
        When the unit is missing, or the number or inch name is not one of ASTM E11.

    Notes
    -----
    A bare number is refused: 63 may be micrometres or millimetres, and No. 40 is a name,
    not 40 of anything. Inch names stand for their metric aperture (3/8 in. is 9.5 mm).

    References
    ----------
    ASTM E11-17; see `data/sieve_series.csv`.

    Examples
    --------
    >>> parse_aperture("No. 200"), parse_aperture("4,75 mm")
    (Decimal('75'), Decimal('4750.00'))
    """
    typed = " ".join(text.replace("\u00a0", " ").split())
    found = _parse_metric(typed) or _parse_name(typed)
    if found is None or found <= 0:
        raise UnknownAperture(
            f"{typed[:24]!r} is not an aperture. Type it with its unit or as a standard name: "
            "125 µm, 4.75 mm, No. 200, 3/8 in."
        )
    return found


def _parse_metric(typed: str) -> Decimal | None:
    """The aperture of a metric size, None when it is not one."""
    match = _METRIC.fullmatch(typed)
    if match is None:
        return None
    try:
        number = parse_decimal(match[1])
    except NotANumber:
        return None
    return number * UM_PER_MM if match[2].lower() == "mm" else number


def _parse_name(typed: str) -> Decimal | None:
    """The aperture an ASTM E11 name stands for, None when there is no such name."""
    by_name = {name: aperture_um for aperture_um, name in _astm_names().items()}
    if match := _NUMBER_NAME.fullmatch(typed):
        return by_name.get(f"No. {match[1]}")
    inches = _inches(typed)
    if inches is None:
        return None
    return next((um for name, um in by_name.items() if _inches(name) == inches), None)


def _inches(name: str) -> Fraction | None:
    """The number of inches in a name such as '1 1/2 in.' or '0.530 in.'."""
    if (match := _INCH_NAME.fullmatch(name)) and int(match[3]):
        return int(match[1] or 0) + Fraction(int(match[2]), int(match[3]))
    if match := _INCH_SIZE.fullmatch(name):
        return Fraction(match[1].replace(",", "."))
    return None


@cache
def _astm_names() -> dict[Decimal, str]:
    """ASTM E11 names by aperture."""
    return {
        size.aperture_um: size.astm_designation for size in sieve_sizes() if size.astm_designation
    }


def _plain(value: Decimal) -> str:
    """A number without exponent or trailing zeros."""
    return as_typed(value.normalize())
