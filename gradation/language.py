"""The languages documents are written in: their words by gettext, figures and dates by our own.

Figures and dates are written from short tables of our own, because the machine's locale, or a
newer release of a library, must not change issued bytes.
"""

from __future__ import annotations

import re
from contextlib import AbstractContextManager
from datetime import datetime

from django.utils import translation
from django.utils.translation import gettext

__all__ = [
    "LANGUAGES",
    "day_words",
    "days_words",
    "localized",
    "speaking",
    "spoken",
]

#: By their codes of ISO 639-1, each named in itself.
LANGUAGES = {"en": "English", "de": "Deutsch", "fr": "français", "es": "español"}

_COMMA = frozenset({"de", "fr", "es"})  # ISO 80000-1:2022, 7.3.2 admits both signs
_POINT = re.compile(r"(?<=\d)\.(?=\d)")

_MONTHS = {
    "en": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "de": "Jan. Feb. März Apr. Mai Juni Juli Aug. Sept. Okt. Nov. Dez.",
    "fr": "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
    "es": "ene feb mar abr may jun jul ago sept oct nov dic",
}


def speaking(language: str) -> AbstractContextManager[None]:
    """Let everything inside be said in a language; the thread's own comes back afterwards."""
    return translation.override(language if language in LANGUAGES else "en")


def spoken() -> str:
    """Give the code of the language that is spoken now; English where it is none of ours."""
    code = (translation.get_language() or "en").partition("-")[0]
    return code if code in LANGUAGES else "en"


def localized(text: str) -> str:
    """Write the decimal signs of a figure, or of a size with its figures, as the language does.

    Only a point between two digits is one: 'No. 200' stays.
    """
    return _POINT.sub(",", text) if spoken() in _COMMA else text


def day_words(moment: datetime) -> str:
    """Write a day as the language does: 24 Nov 2026, 24. Nov. 2026, 24 nov. 2026."""
    return f"{_day_of_month(moment)} {_month(moment)} {moment.year}"


def days_words(first: datetime, last: datetime) -> str:
    """Write the first and last day of some work; one day is written once."""
    start, end = day_words(first), day_words(last)
    if start == end:
        return start
    if (first.year, first.month) == (last.year, last.month):
        start = _day_of_month(first)
    return gettext("%(first)s to %(last)s") % {"first": start, "last": end}


def _day_of_month(moment: datetime) -> str:
    if spoken() == "de":
        return f"{moment.day}."
    return "1er" if spoken() == "fr" and moment.day == 1 else str(moment.day)


def _month(moment: datetime) -> str:
    return _MONTHS[spoken()].split()[moment.month - 1]
