"""What a check is: its number and words, when it is asked, how grave it is, and what it finds."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from gradation.models import Laboratory, RunCheckAnswer, Severity, Stage
from gradation.policy import Role

if TYPE_CHECKING:
    from gradation.queries.run_checks.context import Context, Part

__all__ = ["Asked", "Finding", "Limit", "Rule", "Seen", "place_name"]

_GRAVITY = (Severity.NOTE, Severity.REASON, Severity.STOP)
_KEY_LENGTH = 16

OPENING = frozenset({Stage.OPENING})
WORKING = frozenset({Stage.WEIGHING, Stage.HAND_OVER, Stage.REVIEW})
COMPLETE = frozenset({Stage.HAND_OVER, Stage.REVIEW})


def place_name(slot: str, position: int = 0) -> str:
    """Name a row of the run's sheet as the page does."""
    return f"{slot.replace(' ', '-')}-{position}"


@dataclass(frozen=True)
class Limit:
    """A figure of a check that a laboratory's own edition could set otherwise."""

    name: str
    words: str
    usual: Decimal
    unit: str
    source: str


@dataclass(frozen=True)
class Seen:
    """What a check's function saw: what is wrong, what to do, and where.

    `field` names what was chosen when a run is opened, `place` the row of its sheet. `at_least` and
    `at_most` keep the laboratory's severity within what the thing itself admits.
    """

    sentence: str
    advice: str
    place: str = ""
    field: str = ""
    at_least: Severity = Severity.NOTE
    at_most: Severity = Severity.STOP

    def severity(self, asked: Severity) -> Severity:
        """Give the laboratory's severity, within what this finding admits."""
        grave = max(_GRAVITY.index(asked), _GRAVITY.index(self.at_least))
        return _GRAVITY[min(grave, _GRAVITY.index(self.at_most))]


@dataclass(frozen=True)
class Rule:
    """One check. `severity` and `override` are its defaults; the laboratory may set its own."""

    number: int
    code: str
    title: str
    looks_at: str
    stages: frozenset[Stage]
    check: Callable[[Context, Limits], Iterable[Seen]]
    severity: Severity = Severity.REASON
    override: Role | None = Role.QUALITY_MANAGER
    needs: frozenset[Part] = frozenset()
    limits: tuple[Limit, ...] = ()
    fixed_because: str = ""
    is_deviation: bool = False
    derived: Callable[[Laboratory, bool], Severity] | None = None
    derived_words: str = ""

    def default(self, laboratory: Laboratory, keeps_competence: bool) -> Severity:
        """Give the severity that holds while the laboratory has made no choice of its own."""
        if self.derived is None:
            return self.severity
        return self.derived(laboratory, keeps_competence)

    @property
    def when(self) -> str:
        """Say when it is asked, in the order of the work."""
        return ", ".join(stage.value for stage in Stage if stage in self.stages)


Limits = Mapping[str, Decimal]


@dataclass(frozen=True)
class Asked:
    """A check as this laboratory asks it: severity, who may lift a stop, and figures."""

    rule: Rule
    severity: Severity
    override: Role | None
    limits: Limits
    is_own: bool = False
    """Whether the laboratory made its own choice."""


@dataclass(frozen=True)
class Finding:
    """What speaks against a run as it stands, for the person at the bench."""

    rule: Rule
    severity: Severity
    sentence: str
    advice: str
    place: str
    field: str
    may_override: Role | None
    answer: RunCheckAnswer | None = None

    @property
    def number(self) -> int:
        """Give the check's number."""
        return self.rule.number

    @property
    def code(self) -> str:
        """Give the check's stable name."""
        return self.rule.code

    @property
    def key(self) -> str:
        """Name this finding as it stands: another sentence is another finding."""
        words = "\n".join((self.code, self.place, self.sentence))
        return hashlib.sha256(words.encode()).hexdigest()[:_KEY_LENGTH]

    @property
    def is_stop(self) -> bool:
        """Say whether the run cannot go on unless a role lifts it."""
        return self.severity == Severity.STOP

    @property
    def is_open(self) -> bool:
        """Say whether it still waits: for its reason, or for somebody who may lift the stop."""
        if self.severity == Severity.NOTE:
            return False
        return self.answer is None or (self.is_stop and not self.answer.is_override)

    @property
    def tag(self) -> str:
        """Give the kind of verdict tag that says its severity."""
        if not self.is_open:
            return "untested" if self.severity == Severity.NOTE else "within"
        return "outside" if self.is_stop else "look"

    @property
    def word(self) -> str:
        """Give the word of its tag."""
        if self.severity == Severity.NOTE:
            return "note"
        if not self.is_open:
            return "stop lifted" if self.is_stop else "answered"
        return "stop" if self.is_stop else "needs a reason"
