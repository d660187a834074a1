"""What the bench says to the checks when it opens a run and before it hands it over."""

from dataclasses import replace

from gradation.errors import Invalid
from gradation.models import Run, Stage, TestPortion, User
from gradation.queries.run_checks import findings
from gradation.services import bench, run_checks

#: What a technician of this laboratory would write, by check.
_REASONS = {
    "loss-over-limit": "Spill seen when the nest was opened; the sum is as weighed.",
    "sieve-overloaded": "Shaken in one go; the sieve was looked at and let no more through.",
    "zero-or-kink": "Rows compared with the labels of the sieves; as weighed.",
    "portion-outside-band": "No more of the sample was delivered.",
    "end-point-not-shown": "Shown for this material on this shaker at the yearly check.",
    "not-repeatable": "Both portions looked at; a further determination is asked for.",
    "tare-drift": "Sieve cleaned and weighed empty again; the new tare holds.",
    "version-not-valid": "Logged under this version; kept, so that its results stay comparable.",
}
_OTHERWISE = "Looked at on the bench; as weighed."


def open_run(actor: User, portion: TestPortion, setup: bench.Setup) -> Run:
    """Open a run, with the reasons that the checks ask for before it."""
    try:
        return bench.open_run(actor=actor, portion=portion, setup=setup)
    except Invalid as refusal:
        asked = [fault for fault in refusal.faults if fault.field.startswith("reason-")]
        if not asked:
            raise
    reasons = {
        fault.field.removeprefix("reason-"): _REASONS.get(fault.code, _OTHERWISE) for fault in asked
    }
    return bench.open_run(actor=actor, portion=portion, setup=replace(setup, reasons=reasons))


def hand_over(actor: User, run: Run, said: bench.HandOver | None = None) -> Run:
    """Give the reasons that the checks ask for, and hand the run over."""
    answer(actor, run)
    return bench.submit_run(actor=actor, run=run, hand_over=said)


def answer(actor: User, run: Run, *, only: str = "") -> None:
    """Give the reason for each finding, or for those of one check."""
    asked = [each for each in findings(_afresh(run), Stage.HAND_OVER) if each.is_open]
    for each in asked:
        if only and each.code != only:
            continue
        reason = _REASONS.get(each.code, _OTHERWISE)
        run_checks.answer_finding(actor=actor, run=run, key=each.key, reason=reason)


def _afresh(run: Run) -> Run:
    return Run.objects.get(pk=run.pk)
