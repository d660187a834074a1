"""Verdicts on how a sieving was done: mass balance, overload, portion size, end point.

Every limit belongs to an edition of a method and is data, never part of a formula here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache, lru_cache

from gradation.science.apertures import designation
from gradation.science.errors import NotDeterminable, OutOfRange, UnknownName
from gradation.science.gradation import NOISE
from gradation.science.tables import read_table

MM2_PER_M2 = 1_000_000
G_PER_KG = 1000


class Verdict(StrEnum):
    """Whether a limit of the procedure was kept."""

    WITHIN = "within"
    EXCEEDED = "exceeded"
    NOT_DETERMINABLE = "not_determinable"


class EndPointOf(StrEnum):
    """What the mass that passed in the extra minute is compared with."""

    TOTAL = "total"
    SIEVE = "sieve"


def against_limit(value: float, limit: float) -> Verdict:
    """Give the verdict on the size of a value against a largest allowed one.

    Parameters
    ----------
    value : float
        Any unit; NaN when not known.
    limit : float
        Largest allowed, same unit, >= 0.

    Returns
    -------
    Verdict
        `within` when |value| <= limit.

    Raises
    ------
    OutOfRange
        When the limit is negative or not finite.

    Notes
    -----
    A value equal to the limit is within it; differences below 1e-12 of the limit's unit
    count as equal, so that 1.5 g lost of 500 g is exactly 0.3 %.

    References
    ----------
    ASTM C136-14, 8.7: not to be used when the amounts "differ by more than" 0.3 %.

    Examples
    --------
    >>> against_limit(-0.003, 0.003).value
    'within'
    """
    if not (math.isfinite(limit) and limit >= 0):
        raise OutOfRange("A limit must be a number of zero or more.")
    if math.isnan(value):
        return Verdict.NOT_DETERMINABLE
    return Verdict.WITHIN if abs(value) <= limit + NOISE else Verdict.EXCEEDED


@dataclass(frozen=True, slots=True)
class OverloadRule:
    """Which edition's load limits hold, and on what frame."""

    rule: str
    frame_mm: float | None = None
    area_m2: float | None = None
    bulk_density_g_cm3: float | None = None


@cache
def overload_rules() -> tuple[str, ...]:
    """Give the names of the load-limit rules that apply to sieves.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of str
        Names that `OverloadRule` takes.

    Raises
    ------
    Nothing
        The table is part of the package.

    Notes
    -----
    Rows that only document a published table or a recommended charge are left out.

    References
    ----------
    `data/loading_limits.csv`, where each row names its source.

    Examples
    --------
    >>> "astm_c136" in overload_rules()
    True
    """
    names = dict.fromkeys(row["rule"] for row in read_table("loading_limits"))
    return tuple(name for name in names if not name.endswith(("_charge", "_fine", "_table_1")))


@lru_cache(maxsize=1024)
def overload_limit_g(rule: OverloadRule, aperture_um: float) -> float:
    """Give the largest mass that may lie on a sieve at the end of sieving.

    Parameters
    ----------
    rule : OverloadRule
        Edition's rule, with frame diameter [mm] or effective area [m2]; bulk density
        [g/cm3] for rules that limit the volume.
    aperture_um : float
        Aperture of the sieve [µm], > 0.

    Returns
    -------
    float
        Largest mass [g].

    Raises
    ------
    UnknownName
        When the rule is not known.
    NotDeterminable
        When the rule has no limit for this aperture and frame, or needs an area, a frame
        or a bulk density that was not given.

    Notes
    -----
    - `astm_c136`: 7 kg/m2 below 4.75 mm; 2.5 x opening [mm] x area [m2] kg from 4.75 mm up.
      The area of a round frame is taken 12.7 mm inside its diameter.
    - `en_933_1`: area [mm2] x sqrt(opening [mm]) / 200 g, at the nominal diameter.
    - `bs_1377_2`: tabulated mass for the frame; `iso_2591_1_residue`: tabulated bulk volume
      times bulk density. Apertures between rows take the next finer row, the safe side.

    References
    ----------
    ASTM C136-19, 8.3 (public excerpt); EN 933-1 as described by BRE; the others from
    memory; see `data/loading_limits.csv`.

    Examples
    --------
    >>> round(overload_limit_g(OverloadRule("astm_c136", frame_mm=203.2), 600.0))
    200
    """
    rows = [row for row in read_table("loading_limits") if row["rule"] == rule.rule]
    if not rows or rule.rule not in overload_rules():
        known = ", ".join(overload_rules())
        raise UnknownName(f"There is no load rule {rule.rule!r}. Known: {known}.")
    if rows[0]["frame_mm"]:
        return _tabulated_limit_g(rows, rule, aperture_um)
    row = next(row for row in rows if _covers(row, aperture_um))
    return _formula_limit_g(row, _area_m2(rule, row), aperture_um / 1000)


def _covers(row: Mapping[str, str], aperture_um: float) -> bool:
    """Whether a formula row holds at this aperture."""
    start, end = row["aperture_from_um"], row["aperture_below_um"]
    return (not start or aperture_um >= float(start)) and (not end or aperture_um < float(end))


