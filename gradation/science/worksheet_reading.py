"""Reading one JSON object of a worksheet, collecting every fault instead of stopping."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from gradation.science.errors import GradationError
from gradation.science.quantities import MOST_DIGITS, as_typed, parse_decimal
from gradation.science.worksheet_form import Fault

Choice = TypeVar("Choice", bound=StrEnum)

MOST_ITEMS = 200
"""No nest, envelope or list of increments is longer; longer ones are a mistake or an attack."""


class Fields:
    """One JSON object; what is wrong with it is appended to `faults`."""

    def __init__(self, data: object, path: str, faults: list[Fault]) -> None:
        self.path = path
        self.faults = faults
        self.data: Mapping[str, object] = {}
        if isinstance(data, Mapping):
            self.data = data
        else:
            self.fault("", f"expected an object, not {kind_of(data)}.")

    def fault(self, key: str, message: str) -> None:
        """Note a fault at one of the fields, or at the object itself."""
        self.faults.append(Fault(self.at(key), message))

    def at(self, key: str) -> str:
        """The JSON path of a field."""
        return f"{self.path}.{key}" if key else self.path

    def has(self, key: str) -> bool:
        """Whether the field is there and not null."""
        return self.data.get(key) is not None

    def only(self, known: Collection[str]) -> None:
        """Fault every field that is not known, with the nearest known name."""
        for key in self.data:
            if key not in known:
                near = difflib.get_close_matches(str(key), known, n=1)
                hint = f" Did you mean {near[0]}?" if near else ""
                self.fault(str(key)[:40], f"unknown field.{hint}")

    def require(self, *keys: str) -> None:
        """Fault every field that is missing."""
        for key in keys:
            if not self.has(key):
                self.fault(key, "is missing.")

    def decimal(
        self, key: str, *, least: Decimal | None = None, above: Decimal | None = None
    ) -> Decimal | None:
        """A number, written as text or as a JSON number; None when missing or wrong."""
        if not self.has(key):
            return None
        return read_decimal(self.data[key], self.at(key), self.faults, least=least, above=above)

    def mass_g(self, key: str) -> Decimal | None:
        """A mass of zero or more [g]."""
        return self.decimal(key, least=Decimal(0))

    def aperture_um(self, key: str) -> Decimal | None:
        """An aperture above zero [µm]."""
        return self.decimal(key, above=Decimal(0))

    def whole(self, key: str, default: int, most: int) -> int:
        """A whole number from zero to `most`."""
        value = self.decimal(key, least=Decimal(0))
        if value is None:
            return default
        if value != int(value) or value > most:
            self.fault(key, f"must be a whole number from 0 to {most}.")
            return default
        return int(value)

    def text(self, key: str) -> str:
        """A text; empty when missing or wrong."""
        value = self.data.get(key)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.fault(key, f"expected text, not {kind_of(value)}.")
            return ""
        return value

    def one_of(self, key: str, known: Collection[str]) -> str:
        """One of the names of a table; empty when missing or wrong."""
        name = self.text(key)
        if name in known:
            return name
        if isinstance(self.data.get(key), str):
            self.fault(key, f"must be one of: {', '.join(known)}.")
        return ""

    def is_true(self, key: str, *, default: bool) -> bool:
        """True or false."""
        value = self.data.get(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(key, f"expected true or false, not {kind_of(value)}.")
            return default
        return value

    def choice(self, key: str, default: Choice) -> Choice:
        """One of the names of an enumeration."""
        value = self.data.get(key)
        if value is None:
            return default
        kind = type(default)
        if isinstance(value, str) and value in {each.value for each in kind}:
            return kind(value)
        names = ", ".join(each.value for each in kind)
        self.fault(key, f"must be one of: {names}.")
        return default

    def items(self, key: str, most: int = MOST_ITEMS) -> Sequence[object]:
        """A list; empty when missing or wrong."""
        value = self.data.get(key)
        if value is None:
            return ()
        if not isinstance(value, list | tuple):
            self.fault(key, f"expected a list, not {kind_of(value)}.")
            return ()
        if len(value) > most:
            self.fault(key, f"has {len(value)} entries; at most {most} are read.")
            return ()
        return value

    def objects(self, key: str, most: int = MOST_ITEMS) -> list[Fields]:
        """A list of objects."""
        return [
            Fields(each, f"{self.at(key)}[{number}]", self.faults)
            for number, each in enumerate(self.items(key, most))
        ]

    def object(self, key: str) -> Fields | None:
        """An object; None when missing."""
        return Fields(self.data[key], self.at(key), self.faults) if self.has(key) else None


def read_decimal(
    value: object,
    path: str,
    faults: list[Fault],
    *,
    least: Decimal | None = None,
    above: Decimal | None = None,
) -> Decimal | None:
    """Give the number a JSON value stands for; None after noting why it is none.

    Parameters
    ----------
    value : object
        Text or JSON number; anything else is a fault.
    path : str
        JSON path of the value, for the fault.
    faults : list of Fault
        What is wrong is appended here.
    least, above : Decimal, optional
        The number must be at least, or above, this.

    Returns
    -------
    Decimal or None
        The number exactly as written.

    Raises
    ------
    Nothing
        Faults are noted instead.

    Notes
    -----
    A float is taken at its shortest decimal form: 0.1 is a tenth. A JSON number with more than
    twelve digits comes from a program, not from a person; it is taken to twelve, without the
    binary noise of 100 - 97.6 = 2.4000000000000057. Text is taken as typed. True and false are no
    numbers. Exponents are written out only within twelve digits.

    References
    ----------
    RFC 8259 for JSON numbers.

    Examples
    --------
    >>> read_decimal(0.1, "$.pan_g", [])
    Decimal('0.1')
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float | Decimal):
        faults.append(Fault(path, f"expected a number, not {kind_of(value)}."))
        return None
    try:
        number = parse_decimal(value if isinstance(value, str) else _digits(value))
    except GradationError as refusal:
        faults.append(Fault(path, str(refusal)))
        return None
    return in_range(number, path, faults, least=least, above=above)


