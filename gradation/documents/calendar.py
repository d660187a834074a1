"""A calendar feed (iCalendar, RFC 5545) of days on which something falls due."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from unicodedata import category

MEDIA_TYPE = "text/calendar; charset=utf-8"
_LONGEST_LINE = 75  # octets, RFC 5545 section 3.1
_ESCAPES = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n", "\r": None})


@dataclass(frozen=True)
class CalendarDay:
    """One entry that lasts a whole day; the same `uid` replaces the entry that had it before."""

    uid: str
    day: date
    summary: str
    description: str = ""
    url: str = ""


def calendar_text(name: str, days: Iterable[CalendarDay], *, written_at: datetime) -> str:
    """Return the feed as text: CRLF after every line, long lines folded, words escaped."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Gradation//Equipment due//EN",
        "CALSCALE:GREGORIAN",
        f"NAME:{escaped(name)}",  # RFC 7986 section 5.1
        f"X-WR-CALNAME:{escaped(name)}",  # what calendars read before RFC 7986 (common practice)
        *(line for day in days for line in _event(day, written_at)),
        "END:VCALENDAR",
    ]
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _event(day: CalendarDay, written_at: datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{escaped(day.uid)}"
    yield f"DTSTAMP:{written_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART;VALUE=DATE:{day.day:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{day.day + timedelta(days=1):%Y%m%d}"  # the end is exclusive
    yield f"SUMMARY:{escaped(day.summary)}"
    if day.description:
        yield f"DESCRIPTION:{escaped(day.description)}"
    if day.url:
        yield f"URL:{_one_line(day.url)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def escaped(text: str) -> str:
    """Return a text value: backslash, semicolon, comma and line break escaped (section 3.3.11).

    Other control characters have no place in a text value and are dropped.
    """
    kept = "".join(it for it in text if it in "\n\t" or category(it) != "Cc")
    return kept.translate(_ESCAPES)


def _one_line(text: str) -> str:
    return "".join(it for it in text if category(it) != "Cc")


def folded(line: str) -> str:
    """Return a content line folded at 75 octets, never inside a character (section 3.1)."""
    parts: list[str] = []
    part, length = "", 0
    for character in line:
        octets = len(character.encode())
        if length + octets > _LONGEST_LINE:
            parts.append(part)
            part, length = "", 1  # the space that begins a folded line counts
        part, length = part + character, length + octets
    return "\r\n ".join([*parts, part])
