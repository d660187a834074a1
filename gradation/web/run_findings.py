"""The findings of a run as bench and review show them: who may answer, what was typed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from gradation.models import Laboratory, Run, Stage, User
from gradation.policy import Action, may
from gradation.queries.run_checks import Finding, findings, may_answer, review_findings
from gradation.queries.runs import RunView
from gradation.queries.settled import settled_choices

_ROW = re.compile(r"-\d+$")

__all__ = ["ShownFinding", "findings_at_bench", "findings_at_review", "flags_left"]


@dataclass(frozen=True)
class ShownFinding:
    """One finding with its form: whether this person may answer it, what was typed, what is wrong.

    `anchor` names its entry of the list.
    """

    finding: Finding
    may_answer: bool
    typed: str = ""
    error: str = ""

    @property
    def anchor(self) -> str:
        """Name its place on the page."""
        return f"finding-{self.finding.key}"

    @property
    def target(self) -> str:
        """Name the cell of the sheet it is about, where it is about one."""
        place = self.finding.place
        return f"cell-{place}" if _ROW.search(place) else ""

    @property
    def asks(self) -> bool:
        """Say whether its form stands open."""
        return self.finding.is_open and self.may_answer

    @property
    def waits_for(self) -> str:
        """Say who must act when this person cannot."""
        finding = self.finding
        if not finding.is_open or self.may_answer:
            return ""
        if not finding.is_stop:
            return "The technician at the bench gives the reason."
        if finding.may_override is None:
            return "Nobody can lift this stop."
        return f"The {finding.may_override} can lift this stop."


def findings_at_bench(
    actor: User,
    view: RunView,
    typed: Mapping[str, str] | None = None,
    error: str = "",
    laboratory: Laboratory | None = None,
) -> tuple[ShownFinding, ...]:
    """Give what is found in a run as it stands: all there is once everything is weighed.

    `typed` are refused reasons by the findings' keys; `error` says why they were refused.
    With `laboratory` it is not read again, and its choices are those of a moment ago.
    """
    run, evaluation = view.run, view.evaluation
    if not run.is_editable:
        return findings_at_review(actor, run)
    complete = evaluation is not None and evaluation.is_complete
    stage = Stage.HAND_OVER if complete else Stage.WEIGHING
    choices = settled_choices() if laboratory else None
    found = findings(run, stage, evaluation=evaluation, laboratory=laboratory, choices=choices)
    return tuple(_shown(actor, run, found, typed or {}, error))


def findings_at_review(actor: User, run: Run) -> tuple[ShownFinding, ...]:
    """Give the list a reviewer goes through, with what the bench has said.

    Who looks on and may not review is not asked whether the run is their own.
    """
    reviews = run.state == Run.State.WEIGHED and may(actor, Action.REVIEW_RUN)
    found = review_findings(run, actor if reviews else None)
    return tuple(ShownFinding(finding, may_answer=False) for finding in found)


def _shown(
    actor: User, run: Run, found: Iterable[Finding], typed: Mapping[str, str], error: str
) -> Iterable[ShownFinding]:
    """Put those that wait first, then what is answered, then notes."""
    for finding in sorted(found, key=lambda one: (not one.is_open, one.answer is None, one.number)):
        text = typed.get(finding.key, "")
        yield ShownFinding(
            finding,
            may_answer=run.is_editable and may_answer(actor, finding),
            typed=text,
            error=error if finding.key in typed else "",
        )


def flags_left(flags: Iterable[str], found: Iterable[ShownFinding]) -> tuple[str, ...]:
    """Give the calculation's flags that no finding says already."""
    told = {one.finding.sentence for one in found}
    return tuple(flag for flag in flags if flag not in told)
