"""What one sieving comes to, before it is written anywhere: the table and all that follows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gradation.science.acceptance import Verdict
from gradation.science.characteristics import Characteristic
from gradation.science.envelopes import Assessment
from gradation.science.gradation import Gradation
from gradation.science.percentiles import Percentile
from gradation.science.worksheet_checks import WorksheetWarning
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_masses import Stage


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the result table; values not known yet are None."""

    aperture_um: Decimal
    designation: str
    weighed_g: Decimal | None
    """Mass on this sieve as weighed [g]."""
    retained_g: float | None
    """Mass of the whole portion this stands for [g]: the weighed mass, or its multiple."""
    retained_pct: float | None
    cumulative_pct: float | None
    passing_pct: float | None
    passing_reported: Decimal | None


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything computed from one worksheet."""

    worksheet: Worksheet
    is_complete: bool
    gradation: Gradation | None
    """None while too little was weighed for any passing."""
    rows: tuple[Row, ...]
    pan_g: float | None
    """Pan mass brought to the whole portion [g]."""
    wash_loss_g: float | None
    """Mass washed out, brought to the whole portion [g]; None while not known."""
    stages: tuple[Stage, ...]
    loss_g: float | None
    """Mass missing, brought to the whole portion [g]; negative for a gain."""
    loss: float | None
    """Loss as a share of the mass shaken; None when not determinable or not complete."""
    loss_verdict: Verdict
    percentiles: tuple[Percentile, ...]
    characteristics: tuple[Characteristic, ...]
    descriptions: Mapping[str, Any]
    """Words, tables and names beside the characteristic values, as plain data."""
    models: tuple[Mapping[str, Any], ...]
    assessment: Assessment | None
    extras: Mapping[str, Any]
    """Answers to what was asked for beyond the table, as plain data; see `worksheet_extras`."""
    warnings: tuple[WorksheetWarning, ...]

    def value_of(self, name: str) -> float | None:
        """A characteristic value by its name; None when not determinable."""
        return next((each.value for each in self.characteristics if each.name == name), None)
