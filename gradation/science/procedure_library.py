"""Procedures of the trades as drafts: what each standard asks for, each figure with its mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import groupby
from types import MappingProxyType

from gradation.science.apertures import parse_aperture
from gradation.science.confidence import FROM_MEMORY
from gradation.science.errors import UnknownName
from gradation.science.tables import read_table

CONFIRMED = "confirmed"
COMMON_PRACTICE = "common practice"

_ABOUT = frozenset({"trade", "title"})
_SIZES = frozenset({"sieves", "optional", "split"})


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure or word of a procedure: its value as written, its source, how sure it is."""

    value: str
    source: str
    mark: str

    @property
    def is_confirmed(self) -> bool:
        """Whether it was seen in two places."""
        return self.mark == CONFIRMED

    @property
    def needs_edition(self) -> bool:
        """Whether it must be compared with the laboratory's own edition before it is used."""
        return self.mark not in {CONFIRMED, COMMON_PRACTICE}


@dataclass(frozen=True, slots=True)
class LibraryProcedure:
    """One procedure of the library.

    Parameters
    ----------
    key, trade, title : str
        its name in the table, the trade it is for, what it does
    figures : mapping
        by the name of the field that it fills in a draft
    sieves, optional, split : Figure
        sizes from the top; those the nest may do without; those below which the portion is
        reduced (both empty where there are none)
    """

    key: str
    trade: str
    title: str
    figures: Mapping[str, Figure]
    sieves: Figure
    optional: Figure
    split: Figure

    @property
    def apertures_um(self) -> tuple[Decimal, ...]:
        """Apertures of the nest from the top [µm]."""
        return _sizes(self.sieves)

    @property
    def optional_um(self) -> tuple[Decimal, ...]:
        """Apertures that the nest may do without [µm]."""
        return _sizes(self.optional)

    @property
    def split_um(self) -> tuple[Decimal, ...]:
        """Apertures below which the portion is reduced [µm]."""
        return _sizes(self.split)

    @property
    def every_figure(self) -> tuple[Figure, ...]:
        """All figures with those of its nest."""
        nest = (self.sieves, self.optional, self.split)
        return (*(each for each in nest if each.value), *self.figures.values())

    @property
    def to_confirm(self) -> int:
        """How many of its figures must be compared with the laboratory's own edition."""
        return sum(each.needs_edition for each in self.every_figure)

    def mark_of(self, name: str) -> str:
        """Give the mark of a figure, or of the nest ('sieves'); empty where it says nothing."""
        figure = getattr(self, name) if name in _SIZES else self.figures.get(name)
        return "" if figure is None else figure.mark


def _sizes(figure: Figure) -> tuple[Decimal, ...]:
    return tuple(parse_aperture(each) for each in figure.value.split(";") if each.strip())


@cache
def procedures() -> tuple[LibraryProcedure, ...]:
    """Give every procedure that is kept here to draft from.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of LibraryProcedure
        in the order of the table, trade by trade

    Raises
    ------
    Nothing
        The table is part of the package.

    Notes
    -----
    An entry is a draft, never the standard: it names standard and edition and holds figures,
    not text. What has no source stays empty; what is from memory must be compared with the
    laboratory's own edition before a run is judged by it.

    References
    ----------
    `data/procedures.csv`, where each figure names its source.

    Examples
    --------
    >>> library_procedure("astm_c136_fine").figures["loss_limit_pct"].value
    '0.3'
    """
    groups = groupby(read_table("procedures"), key=lambda row: row["procedure"])
    return tuple(_procedure(key, list(rows)) for key, rows in groups)


def _procedure(key: str, rows: list[Mapping[str, str]]) -> LibraryProcedure:
    told = {row["what"]: Figure(row["value"], row["source"], row["confidence"]) for row in rows}
    none = Figure("", "", "")
    return LibraryProcedure(
        key=key,
        trade=told["trade"].value,
        title=told["title"].value,
        figures=MappingProxyType(
            {name: each for name, each in told.items() if name not in _ABOUT | _SIZES}
        ),
        sieves=told["sieves"],
        optional=told.get("optional", none),
        split=told.get("split", none),
    )


def library_procedure(key: str) -> LibraryProcedure:
    """Give one procedure of the library by its key.

    Parameters
    ----------
    key : str
        as `LibraryProcedure.key`

    Returns
    -------
    LibraryProcedure
        its figures with their marks

    Raises
    ------
    UnknownName
        when there is no such procedure

    Notes
    -----
    As `procedures`.

    References
    ----------
    As `procedures`.

    Examples
    --------
    >>> library_procedure("astm_c136_split").split_um
    (Decimal('4750.00'),)
    """
    found = next((each for each in procedures() if each.key == key), None)
    if found is None:
        msg = f"There is no procedure {key[:60]!r} in the library. Pick one from the list."
        raise UnknownName(msg)
    return found


def marked_from_memory(procedure: LibraryProcedure) -> tuple[str, ...]:
    """Name the fields of a procedure whose figures were set down from memory.

    Parameters
    ----------
    procedure : LibraryProcedure
        any procedure of the library

    Returns
    -------
    tuple of str
        names of fields, in the order of the table

    Raises
    ------
    Nothing
        Any procedure can be asked.

    Notes
    -----
    The nest is not among them: its sizes are chosen anew in every draft, and no run is
    passed or failed by the choice.

    References
    ----------
    Column `confidence` of `data/procedures.csv`.

    Examples
    --------
    >>> "loss_limit_pct" in marked_from_memory(library_procedure("en_933_1_dry"))
    True
    """
    return tuple(name for name, figure in procedure.figures.items() if figure.mark == FROM_MEMORY)
