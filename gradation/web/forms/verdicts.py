"""What if: one sieve's aperture or one mass moved, for a run's verdict page."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from gradation.science.apertures import designation
from gradation.web.forms.base import FigureField, NotebookForm, WordChoiceField

_NONE = ("", "–")


class WhatIfForm(NotebookForm):
    """Which sieve or mass is moved, and by how much."""

    sieve = WordChoiceField("Sieve", [_NONE], required=False)
    error_um = FigureField(
        "Aperture off by",
        unit="µm",
        required=False,
        help_text="True less nominal: worn sieves are positive.",
    )
    mass_of = WordChoiceField("Mass", [_NONE], required=False)
    mass_change_g = FigureField(
        "Mass off by", unit="g", required=False, help_text="True less entered."
    )

    def __init__(
        self,
        *args: Any,
        sizes_um: Sequence[Decimal] = (),
        masses: Sequence[tuple[str, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        sizes = [(f"{size.normalize():f}", designation(size)) for size in sizes_um]
        self.fields["sieve"].choices = [_NONE, *sizes]  # type: ignore[attr-defined]
        self.fields["mass_of"].choices = [_NONE, *masses]  # type: ignore[attr-defined]
