"""Reading numbers, lists and tables of numbers, with a fault for each that is none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from gradation.science.quantities import MOST_DIGITS
from gradation.science.worksheet_reading import Fields, in_range, read_decimal

Answer = Callable[[], dict[str, Any]]
Reader = Callable[[Fields], Answer]
"""Reads a calculation, noting faults, and gives what computes it once there are none."""

MOST_VALUES = 10_000
"""Values of one list; longer series belong into the batch interface of a program."""
ZERO = Decimal(0)


def number(
    source: Fields,
    key: str,
    default: float = 0.0,
    *,
    least: Decimal | None = None,
    above: Decimal | None = None,
) -> float:
    """Give a number of an object, or the default where it is missing.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the field
    default : float
        what counts when it is missing
    least, above : Decimal, optional
        the number must be at least, or above, this

    Returns
    -------
    float
        the number

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    A required number is asked for by `Fields.require`; its default then never counts.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> number(Fields({"u_um": "0,5"}, "$", []), "u_um")
    0.5
    """
    if not source.has(key):
        return default
    value = _one(source, source.data[key], source.at(key), (least, above))
    return default if value is None else value


def maybe(source: Fields, key: str, *, least: Decimal | None = None) -> float | None:
    """Give a number of an object, or None where it is missing.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the field
    least : Decimal, optional
        the number must be at least this

    Returns
    -------
    float or None
        the number

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    null counts as missing.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> maybe(Fields({}, "$", []), "target") is None
    True
    """
    if not source.has(key):
        return None
    return _one(source, source.data[key], source.at(key), (least, None))


def numbers(
    source: Fields, key: str, *, least: Decimal | None = None, above: Decimal | None = None
) -> tuple[float, ...]:
    """Give a list of numbers; each that is none is a fault.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the list
    least, above : Decimal, optional
        every number must be at least, or above, this

    Returns
    -------
    tuple of float
        the numbers

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    At least one, at most ten thousand.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> numbers(Fields({"values": [1, "2,5"]}, "$", []), "values")
    (1.0, 2.5)
    """
    if source.data.get(key) == []:
        source.fault(key, "holds no value.")
    found = _row(source, source.items(key, MOST_VALUES), source.at(key), (least, above))
    return tuple(each for each in found if each is not None)


def percents(source: Fields, key: str) -> tuple[float, ...]:
    """Give a list of percentages; each below 0 or above 100 is a fault.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the list

    Returns
    -------
    tuple of float
        the percentages [%]

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    Both ends belong to the range.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> percents(Fields({"passing_pct": [0, "97,5"]}, "$", []), "passing_pct")
    (0.0, 97.5)
    """
    found = numbers(source, key, least=ZERO)
    for place, each in enumerate(found):
        check_percent(source, f"{key}[{place}]", each)
    return found


def check_percent(source: Fields, key: str, value: float | None) -> None:
    """Note a fault at a percentage above 100.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the field
    value : float or None
        the percentage, if there is one

    Returns
    -------
    None

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    Below 0 is seen where the number is read.

    References
    ----------
    Arithmetic.

    Examples
    --------
    >>> source = Fields({}, "$", [])
    >>> check_percent(source, "share_pct", 101.0)
    >>> str(source.faults[0])
    '$.share_pct: must be at most 100 (percent).'
    """
    if value is not None and value > 100:
        source.fault(key, "must be at most 100 (percent).")


def gaps(source: Fields, key: str) -> tuple[float | None, ...]:
    """Give a list of numbers in which null stands for none.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the list

    Returns
    -------
    tuple of float or None
        the numbers, with their gaps

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    For limits, of which there may be none at an aperture.

    References
    ----------
    RFC 8259 for null.

    Examples
    --------
    >>> gaps(Fields({"lower_pct": [None, 5]}, "$", []), "lower_pct")
    (None, 5.0)
    """
    path = source.at(key)
    return tuple(
        None if each is None else _one(source, each, f"{path}[{place}]", (None, None))
        for place, each in enumerate(source.items(key, MOST_VALUES))
    )


def table(source: Fields, key: str) -> tuple[tuple[float, ...], ...]:
    """Give a list of lists of numbers.

    Parameters
    ----------
    source : Fields
        the object
    key : str
        name of the list

    Returns
    -------
    tuple of tuple of float
        the rows, which may differ in length

    Raises
    ------
    Nothing
        Faults are noted in `source`.

    Notes
    -----
    A row that is no list is a fault.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> table(Fields({"subgroups": [[1, 2], [3, 4]]}, "$", []), "subgroups")
    ((1.0, 2.0), (3.0, 4.0))
    """
    rows = []
    for place, each in enumerate(source.items(key, MOST_VALUES)):
        holder = Fields({"": each}, f"{source.at(key)}[{place}]", source.faults)
        values = _row(source, holder.items("", MOST_VALUES), holder.path, (None, None))
        rows.append(tuple(value for value in values if value is not None))
    return tuple(rows)


Range = tuple[Decimal | None, Decimal | None]


def _row(source: Fields, items: Iterable[object], path: str, within: Range) -> list[float | None]:
    """The numbers of one list."""
    return [_one(source, each, f"{path}[{place}]", within) for place, each in enumerate(items)]


def _one(source: Fields, value: object, path: str, within: Range) -> float | None:
    """One number; JSON numbers may have the digits a program writes, texts those a person types."""
    least, above = within
    if isinstance(value, float | Decimal) and _is_moderate(Decimal(value)):
        exact = Decimal(repr(value)) if isinstance(value, float) else value
        found = in_range(exact, path, source.faults, least=least, above=above)
    else:
        found = read_decimal(value, path, source.faults, least=least, above=above)
    return None if found is None else float(found)


def _is_moderate(value: Decimal) -> bool:
    """Whether a number is neither huge nor next to nothing; what is not is read as typed text."""
    return value.is_finite() and (not value or abs(value.adjusted()) <= MOST_DIGITS)
