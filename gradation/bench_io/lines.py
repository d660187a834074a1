"""One line from a balance, read by a form: number, unit, mark of a settled reading.

A form is described by what stands in the line, never by who made the balance. The laboratory picks
one that fits, or writes its own pattern.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal

__all__ = [
    "FORMS",
    "UNITS",
    "BalanceReading",
    "LineForm",
    "NotAReading",
    "Overloaded",
    "Unstable",
    "form_named",
    "read_line",
]

#: Grams in one unit. Exact by definition: the international pound is 453.59237 g and the carat
#: 0.2 g (BIPM, The International System of Units, 9th edition; NIST Handbook 44, appendix C).
_GRAMS = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "mg": Decimal("0.001"),
    "ct": Decimal("0.2"),
    "lb": Decimal("453.59237"),
    "oz": Decimal("28.349523125"),
}
#: Units that a balance may send.
UNITS = tuple(_GRAMS)
_LONGEST = 80


class NotAReading(ValueError):
    """The line has not the form that was chosen; it is kept by the caller and shown."""


class Unstable(NotAReading):
    """The balance had not settled; `mass_g` is what it showed meanwhile, if that can be read."""

    def __init__(self, message: str, mass_g: Decimal | None = None) -> None:
        super().__init__(message)
        self.mass_g = mass_g


class Overloaded(NotAReading):
    """The balance says that more or less stands on it than it can weigh."""


@dataclass(frozen=True)
class BalanceReading:
    """A settled reading: the mass in grams with the balance's digits, and the line as it came."""

    mass_g: Decimal
    text: str
    unit: str


@dataclass(frozen=True)
class LineForm:
    """What a line looks like: a pattern with the groups `number` and, if there, `unit`, `mark`.

    A line of `unsettled_pattern` says that the balance has not settled.
    """

    name: str
    words: str
    pattern: str
    default_unit: str = "g"
    stable_marks: frozenset[str] = field(default_factory=frozenset)
    unstable_marks: frozenset[str] = field(default_factory=frozenset)
    needs_mark: bool = False
    unsettled_pattern: str = ""

    def __post_init__(self) -> None:
        if "(?P<number>" not in self.pattern:
            msg = f"The pattern of form {self.name} needs a group named number."
            raise ValueError(msg)


_NUMBER = r"(?P<number>[+-]?\s*[0-9]+(?:[.,][0-9]+)?)"
_UNIT = r"(?P<unit>[A-Za-z]+)"
_OVER = re.compile(
    r"^[^0-9]*(?:OL|UL|OVER|UNDER|HI|LO|-{3,}|={3,}|\^{3,}|_{3,})[^0-9]*$", re.IGNORECASE
)

FORMS: tuple[LineForm, ...] = (
    LineForm("number", "a number alone, in grams: 123.45", rf"^\s*{_NUMBER}\s*$"),
    LineForm(
        "number_unit",
        "a number, then the unit; while it has not settled the unit is missing: 123.45 g",
        rf"^\s*{_NUMBER}\s*{_UNIT}\s*$",
        unsettled_pattern=rf"^\s*{_NUMBER}\s*$",
    ),
    LineForm(
        "mark_number_unit",
        "a mark of letters, then number and unit: ST 123.45 g",
        rf"^\s*(?P<mark>[A-Za-z]+(?:[ ,][A-Za-z]+)?)[\s,]+{_NUMBER}\s*{_UNIT}?\s*$",
        stable_marks=frozenset({"S", "ST", "S S", "ST,NT", "ST,GS", "ST,N", "ST,G"}),
        unstable_marks=frozenset({"D", "US", "S D", "US,NT", "US,GS", "SD", "DYN"}),
        needs_mark=True,
    ),
    LineForm(
        "number_unit_mark",
        "number, unit, then a question mark while it has not settled: 123.45 g ?",
        rf"^\s*{_NUMBER}\s*{_UNIT}\s*(?P<mark>\?)?\s*$",
        unstable_marks=frozenset({"?"}),
    ),
)


def form_named(name: str) -> LineForm:
    """Give one of the forms by its name; a wrong name lists those there are."""
    for form in FORMS:
        if form.name == name:
            return form
    names = ", ".join(form.name for form in FORMS)
    msg = f"There is no line form {name}. Choose one of: {names}."
    raise ValueError(msg)


def read_line(line: str, form: LineForm) -> BalanceReading:
    """Read one line; `Unstable`, `Overloaded` and `NotAReading` say what is wrong with it.

    The number keeps the balance's digits: 123.40 g is 123.40, and 0.1234 kg is 123.4 g.
    """
    text = line.strip()
    if len(text) > _LONGEST or not text.isprintable():
        msg = "The line is too long or holds signs that no balance sends. Check speed and parity."
        raise NotAReading(msg)
    if _OVER.match(text):
        msg = (
            "The balance is overloaded or nothing stands on it. Take the load off and weigh again."
        )
        raise Overloaded(msg)
    found = re.match(form.pattern, text)
    if found is None:
        raise _other(text, form)
    parts = found.groupdict()
    unit = (parts.get("unit") or form.default_unit).casefold()
    mass_g = _grams(parts["number"], unit, text)
    _refuse_unsettled(parts.get("mark"), form, mass_g)
    return BalanceReading(mass_g, text, unit)


def _other(text: str, form: LineForm) -> NotAReading:
    """Say why a line of another form is none of this one."""
    moving = re.match(form.unsettled_pattern, text) if form.unsettled_pattern else None
    if moving is not None:
        mass_g = _grams(moving["number"], form.default_unit, text)
        return Unstable(_NOT_SETTLED, mass_g)
    msg = f"'{text}' has not the form '{form.words}'. Choose the form that the balance sends."
    return NotAReading(msg)


_NOT_SETTLED = "The balance has not settled yet."


def _refuse_unsettled(mark: str | None, form: LineForm, mass_g: Decimal) -> None:
    shown = re.sub(r"\s+", " ", mark).strip().upper() if mark else ""
    if shown and shown in form.unstable_marks:
        raise Unstable(_NOT_SETTLED, mass_g)
    if form.needs_mark and shown not in form.stable_marks:
        msg = f"The mark '{shown}' does not say that the balance has settled."
        raise NotAReading(msg)


def _grams(number: str, unit: str, text: str) -> Decimal:
    if unit not in _GRAMS:
        msg = f"'{text}' is in {unit}, no unit of mass known here. Set the balance to grams."
        raise NotAReading(msg)
    typed = Decimal(re.sub(r"\s", "", number).replace(",", "."))
    if _GRAMS[unit] == 1:
        return typed
    mass_g = typed * _GRAMS[unit]
    decimals = max(0, -int(typed.as_tuple().exponent) - _steps(unit))
    return mass_g.quantize(Decimal(1).scaleb(-decimals))


def _steps(unit: str) -> int:
    """Decimals that a power-of-ten unit takes away; others keep what the product needs."""
    return {"kg": 3, "mg": -3, "lb": -2, "oz": -2, "ct": -1}[unit]
