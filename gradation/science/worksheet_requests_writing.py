"""From what a worksheet asks for back to its JSON: every field is named as in the JSON."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from gradation.science.quantities import as_typed
from gradation.science.worksheet_requests import Requests

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def requests_json(requests: Requests) -> dict[str, Any]:
    """Give the JSON fields of everything asked for beyond the table.

    Parameters
    ----------
    requests : Requests
        what is asked for

    Returns
    -------
    dict
        as `worksheet.schema.json` describes; what is not asked for is left out

    Raises
    ------
    Nothing
        Every request can be written.

    Notes
    -----
    Numbers are text with the digits given.

    References
    ----------
    RFC 8259 for JSON.

    Examples
    --------
    >>> requests_json(Requests(plausibility=True))
    {'plausibility': True}
    """
    return {name: value for name, value in _object(requests).items() if value is not False}


def _object(value: DataclassInstance) -> dict[str, Any]:
    """The fields of a dataclass that hold something."""
    written = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    return {name: each for name, each in written.items() if each is not None}


def _plain(value: object) -> object:
    """A value as plain JSON data; None for nothing."""
    if isinstance(value, Decimal):
        return as_typed(value)
    if isinstance(value, tuple):
        return [_plain(each) for each in value] or None
    if isinstance(value, StrEnum):
        return value.value
    return _object(value) if is_dataclass(value) and not isinstance(value, type) else value
