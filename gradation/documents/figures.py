"""How figures and dates are written in documents: lined up, with a true minus and thin spaces.

Decimal signs and dates follow the language that is spoken (`gradation.language`).
"""

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass

from gradation.language import day_words, days_words, localized

NOT_SPECIFIED = "–"
_PLAIN = re.compile(r"^([<>] ?)?([+-]?)(\d+)(?:\.(\d+))?$")
_THIN_SPACE = "\u2009"


@dataclass(frozen=True)
class Figure:
    """A figure and the unseen tail that makes its decimal point stand under the others'."""

    text: str
    tail: str = ""


def written(value: str) -> str:
    """Return a figure as the trade writes it; other text comes back unchanged.

    >>> written("-12500.4")
    '−12\u2009500.4'
    """
    match = _PLAIN.match(value)
    if not match:
        return value
    relation, sign, whole, decimals = match.groups()
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", _THIN_SPACE)
    minus = "−" if sign == "-" else sign
    tail = localized(f"0.{decimals}")[1:] if decimals else ""
    return f"{(relation or '').strip()}{minus}{whole}{tail}"


def aligned(values: Sequence[str]) -> tuple[Figure, ...]:
    """Return a column whose decimal points line up when it is set flush right."""
    places = [_decimals(value) for value in values]
    most = max((it for it in places if it is not None), default=0)
    return tuple(_figure(value, has, most) for value, has in zip(values, places, strict=True))


def _decimals(value: str) -> int | None:
    match = _PLAIN.match(value)
    return len(match.group(4) or "") if match else None


def _figure(value: str, decimals: int | None, most: int) -> Figure:
    if not value:
        return Figure(NOT_SPECIFIED)
    if decimals is None or decimals == most:
        return Figure(written(value))
    sign = localized("0.0")[1] if decimals == 0 else ""
    return Figure(written(value), sign + "0" * (most - decimals))


def shown_date(text: str) -> str:
    """Return an ISO date as '24 Nov 2026', with its time if it has one; other words unchanged.

    >>> shown_date("2026-11-24T14:05:31+01:00")
    '24 Nov 2026 14:05'
    >>> shown_date("not known")
    'not known'
    """
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return text
    day = day_words(moment)
    return f"{day} {moment:%H:%M}" if "T" in text or " " in text.strip() else day


def shown_days(first: str, last: str) -> str:
    """Return the first and last day of some work; one day is written once.

    >>> shown_days("2026-11-23", "2026-11-24")
    '23 to 24 Nov 2026'
    """
    try:
        days = [datetime.datetime.fromisoformat(each[:10]) for each in (first, last)]
    except ValueError:
        start, end = shown_date(first), shown_date(last)
        return start if start == end else f"{start}, {end}"
    return days_words(*days)


def shown_moment(text: str) -> str:
    """Return an ISO date and time with its offset from UTC, as a signature needs it.

    >>> shown_moment("2026-11-24T14:05+01:00")
    '24 Nov 2026 14:05 (UTC+01:00)'
    """
    shown = shown_date(text)
    if shown == text:
        return text
    offset = datetime.datetime.fromisoformat(text).strftime("%z")
    return f"{shown} (UTC{offset[:3]}:{offset[3:5]})" if offset else shown


def ended(text: str) -> str:
    """Return words of somebody's own as a sentence: with one full stop, not two.

    >>> ended("source was incomplete"), ended("Source was incomplete. ")
    ('source was incomplete.', 'Source was incomplete.')
    """
    words = text.strip()
    return words if words.endswith(("?", "!", "…")) else f"{words.rstrip('.')}."


def as_number(text: str) -> float | None:
    """Return the number that a reported figure stands for; None for 'n.d.', '< 75' and ''."""
    match = _PLAIN.match(text)
    return float(text) if match and not match.group(1) else None
