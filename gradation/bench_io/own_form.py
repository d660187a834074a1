"""An own form of lines, written as the line itself with {number}, {unit} and {mark} in it.

Not a regular expression: those can be written so that one line keeps a computer busy for hours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from gradation.bench_io.lines import UNITS, LineForm

__all__ = ["OWN", "OwnPatternFault", "marks_in", "own_form"]

#: The name under which an own form is chosen.
OWN = "own"

_PARTS = {
    "number": r"(?P<number>[+-]?[ ]{0,12}[0-9]{1,12}(?:[.,][0-9]{1,8})?)",
    "unit": r"(?P<unit>[A-Za-z]{1,4})",
    "mark": r"(?P<mark>[A-Za-z?*!]{0,8})",
    "any": r"[^\s]{0,20}",
}
_PLACE = re.compile(r"\{([a-z]+)\}")
_LONGEST = 120
_MOST_ANY = 2


class OwnPatternFault(ValueError):
    """The own pattern cannot be used; the sentence says why."""


def own_form(
    pattern: str,
    *,
    default_unit: str = "g",
    stable_marks: Iterable[str] = (),
    unstable_marks: Iterable[str] = (),
) -> LineForm:
    """Make a form of a line such as `N {mark} {number} {unit}`; refuse what cannot be one.

    A space stands for any number of spaces, `{any}` for a word that does not matter. With stable
    marks, a line without one of them is not taken.
    """
    pattern = pattern.strip()
    _refuse_faulty(pattern)
    if default_unit not in UNITS:
        msg = f"{default_unit} is no unit known here. Choose one of: {', '.join(UNITS)}."
        raise OwnPatternFault(msg)
    stable = frozenset(mark.upper() for mark in stable_marks)
    return LineForm(
        OWN,
        pattern,
        _compiled(pattern),
        default_unit=default_unit,
        stable_marks=stable,
        unstable_marks=frozenset(mark.upper() for mark in unstable_marks),
        needs_mark=bool(stable),
    )


def marks_in(text: str) -> frozenset[str]:
    """Give the marks in a field, with commas or spaces between."""
    return frozenset(mark.upper() for mark in re.split(r"[\s,;]+", text) if mark)


def _refuse_faulty(pattern: str) -> None:
    names = _PLACE.findall(pattern)
    strange = sorted(set(names) - set(_PARTS))
    msg = ""
    if not pattern or len(pattern) > _LONGEST:
        msg = f"Write the line as the balance sends it, at most {_LONGEST} signs."
    elif strange:
        msg = f"{{{strange[0]}}} is not known. There are {{number}}, {{unit}}, {{mark}}, {{any}}."
    elif names.count("number") != 1:
        msg = "The line needs {number} exactly once, where the mass stands."
    elif any(names.count(name) > 1 for name in ("unit", "mark")) or names.count("any") > _MOST_ANY:
        msg = "{unit} and {mark} stand at most once, {any} at most twice."
    if msg:
        raise OwnPatternFault(msg)


def _compiled(pattern: str) -> str:
    words = re.split(r"(\{[a-z]+\}|\s+)", pattern)
    return rf"^\s*{''.join(_piece(word) for word in words if word)}\s*$"


def _piece(word: str) -> str:
    place = _PLACE.fullmatch(word)
    if place is not None:
        return _PARTS[place[1]]
    return r"\s*" if word.isspace() else re.escape(word)
