"""The only place where a figure loses digits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, InvalidOperation
from enum import StrEnum

from gradation.science.errors import NotDeterminable, OutOfRange

# Percentages come from sums of a few dozen masses in double precision; their binary noise
# stays below 1e-12, so what differs from a tie by less than this is the tie itself.
NOISE_DECIMALS = 10
MOST_DECIMALS = 6
#: No percentage passing is reported finer, so that nothing finer says anything about it.
UNCERTAINTY_DECIMALS = 2


class RoundingMode(StrEnum):
    """What happens to an exact half."""

    HALF_EVEN = "half_even"
    HALF_UP = "half_up"


_DECIMAL_MODE = {
    RoundingMode.HALF_EVEN: ROUND_HALF_EVEN,
    RoundingMode.HALF_UP: ROUND_HALF_UP,
}


@dataclass(frozen=True, slots=True)
class FinerRule:
    """At one aperture, a passing below a limit is reported with more decimals."""

    aperture_um: Decimal
    below_pct: Decimal
    decimals: int


@dataclass(frozen=True, slots=True)
class Rounding:
    """How a procedure reports percentages passing."""

    passing_decimals: int = 0
    mode: RoundingMode = RoundingMode.HALF_EVEN
    finer: tuple[FinerRule, ...] = ()


def round_reported(
    value: float | Decimal, decimals: int, mode: RoundingMode = RoundingMode.HALF_EVEN
) -> Decimal:
    """Give the value rounded once to the decimals reported.

    Parameters
    ----------
    value : float or Decimal
        Unrounded value in any unit; finite.
    decimals : int
        Decimals to keep, 0 to 6.
    mode : RoundingMode
        What happens to an exact half.

    Returns
    -------
    Decimal
        With exactly `decimals` decimals; a rounded zero carries no minus sign.

    Raises
    ------
    NotDeterminable
        When the value is NaN or infinite.
    OutOfRange
        When `decimals` is not 0 to 6.

    Notes
    -----
    A float is first taken to ten decimals: 16.5 that came out as 16.499999999999996 is a
    true tie and is treated as one, while 16.4993 stays below the tie and is never rounded
    twice. `half_up` moves a half away from zero.

    References
    ----------
    ASTM E29, clause 6.4 (half to even; from memory).

    Examples
    --------
    >>> round_reported(16.5, 0), round_reported(16.5, 0, RoundingMode.HALF_UP)
    (Decimal('16'), Decimal('17'))
    """
    if not 0 <= decimals <= MOST_DECIMALS:
        raise OutOfRange(f"Report 0 to {MOST_DECIMALS} decimals, not {decimals}.")
    exact = _without_noise(value)
    rounded = exact.quantize(Decimal(1).scaleb(-decimals), rounding=_DECIMAL_MODE[mode])
    return abs(rounded) if rounded == 0 else rounded


def round_significant(
    value: float | Decimal, digits: int = 3, mode: RoundingMode = RoundingMode.HALF_EVEN
) -> Decimal:
    """Give the value rounded once to a number of significant digits.

    Parameters
    ----------
    value : float or Decimal
        Unrounded value in any unit; finite.
    digits : int
        Significant digits to keep, 1 to 12.
    mode : RoundingMode
        What happens to an exact half.

    Returns
    -------
    Decimal
        Without exponent; zeros before the decimal point may be fill.

    Raises
    ------
    NotDeterminable
        When the value is NaN or infinite.
    OutOfRange
        When `digits` is not 1 to 12.

    Notes
    -----
    For sizes read between two sieves, which are meant to three digits at most.

    References
    ----------
    ASTM E29, clause 6.4 (half to even; from memory).

    Examples
    --------
    >>> round_significant(189.06), round_significant(1234.0)
    (Decimal('189'), Decimal('1230'))
    """
    if not 1 <= digits <= 12:
        raise OutOfRange(f"Report 1 to 12 significant digits, not {digits}.")
    exact = _without_noise(value)
    if exact == 0:
        return Decimal(0)
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    rounded = exact.quantize(step, rounding=_DECIMAL_MODE[mode])
    return Decimal(f"{rounded:f}")


def round_uncertainty(value: float | Decimal, decimals: int = UNCERTAINTY_DECIMALS) -> Decimal:
    """Give an expanded uncertainty as it is written beside its result.

    Parameters
    ----------
    value : float or Decimal
        Unrounded expanded uncertainty in the unit of the result, 0 or more; finite.
    decimals : int
        Decimals of the result, 0 to 6; of a percentage passing there are at most 2.

    Returns
    -------
    Decimal
        Two significant digits, but nothing finer than `decimals`: what is smaller is rounded up,
        so that it does not vanish.

    Raises
    ------
    NotDeterminable
        When the value is NaN or infinite.
    OutOfRange
        When `decimals` is not 0 to 6.

    Notes
    -----
    No passing is reported finer than two decimals, so a third one of its uncertainty would say
    more than the figure beside it; 0.0091 mm beside a size of 11.8 mm would do so too.

    References
    ----------
    JCGM 100:2008, 7.2.6: at most two digits, no excessive ones; rounding up may be appropriate,
    and a result is rounded to be consistent with its uncertainty.

    Examples
    --------
    >>> round_uncertainty(0.1736), round_uncertainty(0.003), round_uncertainty(0.0091, 1)
    (Decimal('0.17'), Decimal('0.01'), Decimal('0.1'))
    """
    if not 0 <= decimals <= 6:
        raise OutOfRange(f"Report 0 to 6 decimals, not {decimals}.")
    rounded = round_significant(value, 2)
    if -int(rounded.as_tuple().exponent) <= decimals:
        return rounded
    finest = Decimal(1).scaleb(-decimals)
    return _without_noise(value).quantize(finest, rounding=ROUND_CEILING)


#: A passing is rounded by its procedure, mostly to whole percent: its uncertainty goes further.
FURTHER_THAN_PASSING = 1


def uncertainty_beside(value: float | Decimal, result: str, further: int = 0) -> Decimal:
    """Give an expanded uncertainty as it is written beside a result that is written so.

    Parameters
    ----------
    value : float or Decimal
        Unrounded expanded uncertainty in the unit of the result, 0 or more; finite.
    result : str
        The result as it is printed, with a point, such as "38" [%] or "11.8" [mm].
    further : int
        Decimals that it may have beyond the result's: `FURTHER_THAN_PASSING` beside a passing.

    Returns
    -------
    Decimal
        As `round_uncertainty` gives it, no finer than the result and the further decimals.

    Raises
    ------
    NotDeterminable
        When the value is NaN or infinite, or the result is no number.

    Notes
    -----
    What is smaller than its last place is rounded up: it neither says more than the result nor
    vanishes. A passing has the digits of its procedure, not of its uncertainty. Beside 38 % an
    uncertainty of 0.17 % is written 0.2 %: 1 % would hide why a passing near its limit conforms.

    References
    ----------
    JCGM 100:2008, 7.2.6, as for `round_uncertainty`: additional digits may be kept.

    Examples
    --------
    >>> uncertainty_beside(0.1736, "38", FURTHER_THAN_PASSING), uncertainty_beside(0.02, "11.8")
    (Decimal('0.2'), Decimal('0.1'))
    """
    return round_uncertainty(value, max(0, -_finest_place(result)) + further)


def _finest_place(written: str) -> int:
    """Give the power of ten of the last figure written."""
    try:
        exponent = Decimal(written).as_tuple().exponent
    except InvalidOperation:
        exponent = "n"
    if not isinstance(exponent, int):
        raise NotDeterminable(f"{written!r} is no number; nothing can be said beside it.")
    return exponent


def reported_passing(
    passing_pct: float | Decimal, rounding: Rounding, aperture_um: Decimal | float | None = None
) -> Decimal:
    """Give the percentage passing as it stands on the certificate.

    Parameters
    ----------
    passing_pct : float or Decimal
        Unrounded passing [%].
    rounding : Rounding
        The procedure's rule.
    aperture_um : Decimal, float or None
        Aperture [µm] the value belongs to; a finer rule applies at its own aperture only.

    Returns
    -------
    Decimal
        Rounded passing [%]; its decimals are the decimals reported.

    Raises
    ------
    NotDeterminable
        When the value is NaN or infinite.
    OutOfRange
        When the rule asks for more than six decimals.

    Notes
    -----
    With a finer rule (75 µm, below 10 %, 1 decimal) a passing of 9.94 % is reported as 9.9
    and one of 9.96 % as 10: what rounds up to the limit is no longer below it. The finer
    value is rounded from the unrounded one, not from the whole percent.

    References
    ----------
    ASTM C136-14, 10.2: whole percent, 75 µm below 10 % to 0.1 % (public copy); EN 933-1, 9:
    0.063 mm to 0.1 % (from memory).

    Examples
    --------
    >>> rule = FinerRule(Decimal(75), Decimal(10), 1)
    >>> str(reported_passing(5.48, Rounding(finer=(rule,)), Decimal(75)))
    '5.5'
    """
    for rule in rounding.finer:
        if aperture_um is not None and float(aperture_um) == float(rule.aperture_um):
            finer = round_reported(passing_pct, rule.decimals, rounding.mode)
            if finer < rule.below_pct:
                return finer
    return round_reported(passing_pct, rounding.passing_decimals, rounding.mode)


def _without_noise(value: float | Decimal) -> Decimal:
    """The decimal the value stands for, free of binary noise."""
    if not math.isfinite(value):
        raise NotDeterminable("This value is not known, so it cannot be rounded or reported.")
    if isinstance(value, Decimal):
        return value
    return Decimal(f"{value:.{NOISE_DECIMALS}f}")
