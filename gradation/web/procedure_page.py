"""A version of a procedure, and the library, as their pages show them: words with their marks."""

from __future__ import annotations

from dataclasses import dataclass

from gradation.models import ProcedureAperture, ProcedureVersion
from gradation.queries.methods import library_of, mark_of_field
from gradation.queries.procedure_words import WordGroup, WordLine, procedure_words
from gradation.science.confidence import FROM_MEMORY
from gradation.science.procedure_library import (
    COMMON_PRACTICE,
    CONFIRMED,
    Figure,
    LibraryProcedure,
    procedures,
)
from gradation.services.procedure_reading import from_library

__all__ = ["MarkedGroup", "MarkedLine", "Trade", "library_groups", "marked_groups", "trades_shown"]

_NEST = ("sieves", "optional", "split")


@dataclass(frozen=True)
class MarkedLine:
    """One thing a procedure says, how sure the library is of it, and where it has it from."""

    label: str
    words: str
    mark: str = ""
    is_open: bool = False
    sources: str = ""


@dataclass(frozen=True)
class MarkedGroup:
    """What a procedure says about one step of the work."""

    legend: str
    lines: tuple[MarkedLine, ...]


@dataclass(frozen=True)
class Trade:
    """Procedures of one trade."""

    name: str
    procedures: tuple[LibraryProcedure, ...]


def marked_groups(version: ProcedureVersion) -> list[MarkedGroup]:
    """Lay out a version; a figure that stands as the library has it carries its mark."""
    kept = library_of(version)
    places = list(version.apertures.all())

    def marks(line: WordLine) -> list[str]:
        if kept is None or not line.words:
            return []
        if line.fields[0] in _NEST:
            return _nest_marks(kept, line.fields[0], places)
        return [mark for field in line.fields if (mark := mark_of_field(version, field))]

    return [
        MarkedGroup(
            group.legend,
            tuple(_marked(line, marks(line)) for line in group.lines),
        )
        for group in procedure_words(version, places)
    ]


def _nest_marks(kept: LibraryProcedure, name: str, places: list[ProcedureAperture]) -> list[str]:
    mine = {
        "sieves": [place.aperture_um for place in places],
        "optional": [place.aperture_um for place in places if place.is_optional],
        "split": [place.aperture_um for place in places if place.is_split],
    }
    same = {
        "sieves": kept.apertures_um,
        "optional": kept.optional_um,
        "split": kept.split_um,
    }
    return [kept.mark_of(name)] if mine[name] and tuple(mine[name]) == same[name] else []


def _marked(line: WordLine, marks: list[str], sources: str = "") -> MarkedLine:
    mark = _weakest(marks)
    return MarkedLine(line.label, line.words, words_of_mark(mark), _is_open(mark), sources)


def _is_open(mark: str) -> bool:
    return mark not in {"", CONFIRMED, COMMON_PRACTICE}


def _weakest(marks: list[str]) -> str:
    """Give the mark that asks for most: a line is no surer than its least sure figure."""
    order = (FROM_MEMORY, "one source", COMMON_PRACTICE, CONFIRMED)
    return next((mark for mark in order if mark in marks), "")


def words_of_mark(mark: str) -> str:
    """Say a mark as the page does."""
    if not _is_open(mark):
        return mark
    return f"confirm against your edition ({mark})"


def trades_shown(term: str) -> list[Trade]:
    """Group the procedures of the library whose words hold all that was searched for."""
    asked = term.casefold().split()
    kept = [each for each in procedures() if _holds(each, asked)]
    names = dict.fromkeys(each.trade for each in kept)
    return [Trade(name, tuple(each for each in kept if each.trade == name)) for name in names]


def _holds(kept: LibraryProcedure, asked: list[str]) -> bool:
    standard = kept.figures["standard_reference"].value
    text = f"{kept.title} {kept.trade} {standard}".casefold()
    return all(word in text for word in asked)


def library_groups(kept: LibraryProcedure) -> list[MarkedGroup]:
    """Lay out a procedure of the library; only what it says, each with mark and source."""
    read = from_library(kept)
    groups = procedure_words(ProcedureVersion(**read.fields), read.places)
    laid_out = [MarkedGroup(group.legend, tuple(_kept_lines(kept, group))) for group in groups]
    return [group for group in laid_out if group.lines]


def _kept_lines(kept: LibraryProcedure, group: WordGroup) -> list[MarkedLine]:
    lines = []
    for line in group.lines:
        figures = [figure for field in line.fields if (figure := _figure(kept, field)).value]
        if line.words and figures:
            sources = "; ".join(dict.fromkeys(figure.source for figure in figures))
            lines.append(_marked(line, [figure.mark for figure in figures], sources))
    return lines


def _figure(kept: LibraryProcedure, field: str) -> Figure:
    if field in _NEST:
        return {"sieves": kept.sieves, "optional": kept.optional, "split": kept.split}[field]
    return kept.figures.get(field, Figure("", "", ""))