def _formula_limit_g(row: Mapping[str, str], area_m2: float, opening_mm: float) -> float:
    """The limit by the formula the row names."""
    factor = float(row["value"])
    if row["form"] == "mass_per_area":
        return factor * area_m2 * G_PER_KG
    if row["form"] == "opening_times_area":
        return factor * opening_mm * area_m2 * G_PER_KG
    return area_m2 * MM2_PER_M2 * math.sqrt(opening_mm) / factor


def _area_m2(rule: OverloadRule, row: Mapping[str, str]) -> float:
    """The effective sieving area, given or from the frame."""
    if rule.area_m2 is not None:
        return rule.area_m2
    if rule.frame_mm is None:
        raise NotDeterminable("The load limit needs the frame diameter or the sieve's area.")
    clear_mm = rule.frame_mm - float(row["frame_margin_mm"])
    return math.pi * (clear_mm / 2000) ** 2


def _tabulated_limit_g(
    rows: list[Mapping[str, str]], rule: OverloadRule, aperture_um: float
) -> float:
    """The limit of the next finer tabulated aperture on the same frame."""
    fitting = [
        row
        for row in rows
        if rule.frame_mm is not None
        and float(row["frame_mm"]) == rule.frame_mm
        and float(row["aperture_um"]) <= aperture_um
    ]
    if not fitting:
        raise NotDeterminable(
            f"The rule {rule.rule} has no load limit for {designation(aperture_um)} on this frame."
        )
    row = max(fitting, key=lambda each: float(each["aperture_um"]))
    if row["form"] == "mass":
        return float(row["value"])
    if rule.bulk_density_g_cm3 is None:
        raise NotDeterminable("This load limit is a volume; enter the bulk density.")
    return float(row["value"]) * rule.bulk_density_g_cm3


@cache
def portion_tables() -> tuple[str, ...]:
    """Give the names of the tables of smallest test portions.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of str
        Names that `minimum_portion_g` takes.

    Raises
    ------
    Nothing
        The table is part of the package.

    Notes
    -----
    Names say the standard and its part.

    References
    ----------
    `data/sample_mass.csv`, where each row names its source.

    Examples
    --------
    >>> "astm_c136_coarse" in portion_tables()
    True
    """
    return tuple(dict.fromkeys(row["table"] for row in read_table("sample_mass")))


def minimum_portion_g(table: str, size_um: float) -> Decimal:
    """Give the smallest test portion for the size of the material.

    Parameters
    ----------
    table : str
        One of `portion_tables()`.
    size_um : float
        Size the table goes by (nominal maximum size, largest size ...) [µm], > 0.

    Returns
    -------
    Decimal
        Smallest dry mass [g].

    Raises
    ------
    UnknownName
        When there is no such table.
    NotDeterminable
        When the material is coarser than the table reaches.

    Notes
    -----
    Between two rows the larger size counts, the safe side; below the first row the first.

    References
    ----------
    `data/sample_mass.csv`, where each row names its source.

    Examples
    --------
    >>> minimum_portion_g("astm_c136_coarse", 19000.0)
    Decimal('5000')
    """
    rows = [row for row in read_table("sample_mass") if row["table"] == table]
    if not rows:
        known = ", ".join(portion_tables())
        raise UnknownName(f"There is no table {table!r} of test portions. Known: {known}.")
    fitting = [row for row in rows if not row["size_um"] or float(row["size_um"]) >= size_um]
    if not fitting:
        raise NotDeterminable(
            f"The table {table} ends below {designation(size_um)}; agree the portion's mass."
        )
    return min(Decimal(row["min_mass_g"]) for row in fitting)


@dataclass(frozen=True, slots=True)
class EndPoint:
    """The procedure's end point: how much may still pass in the extra minute."""

    limit_pct: float
    of: EndPointOf = EndPointOf.TOTAL


def end_point_verdict(
    end_point: EndPoint, passed_g: float, retained_g: float, total_g: float
) -> Verdict:
    """Give the verdict on an extra minute of sieving on one sieve.

    Parameters
    ----------
    end_point : EndPoint
        The procedure's limit [%] and what it is a percentage of.
    passed_g : float
        Mass that passed this sieve in the extra minute [g], >= 0.
    retained_g : float
        Mass on this sieve before the extra minute [g], >= 0.
    total_g : float
        Mass of the whole portion [g], > 0.

    Returns
    -------
    Verdict
        `exceeded` means: sieve longer.

    Raises
    ------
    OutOfRange
        When the limit is negative.

    Notes
    -----
    Equal to the limit is within it. With the limit on the sieve's own mass, an empty sieve
    that let nothing through is within.

    References
    ----------
    ASTM C136-14, 8.4: 0.5 % of the total by mass (two sources); EN 933-1, 7.2: 1.0 % of the
    mass on the sieve (from memory).

    Examples
    --------
    >>> end_point_verdict(EndPoint(0.5), 2.6, 80.0, 500.0).value
    'exceeded'
    """
    whole_g = total_g if end_point.of is EndPointOf.TOTAL else retained_g
    if whole_g <= 0:
        return Verdict.WITHIN if passed_g == 0 else Verdict.EXCEEDED
    return against_limit(100 * passed_g / whole_g, end_point.limit_pct)
