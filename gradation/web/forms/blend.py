"""Blends: stockpiles with the bounds of their shares, limits, and the title of what is kept."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms

from gradation.errors import Fault, Invalid, Refusal
from gradation.models import User
from gradation.queries.blends import BlendAsked, PileAsked
from gradation.queries.comparisons import materials_with_results, specification_choices
from gradation.queries.curve_picks import MOST_AVERAGED, Pick, picks_named
from gradation.science.blend import Nearness
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.compare import mean_pick

#: Lines for stockpiles on the form; those left empty do not count.
PILES = 6
_HUNDRED = Decimal(100)
MARGIN, SQUARES, LARGEST = "margin", "least_squares", "largest_departure"


class PileForm(NotebookForm):
    """One stockpile: a material's latest runs or period, or a run or sample by its number."""

    material = RowField("Material", materials_with_results, required=False)
    count = WholeField(
        "Latest runs", required=False, min_value=1, max_value=MOST_AVERAGED, help_text="Empty: 10."
    )
    first = DayField("or from", required=False)
    last = DayField("to", required=False)
    number = WordsField("or one run or sample", required=False, max_length=40)
    fixed = FigureField("Share fixed", unit="%", required=False)
    least = FigureField("at least", unit="%", required=False)
    most = FigureField("at most", unit="%", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.says_when = True  # type: ignore[attr-defined]  # each line may stay empty

    @property
    def is_empty(self) -> bool:
        """Say whether the line was left empty."""
        told = ("material", "number", "fixed", "least", "most")
        return not any(self.data.get(self.add_prefix(name), "").strip() for name in told)

    def clean(self) -> dict[str, Any]:
        """Ask for one source of the curve, both days of a period, and bounds that can be."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        if "material" not in self.errors and bool(values.get("material")) == bool(
            values.get("number")
        ):
            self.add_error("material", "Choose a material, or give one run or sample; not both.")
        if bool(values.get("first")) != bool(values.get("last")):
            self.add_error("first", "A period needs both its days.")
        elif values.get("first") and values["first"] > values["last"]:
            self.add_error("first", "The period ends before it begins.")
        bounds = values.get("least") is not None or values.get("most") is not None
        if values.get("fixed") is not None and bounds:
            self.add_error("fixed", "A fixed share has no bounds; leave those empty.")
        return values

    def asked(self, actor: User) -> PileAsked:
        """Give the stockpile; refuses (`Invalid`) a number that names nothing."""
        values = self.cleaned_data
        low, high = values["least"], values["most"]
        if values["fixed"] is not None:
            low = high = values["fixed"]
        return PileAsked(
            self._pick(actor),
            Decimal(0) if low is None else low,
            _HUNDRED if high is None else high,
        )

    def _pick(self, actor: User) -> Pick:
        if self.cleaned_data["material"]:
            return mean_pick(self.cleaned_data)
        return one_named(actor, self.cleaned_data["number"], "number")


def one_named(actor: User, number: str, field: str) -> Pick:
    """Give the one run or sample that a number names; refuses (`Invalid`) none and several."""
    picks = picks_named(actor, number, field)
    if len(picks) != 1:
        msg = f"{number} names {len(picks)} runs. Give the sample, or one run such as 26-0148-1/1."
        raise Invalid(Fault(field, msg, "several"))
    return picks[0]


class BlendForm(NotebookForm):
    """What the blend is to meet."""

    specification = RowField("Specification", specification_choices, required=False)
    goal = WordChoiceField(
        "Look for",
        [
            (MARGIN, "the largest margin to every limit"),
            (SQUARES, "nearest to the target, by squares"),
            (LARGEST, "nearest to the target, by the largest departure"),
        ],
        required=False,
    )
    target = WordsField(
        "Target",
        required=False,
        max_length=40,
        help_text="A run or sample to come near to; empty: the targets of the specification.",
    )
    leaves_out = forms.BooleanField(
        label="Leave out lines that a stockpile was not sieved for", required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = [PileForm(*args, prefix=f"pile{i}") for i in range(1, PILES + 1)]
        # An empty line is shown as if nothing had been sent, so that it is not refused.
        self.piles = [PileForm(prefix=it.prefix) if it.is_empty else it for it in lines]

    @property
    def filled(self) -> list[PileForm]:
        """List the lines that name a stockpile."""
        return [pile for pile in self.piles if pile.is_bound]

    @property
    def shown_piles(self) -> list[PileForm]:
        """List the lines the page shows: three, those filled, and one more."""
        last = max((self.piles.index(pile) for pile in self.filled), default=0)
        return self.piles[: max(3, min(PILES, last + 2))]

    def is_valid(self) -> bool:
        """Say whether the head and every filled line can be taken."""
        piles = [pile.is_valid() for pile in self.filled]
        return super().is_valid() and all(piles)

    @property
    def is_refused(self) -> bool:
        """Say whether anything is to be put right."""
        return bool(self.errors) or any(pile.errors for pile in self.filled)

    def asked(self, actor: User) -> BlendAsked | None:
        """Give what is asked for; None when a number names nothing, said beside its field."""
        piles = [self._pile(pile, actor) for pile in self.filled]
        target = self._target(actor)
        if self.is_refused:
            return None
        goal, specification = self.cleaned_data["goal"], self.cleaned_data["specification"]
        return BlendAsked(
            piles=tuple(pile for pile in piles if pile is not None),
            specification=specification.pk if specification else None,
            aims_at_target=goal in (SQUARES, LARGEST),
            nearness=Nearness(goal) if goal in (SQUARES, LARGEST) else Nearness.LEAST_SQUARES,
            target=target,
            leaves_out=self.cleaned_data["leaves_out"],
        )

    def _pile(self, pile: PileForm, actor: User) -> PileAsked | None:
        try:
            return pile.asked(actor)
        except Invalid as refusal:
            pile.take(refusal)
            return None

    def _target(self, actor: User) -> Pick | None:
        number = self.cleaned_data["target"]
        if not number or self.cleaned_data["goal"] not in (SQUARES, LARGEST):
            return None
        try:
            return one_named(actor, number, "target")
        except Invalid as refusal:
            self.take(refusal)
            return None

    def take(self, refusal: Refusal) -> None:
        """Put a fault of a stockpile beside its line, every other beside its field or above."""
        for fault in getattr(refusal, "faults", ()):
            place, field = _place_of(fault.field)
            if place is None or place >= len(self.filled):
                self._place(fault.field, fault.message)
            else:
                self.filled[place].take(Invalid(Fault(field, fault.message, fault.code)))

    def all_faults(self) -> Iterator[forms.BaseForm]:
        """Yield the forms that have faults."""
        yield from (form for form in (self, *self.filled) if form.errors)


def _place_of(field: str) -> tuple[int | None, str]:
    """Read 'stockpiles/0/curve' as the first line and the field that shows its curve."""
    parts = field.split("/")
    if len(parts) != 3 or parts[0] != "stockpiles" or not parts[1].isdigit():
        return None, field
    return int(parts[1]), "least" if parts[2] == "share_min_pct" else "material"


class KeepForm(NotebookForm):
    """How a blend is kept."""

    title = WordsField("Title", look="long", max_length=160, help_text="What the blend is for.")
    note = WordsField("Note", look="long", rows=2, max_length=2000, required=False)


__all__ = ["PILES", "BlendForm", "KeepForm", "PileForm"]
