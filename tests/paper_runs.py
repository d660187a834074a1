"""Runs recorded on paper: marked with a scan, and typed."""

from __future__ import annotations

import base64
from typing import Any

from gradation.models import Run, Sample, User
from gradation.services import clock, transcribing
from tests import factories
from tests.bench_steps import hand_over

#: One white point, as PNG (W3C, Portable Network Graphics, chunks IHDR, IDAT, IEND).
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGP4DwABAQEAsTj2FAAAAABJRU5ErkJggg=="
)


def make_paper_run(actor: User | None = None, sample: Sample | None = None, **told: Any) -> Run:
    """Open a run and mark it as recorded on paper today by whoever opened it."""
    run = factories.make_run(actor, sample)
    said = {"performed_on": clock.today(), "performed_by": run.technician, "reason": "Power cut."}
    transcribing.mark_transcribed(
        actor=run.technician,
        run=run,
        told=transcribing.OnPaper(**{**said, **told}),
        scan=transcribing.ScanGiven("sheet.png", PICTURE),
    )
    return Run.objects.get(pk=run.pk)


def make_typed_run(actor: User | None = None, sample: Sample | None = None, **told: Any) -> Run:
    """Type a run from paper and hand it over for review."""
    run = make_paper_run(actor, sample, **told)
    factories.weigh(run)
    return hand_over(run)
