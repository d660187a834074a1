"""The package's own tables: CSV files in `data/`, each row with its source."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from gradation.science.errors import UnknownName

DATA = Path(__file__).parent / "data"


def table_names() -> tuple[str, ...]:
    """Give the names of all tables, without the ending.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of str
        In alphabetical order.

    Raises
    ------
    OSError
        When the package was installed without its data folder.

    Notes
    -----
    A name is what `read_table` takes.

    References
    ----------
    Each table names the source of every row itself.

    Examples
    --------
    >>> "sieve_series" in table_names()
    True
    """
    return tuple(sorted(path.stem for path in DATA.glob("*.csv")))


@cache
def read_table(name: str) -> tuple[Mapping[str, str], ...]:
    """Give all rows of one table, as text by column name.

    Parameters
    ----------
    name : str
        Name of the file in `data/` without `.csv`.

    Returns
    -------
    tuple of mappings
        Rows in the order of the file; an empty text means "no limit" or "not stated".

    Raises
    ------
    UnknownName
        When there is no such table.

    Notes
    -----
    Read once per process. Every table has the columns `source` and `confidence`.

    References
    ----------
    Each row names its own source.

    Examples
    --------
    >>> read_table("sieve_series")[0]["aperture_um"]
    '125000'
    """
    path = DATA / f"{name}.csv"
    if not path.is_file():
        raise UnknownName(f"There is no table {name!r}. Known: {', '.join(table_names())}.")
    with path.open(encoding="utf-8", newline="") as lines:
        return tuple(MappingProxyType(row) for row in csv.DictReader(lines))
