"""Labels: which, and on what stock."""

from __future__ import annotations

from typing import Any, ClassVar

from gradation.documents.labels import A4_SHEET, ROLL_SAMPLE, ROLL_SIEVE, LabelStock
from gradation.queries.equipment import bench_list
from gradation.web.forms.base import (
    NotebookForm,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
)

STOCKS: dict[str, LabelStock] = {
    "sheet": A4_SHEET,
    "roll": ROLL_SIEVE,
    "wide-roll": ROLL_SAMPLE,
}
_STOCK_WORDS = [
    ("sheet", "A4 sheet, 24 labels of 70 × 37 mm"),
    ("roll", "single label, 57 × 25 mm"),
    ("wide-roll", "single label, 89 × 36 mm"),
]
_WHAT = [("sieve", "sieves"), ("instrument", "instruments"), ("all", "sieves and instruments")]


class LabelForm(NotebookForm):
    """Labels of many items at once."""

    what = WordChoiceField("Labels of", _WHAT)
    bench = RowField("at bench", bench_list, required=False, empty_label="all")
    serials = WordsField(
        "or only of",
        look="serial",
        rows=4,
        max_length=20_000,
        required=False,
        help_text="Serial numbers, one a line.",
    )
    stock = WordChoiceField("Label stock", _STOCK_WORDS)
    used = WholeField("Labels gone from the first sheet", required=False, min_value=0, max_value=23)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Which", ("what", "bench", "serials")),
        ("On what", ("stock", "used")),
    )

    def clean(self) -> dict[str, Any]:
        """Only a sheet can have labels gone."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        if values.get("used") and values.get("stock") != "sheet":
            self.add_error("used", "A roll has no sheet that labels are gone from. Leave it empty.")
        return values
