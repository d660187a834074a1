"""The rows of a run's page: a sieve, the pan, a mass of the whole portion, what belongs to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from uuid import UUID, uuid4

from django.utils.safestring import SafeString

from gradation.documents.figures import Figure, aligned
from gradation.models import Weighing
from gradation.queries.run_view import Place

__all__ = ["Load", "Offer", "Row", "Verdict", "lined_up", "row_name"]

UNWEIGHED = Figure("")


@dataclass(frozen=True)
class Verdict:
    """What a row's comparison said: the tag's kind, its words and the side exceeded."""

    kind: str
    words: str
    side: str = ""


@dataclass(frozen=True)
class Offer:
    """Something that can be done at a row, as a link; `is_row`: it adds a row to the page."""

    words: str
    url: str
    is_row: bool = False


@dataclass(frozen=True)
class Load:
    """A sieve that holds nearly what may lie on it, or more, and what can be done about it."""

    words: str
    remedies: str
    is_over: bool
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True)
class Row:
    """One row: one reading, and for a sieve what the calculation says of it.

    `parts` are the rows below it that belong to it: further increments, a split, an end point.
    """

    place: Place
    label: str
    serial: str = ""
    unfit: str = ""
    remark: str = ""
    nest: SafeString = field(default_factory=lambda: SafeString(""))
    retained_pct: str = ""
    cumulative_pct: str = ""
    passing: str = ""
    spread: str = ""
    """Expanded uncertainty of the passing, where the decision rule asks for it."""
    limits: str = ""
    strip: SafeString = field(default_factory=lambda: SafeString(""))
    verdict: Verdict | None = None
    load: Load | None = None
    offers: tuple[Offer, ...] = ()
    parts: tuple[Row, ...] = ()
    is_part: bool = False
    mass: Figure = UNWEIGHED
    key: UUID = field(default_factory=uuid4)

    @property
    def name(self) -> str:
        """Give the row's name on the page."""
        return row_name(self.place.slot, self.place.position, self.place.increment)

    @property
    def weighing(self) -> Weighing | None:
        """Give the reading that counts, if there is one."""
        return self.place.weighing

    @property
    def spoken(self) -> str:
        """Name the row for who does not see what stands above it."""
        size = self.place.sieve.sieve.designation if self.place.sieve else ""
        return f"{size}, {self.label}" if self.is_part and size else self.label

    @property
    def is_live(self) -> bool:
        """Say whether more than its reading changes while the run is weighed."""
        return not self.is_part and (self.place.sieve is not None or self.place.slot == PAN)


PAN = Weighing.Slot.PAN


def row_name(slot: str, position: int, increment: int = 1) -> str:
    """Name a row so that page, script and answers mean the same one."""
    name = f"{slot.replace(' ', '-')}-{position}"
    return name if increment == 1 else f"{name}-{increment}"


def lined_up(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Write the masses so that their decimal points stand under one another."""
    flat = [row for one in rows for row in (one, *one.parts)]
    written = iter(aligned([_mass(row.weighing) for row in flat]))
    return tuple(_written(row, written) for row in rows)


def _mass(weighing: Weighing | None) -> str:
    return str(weighing.mass_as_entered) if weighing else ""


def _written(row: Row, written: Iterator[Figure]) -> Row:
    own = next(written)
    parts = tuple(replace(part, mass=next(written)) for part in row.parts)
    return replace(row, mass=own, parts=parts)


def together(places: Sequence[Place]) -> str:
    """Say what the increments of one place weigh together."""
    weighed = [place.weighing.mass_as_entered for place in places if place.weighing]
    if len(weighed) < 2:
        return ""
    return f"{len(weighed)} increments, together {sum(weighed, Decimal(0))} g"
