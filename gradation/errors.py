"""Refusals of use-cases: what the laboratory may not do, said so that the person knows what to do.

Screens and the API translate these in one place each; nothing below this layer knows of HTTP.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "Conflict",
    "Fault",
    "Invalid",
    "NotAllowed",
    "NotFound",
    "Refusal",
    "TooMany",
    "Unavailable",
]


class Refusal(Exception):
    """A use-case said no. `code` is stable for machines, `message` tells the person what to do."""

    code = "refused"

    def __init__(self, message: str, *, code: str = "", field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        if code:
            self.code = code


class NotAllowed(Refusal):
    """The person's roles do not include this act, or a second person is required."""

    code = "not-allowed"


class NotFound(Refusal):
    """There is no such thing, or it is not this person's: both answer alike."""

    code = "not-found"


class Conflict(Refusal):
    """The state of the thing does not admit the act, or somebody else was first."""

    code = "conflict"


class Unavailable(Refusal):
    """The server cannot do it now, or not with a thing of this size; nothing was changed."""

    code = "unavailable"


class TooMany(Refusal):
    """Tried too often: the same may be tried again after `retry_after_s` seconds."""

    code = "too-many"

    def __init__(self, message: str, *, retry_after_s: int, field: str = "") -> None:
        super().__init__(message, field=field)
        self.retry_after_s = retry_after_s


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one field of what was typed."""

    field: str
    message: str
    code: str = "invalid"


class Invalid(Refusal):
    """What was typed cannot be taken; every fault is named with its field."""

    code = "invalid"

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__(
            " ".join(fault.message for fault in self.faults),
            field=self.faults[0].field if self.faults else "",
        )

    @classmethod
    def one(cls, field: str, message: str, *, code: str = "invalid") -> Invalid:
        """Build the refusal for a single field."""
        return cls(Fault(field, message, code))
