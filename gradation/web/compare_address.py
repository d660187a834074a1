"""What a comparison shows, read from its address and written into it, so that it can be sent."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TypeVar
from urllib.parse import urlencode

from django.http import QueryDict

from gradation.charts.figure import Direction, Quantity, Scale
from gradation.errors import Fault, Invalid
from gradation.queries.comparisons import Asked
from gradation.queries.curve_picks import Pick, read_pick
from gradation.web.lists import Choice

Word = TypeVar("Word", bound=StrEnum)

QUANTITIES = (
    (Quantity.PASSING, "passing"),
    (Quantity.DIFFERENCE, "difference"),
    (Quantity.RETAINED, "retained on each sieve"),
    (Quantity.DENSITY, "density"),
)
SCALES = (
    (Scale.LOG, "logarithmic"),
    (Scale.POWER45, "power 0.45"),
    (Scale.PHI, "phi"),
    (Scale.LINEAR, "linear"),
    (Scale.PROBABILITY, "probability"),
    (Scale.RRSB, "RRSB"),
    (Scale.GGS, "power law (GGS)"),
)
DIRECTIONS = (
    (Direction.FINE_LEFT, "fine on the left"),
    (Direction.COARSE_LEFT, "coarse on the left"),
)
#: Papers on which a model is a straight line; they have no place for another quantity.
PAPERS = frozenset({Scale.PROBABILITY, Scale.RRSB, Scale.GGS})
_MOST_TOKENS = 60


@dataclass(frozen=True)
class Shown:
    """The choices of one comparison."""

    picks: tuple[Pick, ...] = ()
    quantity: Quantity = Quantity.PASSING
    scale: Scale = Scale.LOG
    direction: Direction = Direction.FINE_LEFT
    reference: str = ""
    specification: int | None = None
    has_lines: bool = False
    """Whether the straight line of the paper's model is drawn through every curve."""
    faults: tuple[Fault, ...] = field(default=(), compare=False)

    @classmethod
    def read(cls, query: QueryDict) -> Shown:
        """Read the choices of an address; what is none is named among the faults."""
        picks, faults = _picks(query.getlist("curve")[:_MOST_TOKENS])
        key = query.get("specification", "")
        quantity = _word(query, "show", Quantity.PASSING)
        scale = _word(query, "scale", Scale.LOG)
        return cls(
            picks=picks,
            quantity=Quantity.PASSING if scale in PAPERS else quantity,
            scale=scale,
            direction=_word(query, "direction", Direction.FINE_LEFT),
            reference=query.get("reference", "")[:60],
            specification=int(key) if key.isascii() and key.isdigit() and len(key) < 18 else None,
            has_lines=query.get("lines") == "1",
            faults=faults,
        )

    @property
    def asked(self) -> Asked:
        """Give what the query is asked for."""
        return Asked(self.picks, self.reference, self.specification)

    @property
    def has_paper(self) -> bool:
        """Say whether the scale is the paper of a model."""
        return self.scale in PAPERS

    def pairs(self) -> list[tuple[str, str]]:
        """List the choices as they stand in the address, without those that go unsaid."""
        usual = Shown()
        named = [
            ("show", self.quantity.value, self.quantity is usual.quantity),
            ("scale", self.scale.value, self.scale is usual.scale),
            ("direction", self.direction.value, self.direction is usual.direction),
            ("reference", self.reference, not self.reference),
            ("specification", str(self.specification), self.specification is None),
            ("lines", "1", not self.has_lines),
        ]
        curves = [("curve", pick.token) for pick in self.picks]
        return curves + [(name, value) for name, value, unsaid in named if not unsaid]

    def address(self, **changes: object) -> str:
        """Give the query of the address with other choices."""
        shown = replace(self, **changes)  # type: ignore[arg-type]
        return f"?{urlencode(shown.pairs(), safe=':/')}"

    def without(self, pick: Pick) -> str:
        """Give the address without one curve."""
        kept = tuple(each for each in self.picks if each != pick)
        reference = "" if self.reference == pick.token else self.reference
        return self.address(picks=kept, reference=reference)

    def with_picks(self, picks: list[Pick]) -> str:
        """Give the address with further curves, each once."""
        return self.address(picks=tuple(dict.fromkeys([*self.picks, *picks])))

    def quantity_choices(self) -> list[Choice]:
        """List what can stand on the upright axis."""
        return [
            Choice(
                name,
                self.address(quantity=word, scale=Scale.LOG if self.has_paper else self.scale),
                word is self.quantity and not (self.has_paper and word is not Quantity.PASSING),
            )
            for word, name in QUANTITIES
        ]

    def scale_choices(self) -> list[Choice]:
        """List the papers; those of a model show passing."""
        return [
            Choice(
                name,
                self.address(
                    scale=word, quantity=Quantity.PASSING if word in PAPERS else self.quantity
                ),
                word is self.scale,
            )
            for word, name in SCALES
        ]

    def direction_choices(self) -> list[Choice]:
        """List the two directions."""
        return [
            Choice(name, self.address(direction=word), word is self.direction)
            for word, name in DIRECTIONS
        ]


def _picks(tokens: list[str]) -> tuple[tuple[Pick, ...], tuple[Fault, ...]]:
    picks: list[Pick] = []
    faults: list[Fault] = []
    for token in tokens:
        try:
            picks.append(read_pick(token))
        except Invalid as refusal:
            faults += refusal.faults
    return tuple(dict.fromkeys(picks)), tuple(faults)


def _word(query: QueryDict, name: str, usual: Word) -> Word:
    text = query.get(name, "")
    words = type(usual)
    return words(text) if text in {each.value for each in words} else usual
