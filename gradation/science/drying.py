"""Moisture of a test portion: dry mass from moist mass, constant mass."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from gradation.science.errors import Impossible


def moisture_pct(moist_mass_g: Decimal, dry_mass_g: Decimal) -> Decimal:
    """Give the moisture content as a percentage of the dry mass.

    Parameters
    ----------
    moist_mass_g : Decimal
        Net mass before drying [g].
    dry_mass_g : Decimal
        Net mass after drying [g], > 0 and not above the moist mass.

    Returns
    -------
    Decimal
        Moisture [% of dry mass], unrounded.

    Raises
    ------
    Impossible
        When the dry mass is not above zero or exceeds the moist mass.

    Notes
    -----
    w = 100 (m_moist - m_dry) / m_dry.

    References
    ----------
    AASHTO T 255 / ASTM C566, as in the WAQTC field procedure (from memory).

    Examples
    --------
    >>> round(moisture_pct(Decimal("1532.6"), Decimal("1400.9")), 1)
    Decimal('9.4')
    """
    if dry_mass_g <= 0:
        raise Impossible("The dry mass must be above zero.")
    if moist_mass_g < dry_mass_g:
        raise Impossible(
            "The dry mass is larger than the moist mass. Check which is which, and the tare."
        )
    return 100 * (moist_mass_g - dry_mass_g) / dry_mass_g


def dry_mass_g(moist_mass_g: Decimal, moisture_pct: Decimal) -> Decimal:
    """Give the dry mass of a moist portion from its moisture content.

    Parameters
    ----------
    moist_mass_g : Decimal
        Net mass as weighed [g], > 0.
    moisture_pct : Decimal
        Moisture [% of dry mass], >= 0.

    Returns
    -------
    Decimal
        Dry mass [g], unrounded.

    Raises
    ------
    Impossible
        When the moist mass is not above zero or the moisture is negative.

    Notes
    -----
    m_dry = m_moist / (1 + w/100). Taking w % off the moist mass is a different, wrong value.

    References
    ----------
    Identity of the definition in AASHTO T 255 / ASTM C566 (from memory).

    Examples
    --------
    >>> round(dry_mass_g(Decimal("1532.6"), Decimal("9.4")), 2)
    Decimal('1400.91')
    """
    if moist_mass_g <= 0:
        raise Impossible("The moist mass must be above zero.")
    if moisture_pct < 0:
        raise Impossible("The moisture cannot be negative.")
    return moist_mass_g / (1 + moisture_pct / 100)


def mass_changes_pct(masses_g: Sequence[Decimal]) -> tuple[Decimal, ...]:
    """Give the loss of each drying cycle as a percentage of the mass before it.

    Parameters
    ----------
    masses_g : sequence of Decimal
        Successive net masses [g], each > 0.

    Returns
    -------
    tuple of Decimal
        One value fewer than masses [% of the previous mass]; negative for a gain.

    Raises
    ------
    Impossible
        When a mass is not above zero.

    Notes
    -----
    100 (m_(k-1) - m_k) / m_(k-1).

    References
    ----------
    AASHTO T 255, constant mass, as in the WAQTC field procedure (from memory).

    Examples
    --------
    >>> [round(c, 2) for c in mass_changes_pct([Decimal("1405.1"), Decimal("1402.0")])]
    [Decimal('0.22')]
    """
    if any(mass_g <= 0 for mass_g in masses_g):
        raise Impossible("Every mass of the drying must be above zero.")
    pairs = pairwise(masses_g)
    return tuple(100 * (before - after) / before for before, after in pairs)


def constant_after(masses_g: Sequence[Decimal], limit_pct: Decimal) -> int | None:
    """Give the number of the weighing at which the mass was constant.

    Parameters
    ----------
    masses_g : sequence of Decimal
        Successive net masses [g], each > 0.
    limit_pct : Decimal
        Largest change that counts as constant [% of the previous mass].

    Returns
    -------
    int or None
        Number of the weighing, from 1; None while the mass still changes.

    Raises
    ------
    Impossible
        When a mass is not above zero.

    Notes
    -----
    The size of the change counts, whether loss or gain; a change equal to the limit is
    constant. The limit belongs to the procedure's edition.

    References
    ----------
    AASHTO T 255 (WAQTC) and EN 933-1: 0.1 % (from memory).

    Examples
    --------
    >>> constant_after([Decimal("1405.1"), Decimal("1402.0"), Decimal("1400.9")], Decimal("0.1"))
    3
    """
    for number, change in enumerate(mass_changes_pct(masses_g), start=2):
        if abs(change) <= limit_pct:
            return number
    return None
