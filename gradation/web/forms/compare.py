"""Picking what is compared: numbers typed or scanned, and means of a material."""

from __future__ import annotations

from typing import Any

from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.comparisons import materials_with_results
from gradation.queries.curve_picks import MOST_AVERAGED, Pick, PickKind, picks_named
from gradation.web.forms.base import DayField, NotebookForm, RowField, WholeField, WordsField

USUAL_COUNT = 10


class PickForm(NotebookForm):
    """Further curves for a comparison."""

    numbers = WordsField(
        "Runs, portions or samples",
        required=False,
        help_text="Scan or type their numbers. A sample gives the mean of its determinations.",
    )
    material = RowField("Mean of a material", materials_with_results, required=False)
    count = WholeField(
        "Latest runs",
        required=False,
        min_value=1,
        max_value=MOST_AVERAGED,
        help_text=f"Empty: {USUAL_COUNT}.",
    )
    first = DayField("or opened from", required=False)
    last = DayField("to", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.says_when = True  # type: ignore[attr-defined]  # one thing is enough

    def clean(self) -> dict[str, Any]:
        """Ask for one thing at least, and for both days of a period."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = values.get("first"), values.get("last")
        if not (values.get("numbers") or values.get("material")) and not self.errors:
            self.add_error("numbers", "Give a number, or choose a material.")
        if bool(first) != bool(last):
            self.add_error("last" if first else "first", "A period needs both its days.")
        elif first and last and first > last:
            self.add_error("first", "The period ends before it begins.")
        return values

    def picks(self, actor: User) -> list[Pick]:
        """Give what was picked; refuses (`Invalid`) numbers that name nothing."""
        values = self.cleaned_data
        picks = picks_named(actor, values["numbers"]) if values["numbers"] else []
        if values["numbers"] and not picks:
            raise Invalid(Fault("numbers", "Type a number, such as 26-0148.", "unknown-number"))
        if values["material"]:
            picks.append(mean_pick(values))
        return picks


def mean_pick(values: dict[str, Any]) -> Pick:
    """Give the mean of a material over a period, or of its latest runs."""
    key = str(values["material"].pk)
    if values.get("first") and values.get("last"):
        return Pick(PickKind.PERIOD, key, first=values["first"], last=values["last"])
    return Pick(PickKind.LATEST, key, values.get("count") or USUAL_COUNT)
