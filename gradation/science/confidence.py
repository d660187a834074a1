"""Which rules kept here were set down from memory, so that nobody judges by them unawares."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from gradation.science.tables import read_table

FROM_MEMORY = "from memory"

_KEYS = {
    "loading_limits": "rule",
    "sample_mass": "table",
    "acceptance_rules": "rule",
    "published_precision": "aggregate",
    "grubbs_double": "n",
    "sieve_tolerances": "edition",
    "fractions": "scheme",
    "afs_multipliers": "set",
}
_WHAT = {
    "loading_limits": "load limits",
    "sample_mass": "smallest test portions",
    "acceptance_rules": "limits",
    "published_precision": "published precision",
    "grubbs_double": "critical values for two outliers",
    "sieve_tolerances": "permitted deviations",
    "fractions": "size classes",
    "afs_multipliers": "multipliers",
}


@dataclass(frozen=True, slots=True)
class Unconfirmed:
    """A rule that the laboratory must confirm against its own edition."""

    table: str
    rule: str
    standard: str
    source: str

    @property
    def sentence(self) -> str:
        """What to do about it, in words."""
        standard = f" ({self.standard})" if self.standard else ""
        source = "" if self.source == FROM_MEMORY else f" Noted with them: {self.source}."
        return (
            f"The {_WHAT[self.table]} {self.rule}{standard} are kept here from memory. Confirm "
            f"them against your own edition before they pass or fail a test.{source}"
        )


def unconfirmed(table: str, names: Iterable[str]) -> tuple[Unconfirmed, ...]:
    """Give those rules of a table that were set down from memory.

    Parameters
    ----------
    table : str
        name of the table, as `tables.read_table` takes it
    names : iterable of str
        rules of that table that are used

    Returns
    -------
    tuple of Unconfirmed
        one for each rule with a row from memory, in the order asked

    Raises
    ------
    UnknownName
        when there is no such table

    Notes
    -----
    A rule counts as unconfirmed as soon as one of its rows is from memory. Rows with a single
    source, or computed, are no part of this.

    References
    ----------
    Column `confidence` of the tables in `data/`.

    Examples
    --------
    >>> [each.standard for each in unconfirmed("sample_mass", ["astm_d422", "astm_c136_fine"])]
    ['ASTM D422 (withdrawn)']
    """
    found = (_from_memory(table, name) for name in dict.fromkeys(names))
    return tuple(each for each in found if each is not None)


@lru_cache(maxsize=512)
def _from_memory(table: str, name: str) -> Unconfirmed | None:
    """The first row of a rule that is from memory; every preview asks for the same few."""
    key = _KEYS[table]
    for row in read_table(table):
        if row[key] == name and row["confidence"] == FROM_MEMORY:
            standard = " ".join(filter(None, (row.get("standard"), row.get("clause"))))
            return Unconfirmed(table, name, standard, row["source"])
    return None
