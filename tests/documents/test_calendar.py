"""The calendar feed against RFC 5545: its own examples and its rules."""

from datetime import UTC, date, datetime

import pytest

from gradation.documents.calendar import CalendarDay, calendar_text, escaped, folded

WRITTEN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def feed(**changes):
    values = {"uid": "equipment-7@lab.example.org", "day": date(2026, 3, 31), "summary": "Due"}
    return calendar_text("Checks due", [CalendarDay(**{**values, **changes})], written_at=WRITTEN)


def unfolded(text):
    """Undo the folding as RFC 5545 section 3.1 says: take out CRLF and one space after it."""
    return text.replace("\r\n ", "").split("\r\n")


def test_text_is_escaped_as_in_the_standard():
    # RFC 5545, section 3.3.11: the value of three lines in its example, written in one.
    lines = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."

    assert escaped(lines) == ("Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.")


@pytest.mark.parametrize(
    ("typed", "written"), [("a;b", "a\\;b"), ("a,b", "a\\,b"), ("a\\b", "a\\\\b"), ("a\rb", "ab")]
)
def test_signs_with_a_meaning_are_escaped(typed, written):
    assert escaped(typed) == written


@pytest.mark.parametrize("text", ["x" * 300, "µ" * 150, "\U0001f600" * 60, "x" * 75, ""])
def test_no_line_is_longer_than_75_octets_and_nothing_is_lost(text):
    lines = folded(text).split("\r\n")

    assert all(len(line.encode()) <= 75 for line in lines)  # RFC 5545, section 3.1
    assert folded(text).replace("\r\n ", "") == text


def test_a_day_lasts_one_day_and_ends_before_the_next():
    # RFC 5545, section 3.6.1: DTEND of a date is exclusive.
    lines = unfolded(feed())

    assert "DTSTART;VALUE=DATE:20260331" in lines
    assert "DTEND;VALUE=DATE:20260401" in lines
    assert "DTSTAMP:20260302T090000Z" in lines


def test_an_object_has_what_the_standard_requires_in_matching_pairs():
    lines = unfolded(feed(description="Bench 1\nCabinet", url="https://lab.example.org/x"))

    # Section 3.6: VERSION and PRODID once; 3.6.1: UID and DTSTAMP in each event.
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    for name in ("VERSION:2.0", "PRODID:", "UID:", "DTSTAMP:"):
        assert sum(line.startswith(name) for line in lines) == 1
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 1
    assert "DESCRIPTION:Bench 1\\nCabinet" in lines


def test_words_cannot_add_a_line_of_their_own():
    text = feed(summary="Due\r\nATTACH:x", url="https://x\r\nATTACH:y", uid="a\r\nb")

    assert not any(line.startswith("ATTACH") for line in unfolded(text))


def test_every_line_ends_with_cr_and_lf():
    text = feed(description="one\ntwo")

    assert text.count("\n") == text.count("\r\n")
