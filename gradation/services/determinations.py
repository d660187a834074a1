"""Determinations: one that stands apart is set aside with a reason, and can count again."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict
from gradation.models import Run, User
from gradation.policy import Action, require
from gradation.queries.determination_set import determinations_of
from gradation.science.quality.outliers import OutlierVerdict
from gradation.services import ledger
from gradation.services.checking import locked, needs_reason

__all__ = ["count_determination", "set_determination_aside"]


def set_determination_aside(*, actor: User, run: Run, reason: str) -> Run:
    """Let a determination that is an outlier no longer count; it stays readable with the others.

    Reviewers may, with a reason, by the outlier rule of the procedure and only what that rule finds
    to be an outlier: a result is not left out because it does not suit. Refuses (`Conflict`) others
    and runs on a certificate. Ledger: determination set aside.
    """
    require(actor, Action.REVIEW_RUN)
    reason = needs_reason(reason, "set the determination aside")
    with transaction.atomic():
        run = locked(run, "portion__sample__procedure_version", "procedure_version__procedure")
        _refuse_certified(run)
        _refuse_unless_outlier(run)
        return _counted(actor, run, counts=False, reason=reason)


def count_determination(*, actor: User, run: Run, reason: str) -> Run:
    """Let a determination that was set aside count again.

    Reviewers may, with a reason. Refuses (`Conflict`) one that counts already and runs on a
    certificate. Ledger: determination counts again.
    """
    require(actor, Action.REVIEW_RUN)
    reason = needs_reason(reason, "let it count again")
    with transaction.atomic():
        run = locked(run, "portion__sample__procedure_version", "procedure_version__procedure")
        _refuse_certified(run)
        if run.counts:
            msg = f"Run {run} counts already."
            raise Conflict(msg)
        return _counted(actor, run, counts=True, reason=reason)


def _refuse_certified(run: Run) -> None:
    certificate = run.certificates.filter(number__isnull=False).order_by("id").first()
    if certificate is not None:
        msg = f"Run {run} is on certificate {certificate}. Amend that certificate instead."
        raise Conflict(msg, code="on-certificate")


def _refuse_unless_outlier(run: Run) -> None:
    found = determinations_of(run.portion.sample).outliers.get(run.pk)
    if not run.counts:
        msg = f"Run {run} was set aside already: {run.counts_reason}"
        raise Conflict(msg)
    if found is None or found.verdict != OutlierVerdict.OUTLIER:
        msg = (
            f"Run {run} is no outlier by the rule of {run.procedure_version}, so it counts. Where "
            "something went wrong with it, make the run invalid and say what."
        )
        raise Conflict(msg, code="no-outlier")


def _counted(actor: User, run: Run, *, counts: bool, reason: str) -> Run:
    before = ledger.snapshot(run)
    run.counts, run.counts_reason = counts, "" if counts else reason
    run.version += 1
    run.save(update_fields=["counts", "counts_reason", "version"])
    action = "determination counts again" if counts else "determination set aside"
    ledger.write(actor=actor, action=action, subject=run, before=before, reason=reason)
    return run
