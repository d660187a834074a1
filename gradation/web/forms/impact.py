"""Impact assessments: opened by hand, decided certificate by certificate, closed."""

from __future__ import annotations

from typing import Any, ClassVar

from gradation.models import ImpactDecision
from gradation.queries.equipment_file import all_equipment
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.equipment import keepers


class ImpactForm(NotebookForm):
    """One look back: at an item or a person, over a period, for what was found."""

    equipment = RowField("Sieve or instrument", all_equipment, required=False)
    person = RowField("or person", keepers, required=False)
    period_from = DayField("From", required=False, help_text="Empty: since the last good check.")
    period_to = DayField("to", required=False, help_text="Empty: until today.")
    found_aperture_um = FigureField(
        "Mean aperture found", unit="µm", required=False, help_text="Of a sieve."
    )
    found_error_pct = FigureField(
        "Error of reading found", unit="%", required=False, help_text="Of a balance."
    )
    reason = ReasonField("What was found")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What it is about", ("equipment", "person")),
        ("Which runs", ("period_from", "period_to")),
        ("What was found", ("found_aperture_um", "found_error_pct", "reason")),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for one thing: an item or a person."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        if bool(values.get("equipment")) == bool(values.get("person")):
            self.add_error("equipment", "Choose one item, or one person; not both.")
        return values


_VERDICTS = [
    (ImpactDecision.Verdict.STANDS.value, "stands"),
    (ImpactDecision.Verdict.RETEST.value, "retest"),
    (ImpactDecision.Verdict.AMEND.value, "amend"),
    (ImpactDecision.Verdict.WITHDRAW.value, "withdraw"),
]


class DecisionForm(NotebookForm):
    """What becomes of one certificate, and why."""

    verdict = WordChoiceField("The certificate", [("", "–"), *_VERDICTS], look="short")
    reason = ReasonField("Because")


class CloseForm(NotebookForm):
    """What the assessment came to."""

    conclusion = WordsField(
        "Conclusion",
        look="long",
        rows=4,
        max_length=4000,
        help_text="What it did, who was told, why it cannot happen again. “No effect” needs its "
        "reasons.",
    )
