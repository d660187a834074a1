"""What is to be proven, and what is said of a link that does not hold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from gradation.models import Sample
from gradation.queries.seals import Anchor

__all__ = ["Broken", "Progress", "Scope"]

#: Told now and then: what is being proven, how much of it is done, and how much there is.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Broken:
    """One thing that does not hold: which kind of proof, where, and what is wrong with it."""

    proof: str
    where: str
    says: str

    def __str__(self) -> str:
        return f"{self.where}: {self.says}"


@dataclass(frozen=True)
class Scope:
    """What to prove: everything, one sample, or what was written since a moment."""

    sample: Sample | None = None
    since: datetime | None = None
    anchors: tuple[Anchor, ...] = ()
    with_figures: bool = True

    @property
    def chain(self) -> str | None:
        """Give the one chain to look at, or None for all."""
        return f"sample/{self.sample.number}" if self.sample else None

    @property
    def is_everything(self) -> bool:
        """Say whether nothing is left out."""
        return self.sample is None and self.since is None
