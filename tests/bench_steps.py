"""What a technician does before a run leaves the bench: answer the checks, hand it over."""

from __future__ import annotations

from typing import Any

from gradation.models import Run, Stage
from gradation.queries.run_checks import findings
from gradation.services import bench, run_checks


def answer_findings(run: Run, reason: str = "Looked at on the bench.") -> None:
    """Give a reason for whatever the checks ask one for before a run is handed over."""
    for finding in findings(Run.objects.get(pk=run.pk), Stage.HAND_OVER):
        if finding.is_open:
            run_checks.answer_finding(actor=run.technician, run=run, key=finding.key, reason=reason)


def hand_over(run: Run, **told: Any) -> Run:
    """Answer what the checks ask, and hand a weighed run over for review."""
    answer_findings(run)
    return bench.submit_run(actor=run.technician, run=run, **told)
