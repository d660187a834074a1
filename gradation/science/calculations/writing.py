"""Writing results as plain data: dataclasses, arrays and enumerations as JSON has them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields, is_dataclass
from enum import Enum
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np

from gradation.science.confidence import unconfirmed

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def plain(value: object) -> object:
    """Give any result as data that `json.dumps` takes.

    Parameters
    ----------
    value : object
        dataclass, array, number, text, enumeration, or a mapping or sequence of them

    Returns
    -------
    dict, list, str, int, float, bool or None
        the same; NaN and infinity become None

    Raises
    ------
    Nothing
        Other kinds are given as text.

    Notes
    -----
    Fields of a dataclass keep their names.

    References
    ----------
    RFC 8259: JSON has no NaN, hence null.

    Examples
    --------
    >>> plain((np.array([1.0, np.nan]), True))
    [[1.0, None], True]
    """
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value) and not isinstance(value, type):
        return record(value)
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float):
        return value if isfinite(value) else None
    return value if value is None or isinstance(value, str | int) else str(value)


def record(value: DataclassInstance) -> dict[str, Any]:
    """Give the fields of a dataclass as data that `json.dumps` takes.

    Parameters
    ----------
    value : dataclass
        any result

    Returns
    -------
    dict
        its fields by name

    Raises
    ------
    Nothing
        Every dataclass can be written.

    Notes
    -----
    As `plain`.

    References
    ----------
    RFC 8259.

    Examples
    --------
    >>> from gradation.science.wear import WearLimits
    >>> record(WearLimits(None, 2.0))
    {'lower': None, 'upper': 2.0, 'unit': 'µm'}
    """
    return {field.name: plain(getattr(value, field.name)) for field in fields(value)}


def counted(positions: Iterable[int]) -> list[int]:
    """Give positions as people count, from 1.

    Parameters
    ----------
    positions : iterable of int
        positions from 0

    Returns
    -------
    list of int
        the same from 1

    Raises
    ------
    Nothing
        Every position has an answer.

    Notes
    -----
    At the edge only; inside, positions count from 0.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> counted((0, 13))
    [1, 14]
    """
    return [each + 1 for each in positions]


def from_memory(name: str, used: Iterable[str]) -> list[dict[str, str]]:
    """Give the rules used that are kept from memory, as plain data.

    Parameters
    ----------
    name : str
        name of the table
    used : iterable of str
        rules of it that were used

    Returns
    -------
    list of dict
        table, rule, standard, source, sentence

    Raises
    ------
    Nothing
        Rules that are confirmed give nothing.

    Notes
    -----
    The laboratory must confirm them before they pass or fail anything.

    References
    ----------
    Column `confidence` of the tables in `data/`.

    Examples
    --------
    >>> [each["rule"] for each in from_memory("published_precision", ["fine"])]
    ['fine']
    """
    return [asdict(each) | {"sentence": each.sentence} for each in unconfirmed(name, used)]
