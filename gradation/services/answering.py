"""The words of an answer: what caused it, and what was done."""

from __future__ import annotations

from gradation.errors import Fault, Invalid

__all__ = ["answer_words"]

LONGEST = 400
_ASKS = {
    "cause": "Say what caused it; 'none found' needs what was looked at.",
    "done": "Say what was done about it, even if it was only watched.",
}


def answer_words(cause: str, done: str) -> tuple[str, str]:
    """Give cause and deed trimmed; refuses (`Invalid`) either missing or too long."""
    said = {"cause": cause.strip(), "done": done.strip()}
    faults = [Fault(field, _ASKS[field], "missing") for field, words in said.items() if not words]
    faults += [
        Fault(field, f"{len(words)} characters are too many; {LONGEST} fit.", "too-long")
        for field, words in said.items()
        if len(words) > LONGEST
    ]
    if faults:
        raise Invalid(faults)
    return said["cause"], said["done"]
