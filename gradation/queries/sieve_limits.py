"""Against which limits a sieve is held: those of the edition chosen on its card."""

from __future__ import annotations

from gradation.models import Sieve
from gradation.science.conformity import (
    Edition,
    Grade,
    PermittedDeviations,
    permitted_deviations,
)
from gradation.science.errors import NotDeterminable

__all__ = ["edition_of", "sieve_limits"]

#: When a card names a standard but no edition: the one kept here.
_OF_STANDARD = {"ASTM E11": Edition.ASTM_E11_17, "ISO 3310-1": Edition.ISO_3310_1_2016}


def edition_of(sieve: Sieve) -> Edition | None:
    """Give the edition a sieve is held against; None where no table of it is kept here."""
    if sieve.medium != Sieve.Medium.WOVEN_WIRE:
        return None
    chosen = sieve.edition.strip()
    for edition in Edition:
        if chosen in {edition.value, edition.words}:
            return edition
    return None if chosen else _OF_STANDARD.get(sieve.standard.strip())


def sieve_limits(sieve: Sieve) -> PermittedDeviations:
    """Give the permitted deviations of a sieve.

    Raises `NotDeterminable` where no table holds it, saying what to do.
    """
    edition = edition_of(sieve)
    if edition is None:
        named = sieve.edition.strip() or sieve.standard
        msg = (
            f"No table of permitted deviations is kept here for {sieve} ({sieve.medium}, {named}). "
            "Choose another edition on its card, or state the limits and where they come from."
        )
        raise NotDeterminable(msg)
    return permitted_deviations(sieve.aperture_um, edition, Grade(sieve.grade))
