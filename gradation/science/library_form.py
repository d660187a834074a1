"""What one published grading is: its limits, how sure each is, where the figures come from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gradation.science.confidence import FROM_MEMORY
from gradation.science.envelope_form import EnvelopeLine

CONFIRMED = "confirmed"

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class LibraryEntry:
    """One published grading: its lines, how sure each is, where the figures come from."""

    key: str
    title: str
    family: str
    lines: tuple[EnvelopeLine, ...]
    marks: tuple[str, ...]
    source: str

    @property
    def is_from_memory(self) -> bool:
        """Whether any of its figures was set down from memory."""
        return FROM_MEMORY in self.marks

    @property
    def is_confirmed(self) -> bool:
        """Whether all its figures were seen in two places."""
        return set(self.marks) == {CONFIRMED}

    @property
    def mark(self) -> str:
        """How its figures are marked on screen."""
        return CONFIRMED if self.is_confirmed else "confirm against your edition"
