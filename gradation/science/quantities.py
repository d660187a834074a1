"""Numbers as people type them: decimal point or comma, nothing else."""

from __future__ import annotations

import re
from decimal import Decimal

from gradation.science.errors import GradationError

MOST_DIGITS = 12
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")


class NotANumber(GradationError):
    """What was typed is not a plain decimal number."""


def parse_decimal(text: str) -> Decimal:
    """Give the decimal number that was typed, exactly.

    Parameters
    ----------
    text : str
        What was typed; spaces around it are ignored.

    Returns
    -------
    Decimal
        The number with as many decimals as were typed.

    Raises
    ------
    NotANumber
        When the text is empty, has letters, a unit, an exponent, two separators, a
        thousands separator, digits of another script, or more than twelve digits.

    Notes
    -----
    One point or one comma separates the decimals. A text such as ``1,234`` is read as
    one and a bit, never as a thousand: thousands separators are not accepted at all.

    References
    ----------
    ISO 80000-1:2022, 7.3.2: the decimal sign is a comma or a point on the line.

    Examples
    --------
    >>> parse_decimal(" 512,4 ")
    Decimal('512.4')
    """
    typed = text.strip(" \t\r\n\u00a0")
    if not typed:
        raise NotANumber("Nothing was typed. Type a number such as 512.4.")
    if not _PLAIN.fullmatch(typed):
        raise NotANumber(
            f"{_shown(typed)} is not a number. Type digits with one decimal point or comma, "
            "without unit, such as 512.4."
        )
    digits = len(typed.lstrip("+-")) - ("." in typed or "," in typed)
    if digits > MOST_DIGITS:
        raise NotANumber(
            f"{_shown(typed)} has more than {MOST_DIGITS} digits. Type the number as the balance "
            "shows it."
        )
    return Decimal(typed.replace(",", "."))


def parse_mass_g(text: str) -> Decimal:
    """Give the mass in grams that was typed.

    Parameters
    ----------
    text : str
        A mass [g], zero or more, with decimal point or comma.

    Returns
    -------
    Decimal
        The mass [g] with as many decimals as were typed.

    Raises
    ------
    NotANumber
        When the text is no plain number, or is negative.

    Notes
    -----
    Zero is a measured value ("nothing on the sieve"), not a missing one. ``-0`` counts as 0.

    References
    ----------
    Common practice: a net mass below zero means a wrong tare, so it is weighed again.

    Examples
    --------
    >>> parse_mass_g("12.30")
    Decimal('12.30')
    """
    mass_g = parse_decimal(text)
    if mass_g < 0:
        raise NotANumber(
            f"A mass cannot be negative: {as_typed(mass_g)} g. Check the tare and weigh again."
        )
    return abs(mass_g)


def as_typed(value: Decimal) -> str:
    """Give a decimal as a person would type it: no exponent, all its decimals.

    Parameters
    ----------
    value : Decimal
        Any finite number.

    Returns
    -------
    str
        Digits with a decimal point.

    Raises
    ------
    NotANumber
        When the value is not finite.

    Notes
    -----
    Trailing zeros stay: they state the readability of the balance.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> as_typed(Decimal("1.20E+2"))
    '120'
    """
    if not value.is_finite():
        raise NotANumber("This number has no finite value.")
    return f"{value:f}"


def _shown(typed: str) -> str:
    """The typed text in quotes, cut short so that a message stays readable."""
    return repr(typed if len(typed) <= 24 else typed[:23] + "…")
