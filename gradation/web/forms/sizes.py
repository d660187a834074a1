"""Fields for what a sieve is: its size out of the standard tables, its aperture, its serial."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms

from gradation.models import Sieve
from gradation.queries.equipment import sieves_by_serial
from gradation.science.apertures import Series, designation, parse_aperture, series_apertures_um
from gradation.science.errors import GradationError
from gradation.web.forms.base import WordChoiceField, WordsField

#: Series in the order in which a keeper looks for a size: the principal one first.
_SERIES = (
    (Series.R20_3, "ISO 565, principal sizes (R 20/3)"),
    (Series.R20, "ISO 565, supplementary sizes (R 20)"),
    (Series.R40_3, "ISO 565, supplementary sizes (R 40/3)"),
    (Series.ASTM_E11, "ASTM E11"),
)

SizeChoices = list[tuple[str, list[tuple[str, str]]]]


def size_choices() -> SizeChoices:
    """List the standard sizes under their series, coarse to fine."""
    return [(words, list(_sizes(series))) for series, words in _SERIES]


def _sizes(series: Series) -> Iterator[tuple[str, str]]:
    for aperture_um in series_apertures_um(series):
        metric, name = designation(aperture_um), designation(aperture_um, "astm")
        is_named = series is Series.ASTM_E11 and name != metric
        yield f"{series.value}:{aperture_um}", f"{name} · {metric}" if is_named else metric


class SizeField(WordChoiceField):
    """A size out of the standard series; gives the aperture in micrometres."""

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(label, [("", "–"), *size_choices()], **options)  # type: ignore[list-item]

    def clean(self, value: object) -> Decimal | None:
        """Give the aperture of the chosen size, or None when none was chosen."""
        chosen = super().clean(value)
        return Decimal(chosen.partition(":")[2]) if chosen else None


class ApertureField(WordsField):
    """An aperture as the trade writes it: 125 µm, 4.75 mm, No. 200, 3/8 in."""

    def clean(self, value: object) -> Decimal | None:
        """Give the aperture in micrometres, or None when the field may stay empty."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_aperture(text)
        except GradationError as error:
            raise forms.ValidationError(str(error)) from error


class SerialsField(WordsField):
    """Serial numbers, one a line, as scanned from the top of the nest down."""

    def clean(self, value: object) -> list[Sieve]:
        """Give the sieves in the order scanned; unknown serials are named."""
        return known_sieves(super().clean(value).split())


def known_sieves(serials: list[str]) -> list[Sieve]:
    """Give the sieves of these serial numbers, or name those that are unknown."""
    found, unknown = sieves_by_serial(serials)
    if unknown:
        names = ", ".join(unknown)
        msg = f"No sieve is registered under {names}. Check the label, or register it first."
        raise forms.ValidationError(msg)
    return found