def in_range(
    number: Decimal,
    path: str,
    faults: list[Fault],
    *,
    least: Decimal | None = None,
    above: Decimal | None = None,
) -> Decimal | None:
    """Give a number that is large enough; None after noting why it is not.

    Parameters
    ----------
    number : Decimal
        any number
    path : str
        JSON path of the value, for the fault.
    faults : list of Fault
        What is wrong is appended here.
    least, above : Decimal, optional
        The number must be at least, or above, this.

    Returns
    -------
    Decimal or None
        The number itself.

    Raises
    ------
    Nothing
        Faults are noted instead.

    Notes
    -----
    Without bounds every number is in range.

    References
    ----------
    RFC 9535 for the path.

    Examples
    --------
    >>> in_range(Decimal(1), "$.pan_g", [], least=Decimal(0))
    Decimal('1')
    """
    if least is not None and number < least:
        faults.append(Fault(path, f"must be {as_typed(least)} or more, not {as_typed(number)}."))
        return None
    if above is not None and number <= above:
        faults.append(Fault(path, f"must be above {as_typed(above)}, not {as_typed(number)}."))
        return None
    return number


def _digits(value: float | Decimal) -> str:
    """A JSON number as the digits a person would type."""
    if isinstance(value, int) and abs(value) < 10**MOST_DIGITS:
        return str(value)
    exact = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    if not exact.is_finite() or abs(exact.adjusted()) > MOST_DIGITS:
        return str(exact)  # written out, an exponent in a file could fill the memory
    if len(exact.as_tuple().digits) > MOST_DIGITS and exact % 1:
        decimals = MOST_DIGITS - max(exact.adjusted() + 1, 1)
        exact = exact.quantize(Decimal(1).scaleb(-decimals)).normalize()
    return f"{exact:f}"


def kind_of(value: object) -> str:
    """Give the kind of a JSON value, in words.

    Parameters
    ----------
    value : object
        Any JSON value.

    Returns
    -------
    str
        'text', 'a number', 'a list', 'an object', 'true or false' or 'null'.

    Raises
    ------
    Nothing
        Values of other kinds give the name of their type.

    Notes
    -----
    For messages only.

    References
    ----------
    RFC 8259.

    Examples
    --------
    >>> kind_of([1])
    'a list'
    """
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, str):
        return "text"
    if isinstance(value, Mapping):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return "a number" if isinstance(value, int | float | Decimal) else type(value).__name__
