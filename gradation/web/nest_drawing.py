"""A nest as it stands: each sieve drawn, hatched with the reason where it should not be used."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from gradation.charts.nest import NestPiece, nest_piece
from gradation.models import Nest, Sieve
from gradation.queries.nests import NestState

_PX = (64.0, 22.0)


@dataclass(frozen=True)
class SieveShown:
    """One sieve of the nest, drawn, with what speaks against it."""

    sieve: Sieve
    drawn: SafeString
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class NestShown:
    """A nest with its sieves drawn from the top, and what concerns the whole of it."""

    nest: Nest
    sieves: tuple[SieveShown, ...]
    pan: SafeString
    others: tuple[str, ...]
    warnings: tuple[str, ...]
    is_fit: bool


def nests_shown(states: Iterable[NestState]) -> list[NestShown]:
    """Draw every nest."""
    return [_shown(state) for state in states]


def _shown(state: NestState) -> NestShown:
    sieves = tuple(_sieve(place.sieve, state.reasons) for place in state.nest.places.all())
    told = {reason for shown in sieves for reason in shown.reasons}
    return NestShown(
        nest=state.nest,
        sieves=sieves,
        pan=_drawn(NestPiece("pan", is_pan=True)),
        others=tuple(reason for reason in state.reasons if reason not in told),
        warnings=state.warnings,
        is_fit=state.is_fit,
    )


def _sieve(sieve: Sieve, reasons: Iterable[str]) -> SieveShown:
    named = re.compile(rf"{re.escape(str(sieve))}(?![\w-])")
    own = tuple(reason for reason in reasons if named.search(reason))
    piece = NestPiece(str(sieve), unusable_reason=" ".join(own))
    return SieveShown(sieve, _drawn(piece), own)


def _drawn(piece: NestPiece) -> SafeString:
    return mark_safe(nest_piece(piece, *_PX))  # noqa: S308 - our own drawing, words escaped in it
