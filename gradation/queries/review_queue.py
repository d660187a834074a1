"""The runs that wait for review, each with what to look at and its history."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from gradation.models import Result, Run, User
from gradation.queries.review_risks import Risk, risks_of
from gradation.queries.runs import runs_awaiting_review
from gradation.queries.trail import Trail, trails_of

__all__ = ["InReview", "runs_in_review", "runs_picked"]


@dataclass(frozen=True)
class InReview:
    """One run of the queue."""

    run: Run
    risks: tuple[Risk, ...]
    trail: Trail | None = None

    @property
    def is_clean(self) -> bool:
        """Say whether it can be accepted together with others."""
        return not self.risks

    @property
    def result(self) -> Result | None:
        """Give its newest result."""
        return next(iter(self.run.results.all()), None)

    @property
    def kinds(self) -> list[str]:
        """Name the kinds of its risks, each once, gravest first."""
        return list(dict.fromkeys(risk.kind.value for risk in self.risks))


def runs_in_review(actor: User) -> list[InReview]:
    """List the runs handed over, the longest waiting first, in a fixed number of queries."""
    return _in_review(list(runs_awaiting_review(actor)))


def runs_picked(actor: User, keys: Iterable[str]) -> list[InReview]:
    """List those of the waiting runs that were picked, with their histories."""
    wanted = {int(key) for key in keys if key.isdigit() and len(key) < 19}
    runs = list(runs_awaiting_review(actor).filter(pk__in=wanted))
    return _in_review(runs, with_trails=True)


def _in_review(runs: list[Run], *, with_trails: bool = False) -> list[InReview]:
    risks = risks_of(runs)
    trails = trails_of(runs) if with_trails else {}
    return [InReview(run, risks[run.pk], trails.get(run.pk)) for run in runs]
