"""Samples in work when a newer version of their procedure is released: kept, or moved on."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict
from gradation.models import EditionDecision, ProcedureVersion, Run, Sample, User
from gradation.policy import Action, require
from gradation.queries.methods import open_orders
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason

__all__ = ["decide_edition"]

_UNFINISHED = (Run.State.OPEN, Run.State.RETURNED, Run.State.WEIGHED)


def decide_edition(
    *, actor: User, sample: Sample, version: ProcedureVersion, is_moved: bool, reason: str
) -> EditionDecision:
    """Decide whether a sample in work stays on its version or is tested by the released one.

    Quality managers may. Runs already made keep the version they were made by. Refuses (`Conflict`)
    a sample that is not in work under an older version, or about which it was decided already, and
    a move while a run of the sample is unfinished. Ledger: edition decided; the sample's procedure
    changed, when it moves.
    """
    require(actor, Action.KEEP_PROCEDURES)
    reason = needs_reason(reason, "keep or move the sample")
    with transaction.atomic():
        version = locked(version, "procedure")
        sample = locked(sample, "procedure_version__procedure")
        _refuse_undecidable(sample, version)
        if is_moved:
            _refuse_unfinished(sample)
        decision = EditionDecision(
            sample=sample,
            former=sample.procedure_version,
            version=version,
            is_moved=is_moved,
            reason=reason,
            decided_by=actor,
            decided_at=clock.now(),
        )
        cleaned(decision).save(force_insert=True)
        ledger.write(actor=actor, action="edition decided", subject=decision, reason=reason)
        if is_moved:
            _move(actor, sample, version, reason)
    return decision


def _refuse_undecidable(sample: Sample, version: ProcedureVersion) -> None:
    if not open_orders(version).filter(pk=sample.pk).exists():
        msg = (
            f"There is nothing to decide for sample {sample} and {version}: it is not in work "
            "under an older version, or it was decided already."
        )
        raise Conflict(msg, code="nothing-to-decide")


def _refuse_unfinished(sample: Sample) -> None:
    run = Run.objects.filter(portion__sample=sample, state__in=_UNFINISHED).first()
    if run is not None:
        msg = (
            f"Run {run} of sample {sample} is {run.state} under {run.procedure_version}. Finish it "
            "or make it invalid first, or keep the sample on that version."
        )
        raise Conflict(msg, code="run-unfinished")


def _move(actor: User, sample: Sample, version: ProcedureVersion, reason: str) -> None:
    before = ledger.snapshot(sample)
    sample.procedure_version = version
    sample.version += 1
    sample.save(update_fields=["procedure_version", "version"])
    ledger.write(
        actor=actor,
        action="sample moved to another edition",
        subject=sample,
        before=before,
        reason=reason,
    )
