"""Limits of mass balance and end point as editions of methods state them, by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from gradation.science.acceptance import EndPointOf
from gradation.science.errors import UnknownName
from gradation.science.tables import read_table

LOSS = "mass balance"
END_POINT = "end point"


@dataclass(frozen=True, slots=True)
class NamedLimit:
    """A limit in percent, and what it is a percentage of."""

    limit_pct: Decimal
    of: EndPointOf


@cache
def named_limits(topic: str) -> Mapping[str, NamedLimit]:
    """Give the limits of a topic that are plain percentages, by the name of their rule.

    Parameters
    ----------
    topic : str
        `LOSS` or `END_POINT`

    Returns
    -------
    mapping of str to NamedLimit
        limits [%]; rules with a limit of another kind are left out

    Raises
    ------
    Nothing
        An unknown topic has no limits.

    Notes
    -----
    A limit on what passes in the extra minute is of the sieve's own mass where the rule says
    so, else of the whole portion.

    References
    ----------
    `data/acceptance_rules.csv`, where each row names its source.

    Examples
    --------
    >>> named_limits(LOSS)["astm_c136_loss"].limit_pct
    Decimal('0.3')
    """
    limits = {
        row["rule"]: NamedLimit(Decimal(row["value"]), _of(row["basis"]))
        for row in read_table("acceptance_rules")
        if row["topic"] == topic and row["unit"] == "%"
    }
    return MappingProxyType(limits)


def named_limit(topic: str, name: str) -> NamedLimit:
    """Give one limit by its name.

    Parameters
    ----------
    topic : str
        `LOSS` or `END_POINT`
    name : str
        name of the rule

    Returns
    -------
    NamedLimit
        the limit [%]

    Raises
    ------
    UnknownName
        when the topic has no such rule

    Notes
    -----
    The message lists the rules there are.

    References
    ----------
    `data/acceptance_rules.csv`.

    Examples
    --------
    >>> named_limit(END_POINT, "en_933_1_end").of.value
    'sieve'
    """
    known = named_limits(topic)
    if name not in known:
        raise UnknownName(f"There is no rule {name!r} for the {topic}. Known: {', '.join(known)}.")
    return known[name]


def _of(basis: str) -> EndPointOf:
    """What the wording of a rule makes its percentage of."""
    return EndPointOf.SIEVE if "that sieve" in basis else EndPointOf.TOTAL
