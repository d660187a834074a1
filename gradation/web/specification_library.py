"""The library of published gradings as its pages show it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString

from gradation.charts.strip import Strip, envelope_strip
from gradation.models import SpecificationLine
from gradation.science.apertures import designation
from gradation.science.confidence import FROM_MEMORY
from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.envelope_library import library
from gradation.science.library_form import CONFIRMED, LibraryEntry
from gradation.web.templatetags.notebook import STRIP_PX, stretched

__all__ = ["Family", "LibraryLine", "families_shown", "library_line", "lines_of_entry"]


@dataclass(frozen=True)
class Family:
    """Gradings of one trade."""

    name: str
    entries: tuple[LibraryEntry, ...]


@dataclass(frozen=True)
class LibraryLine:
    """One limit of a published grading with how sure it is."""

    what: str
    minimum: str
    maximum: str
    strip: SafeString
    mark: str
    is_confirmed: bool


def families_shown(term: str) -> list[Family]:
    """Group the gradings whose title holds every word that was searched for."""
    asked = term.casefold().split()
    entries = [
        entry
        for entry in library()
        if all(word in f"{entry.title} {entry.family}".casefold() for word in asked)
    ]
    names = dict.fromkeys(entry.family for entry in entries)
    return [
        Family(name, tuple(entry for entry in entries if entry.family == name)) for name in names
    ]


def library_line(line: EnvelopeLine, mark: str) -> LibraryLine:
    """Lay out one limit of a published grading."""
    low, high = line.limits()
    least, most = (None if end is None else float(end) for end in (low, high))
    what = _what(line)
    strip = SafeString("")
    if line.kind is not LineKind.CHARACTERISTIC:
        strip = stretched(envelope_strip(Strip(what, None, least, most), *STRIP_PX))
    words = "confirmed" if mark == CONFIRMED else "confirm against your edition"
    told = f"{words} (from memory)" if mark == FROM_MEMORY else words
    return LibraryLine(what, _plain(low), _plain(high), strip, told, mark == CONFIRMED)


def _what(line: EnvelopeLine) -> str:
    if line.aperture_um is None:
        return line.characteristic.replace("_", " ")
    name = designation(line.aperture_um)
    if line.finer_um is not None:
        return f"between {name} and {designation(line.finer_um)}"
    return f"{line.kind.value} {name}"


def _plain(limit: Decimal | None) -> str:
    return "" if limit is None else f"{limit.normalize():f}"


def lines_of_entry(entry: LibraryEntry) -> list[SpecificationLine]:
    """Give the limits of a grading as lines of a draft, each with its mark."""
    return [
        SpecificationLine(
            kind=line.kind.value,
            aperture_um=line.aperture_um,
            finer_aperture_um=line.finer_um,
            characteristic=line.characteristic,
            minimum=line.minimum,
            maximum=line.maximum,
            target=line.target,
            tolerance=line.tolerance,
            is_inclusive=line.is_inclusive,
            mark=mark[:20],
        )
        for line, mark in zip(entry.lines, entry.marks, strict=True)
    ]
