"""The plasticity chart: kind of the fines from liquid limit and plasticity index."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gradation.science.errors import Impossible, NotDeterminable

A_LINE_SLOPE = 0.73  # ASTM D2487: PI = 0.73 (LL - 20)
A_LINE_FOOT = 20.0  # ASTM D2487
U_LINE_SLOPE = 0.9  # ASTM D2487: PI = 0.9 (LL - 8), from memory
U_LINE_FOOT = 8.0  # ASTM D2487, from memory
HIGH_LIQUID_LIMIT = 50.0  # ASTM D2487: L below, H from 50 up
HATCHED_FROM, HATCHED_TO = 4.0, 7.0  # ASTM D2487: hatched zone of CL-ML
ORGANIC_RATIO = 0.75  # ASTM D2487: liquid limit oven-dried / not dried below this is organic
NOISE = 1e-9  # binary noise; limits are reported in whole numbers


class FinesKind(StrEnum):
    """What the fines are: the symbol of the fine-grained soil they would be."""

    ML = "ML"
    CL = "CL"
    CL_ML = "CL-ML"
    MH = "MH"
    CH = "CH"
    OL_SILT = "OL silt"
    OL_CLAY = "OL clay"
    OH_SILT = "OH silt"
    OH_CLAY = "OH clay"
    SILTY = "silty"
    CLAYEY = "clayey"

    @property
    def is_organic(self) -> bool:
        """Whether the fines are organic."""
        return self.value.startswith("O")

    @property
    def symbol(self) -> str:
        """Group symbol of a soil of these fines alone; '' for a kind told by hand only."""
        return "" if self in (FinesKind.SILTY, FinesKind.CLAYEY) else self.value.split()[0]

    @property
    def behaviour(self) -> str:
        """silt, clay or silty clay, as group names are looked up."""
        if self is FinesKind.CL_ML:
            return "silty clay"
        silts = (FinesKind.ML, FinesKind.MH, FinesKind.OL_SILT, FinesKind.OH_SILT, FinesKind.SILTY)
        return "silt" if self in silts else "clay"


@dataclass(frozen=True, slots=True)
class Plasticity:
    """Limits of the fines, or that they are not plastic, or what a hand test says.

    Parameters
    ----------
    liquid_limit_pct : float or None
        Liquid limit, sample not dried [%].
    plasticity_index : float or None
        Plasticity index [-].
    oven_dried_liquid_limit_pct : float or None
        Liquid limit after oven drying [%]; needed to find organic fines.
    is_non_plastic : bool
        The thread cannot be rolled; taken as silt.
    seen_by_hand : FinesKind or None
        SILTY or CLAYEY by the hand tests, when no limits were measured.
    """

    liquid_limit_pct: float | None = None
    plasticity_index: float | None = None
    oven_dried_liquid_limit_pct: float | None = None
    is_non_plastic: bool = False
    seen_by_hand: FinesKind | None = None


def a_line(liquid_limit_pct: float) -> float:
    """Plasticity index on the A-line, which parts clays from silts.

    Parameters
    ----------
    liquid_limit_pct : float
        Liquid limit [%].

    Returns
    -------
    float
        Plasticity index [-].

    Raises
    ------
    GradationError
        Never.

    Notes
    -----
    PI = 0.73 (LL - 20), not below 4: level at PI = 4 up to LL = 25.5.

    References
    ----------
    ASTM D2487, plasticity chart.

    Examples
    --------
    >>> round(a_line(33), 2), round(a_line(70), 1)
    (9.49, 36.5)
    """
    return max(HATCHED_FROM, A_LINE_SLOPE * (liquid_limit_pct - A_LINE_FOOT))


def u_line(liquid_limit_pct: float) -> float:
    """Plasticity index on the U-line, above which no natural soil is expected.

    Parameters
    ----------
    liquid_limit_pct : float
        Liquid limit [%].

    Returns
    -------
    float
        Plasticity index [-].

    Raises
    ------
    GradationError
        Never.

    Notes
    -----
    PI = 0.9 (LL - 8), upright at LL = 16 up to PI = 7.

    References
    ----------
    ASTM D2487, plasticity chart (from memory).

    Examples
    --------
    >>> round(u_line(50), 1)
    37.8
    """
    return U_LINE_SLOPE * (liquid_limit_pct - U_LINE_FOOT)


def _limits(plasticity: Plasticity) -> tuple[float, float]:
    liquid, index = plasticity.liquid_limit_pct, plasticity.plasticity_index
    if liquid is None or index is None:
        raise NotDeterminable(
            "The kind of the fines needs the liquid limit and the plasticity index, or the "
            "finding that they are not plastic. Test the fraction below 425 µm."
        )
    if not (0 < liquid < 1000 and 0 <= index <= liquid):
        raise Impossible(
            f"A liquid limit of {liquid:g} with a plasticity index of {index:g} cannot be: the "
            "index lies from 0 to the liquid limit. Check both."
        )
    return liquid, index


def is_organic(plasticity: Plasticity) -> bool:
    """Whether the fines are organic by the fall of the liquid limit on oven drying.

    Parameters
    ----------
    plasticity : Plasticity
        With both liquid limits; without the oven-dried one the fines count as inorganic.

    Returns
    -------
    bool
        True when the ratio is below 0.75.

    Raises
    ------
    Impossible
        When a liquid limit is not above 0.

    Notes
    -----
    Organic when LL(oven-dried) / LL(not dried) < 0.75.

    References
    ----------
    ASTM D2487, organic soils.

    Examples
    --------
    >>> is_organic(Plasticity(32, 10, oven_dried_liquid_limit_pct=21))
    True
    """
    dried, liquid = plasticity.oven_dried_liquid_limit_pct, plasticity.liquid_limit_pct
    if dried is None or liquid is None:
        return False
    if dried <= 0 or liquid <= 0:
        raise Impossible("A liquid limit must be above 0. Check both liquid limits.")
    return dried / liquid < ORGANIC_RATIO - NOISE


def fines_kind(plasticity: Plasticity) -> FinesKind:
    """Kind of the fines on the plasticity chart.

    Parameters
    ----------
    plasticity : Plasticity
        Limits, or non-plastic, or the finding by hand.

    Returns
    -------
    FinesKind
        The symbol the fines alone would have; SILTY or CLAYEY when told by hand.

    Raises
    ------
    NotDeterminable
        When a limit is missing.
    Impossible
        When the limits cannot be.

    Notes
    -----
    On or above the A-line: clay, with PI > 7 CL and with PI from 4 to 7 CL-ML for LL < 50, CH
    from LL 50 up. Below it, or PI < 4: silt, ML or MH. Organic fines keep the side of the line
    as "organic clay" or "organic silt"; they have no hatched zone.

    References
    ----------
    ASTM D2487, classification chart and plasticity chart.

    Examples
    --------
    >>> fines_kind(Plasticity(22, 5)).value, fines_kind(Plasticity(70, 10)).value
    ('CL-ML', 'MH')
    """
    if plasticity.seen_by_hand in (FinesKind.SILTY, FinesKind.CLAYEY):
        return plasticity.seen_by_hand
    if plasticity.is_non_plastic:
        return FinesKind.ML
    liquid, index = _limits(plasticity)
    is_high = liquid >= HIGH_LIQUID_LIMIT - NOISE
    is_clay = index >= a_line(liquid) - NOISE
    if is_organic(plasticity):
        return _organic_kind(is_high=is_high, is_clay=is_clay)
    if is_high:
        return FinesKind.CH if is_clay else FinesKind.MH
    if not is_clay:
        return FinesKind.ML
    return FinesKind.CL_ML if index <= HATCHED_TO + NOISE else FinesKind.CL


def _organic_kind(*, is_high: bool, is_clay: bool) -> FinesKind:
    if is_high:
        return FinesKind.OH_CLAY if is_clay else FinesKind.OH_SILT
    return FinesKind.OL_CLAY if is_clay else FinesKind.OL_SILT


def cautions(plasticity: Plasticity) -> tuple[str, ...]:
    """What should be looked at before the limits are trusted.

    Parameters
    ----------
    plasticity : Plasticity
        Limits of the fines.

    Returns
    -------
    tuple of str
        Sentences for the report; empty when nothing is odd.

    Raises
    ------
    GradationError
        Never.

    Notes
    -----
    A point above the U-line is rare and mostly a slip; a point near the A-line or near LL 50 may
    change its symbol with the next test.

    References
    ----------
    ASTM D2487, plasticity chart (U-line from memory); nearness of 1 index point or 1 % is
    common practice.

    Examples
    --------
    >>> cautions(Plasticity(33, 9))[0]
    'The point lies 0.5 below the A-line: another test may change the symbol.'
    """
    liquid, index = plasticity.liquid_limit_pct, plasticity.plasticity_index
    if liquid is None or index is None or plasticity.is_non_plastic:
        return ()
    said = []
    if index > max(HATCHED_TO, u_line(liquid)) + NOISE:
        said.append(
            "The point lies above the U-line, where no soil is expected: check both limits."
        )
    above = index - a_line(liquid)
    if abs(above) < 1:
        side = "above" if above >= 0 else "below"
        said.append(
            f"The point lies {abs(above):.1f} {side} the A-line: another test may change the "
            "symbol."
        )
    if abs(liquid - HIGH_LIQUID_LIMIT) < 1:
        said.append("The liquid limit is close to 50: another test may change the symbol.")
    return tuple(said)
