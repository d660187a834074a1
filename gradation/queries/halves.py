"""Which half is kept at each pass: drawn by the server, so that nobody chooses it.

Whoever chooses the half, chooses the result: grains of one side are not like those of the other.
The draw cannot be foreseen, because it is a digest under a key only the server has; and it cannot
be drawn anew, because it depends on nothing but the sample, which portion of it is made, and the
pass. Reloading the page, asking through the interface or naming another number of passes gives the
same halves. With another server key, portions not yet made get another draw; those made keep what
was drawn for them in their row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from django.utils.crypto import salted_hmac

from gradation.models import Division

__all__ = ["LEFT", "RIGHT", "halves_drawn", "halves_in", "said_half"]

LEFT, RIGHT = "L", "R"

_SALT = "gradation: which half of a divided sample is kept"

_WORDS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        Division.RIFFLE.value: {LEFT: "\u2190 left half", RIGHT: "right half \u2192"},
        Division.QUARTERING.value: {
            LEFT: "\u2196 far left and near right quarter",
            RIGHT: "\u2197 far right and near left quarter",
        },
    }
)


def halves_drawn(number: str, nth: int, passes: int) -> tuple[str, ...]:
    """Give the half to keep at each pass for the nth portion (from 0) of a sample."""
    return tuple(_half(f"{number}/{nth}/{turn}") for turn in range(1, passes + 1))


def _half(what: str) -> str:
    digest = salted_hmac(_SALT, what, algorithm="sha256").digest()
    return (LEFT, RIGHT)[digest[0] & 1]


def said_half(way: str, half: str) -> str:
    """Say a half in words with an arrow, as it lies before whoever divides."""
    return _WORDS.get(way, _WORDS[Division.RIFFLE.value])[half]


def halves_in(text: str) -> tuple[str, ...] | None:
    """Read halves as typed: 'L R L', 'lrl', 'left, right, left'; None when it is something else."""
    words = re.sub(r"left", LEFT, re.sub(r"right", RIGHT, text, flags=re.I), flags=re.I)
    letters = re.sub(r"[\s,;.\-/]+", "", words).upper()
    return tuple(letters) if set(letters) <= {LEFT, RIGHT} else None
