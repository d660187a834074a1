"""The one next action of a sample, offered to the person who may do it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse

from gradation.models import Certificate, Run, Sample, User
from gradation.policy import Action, may

_WORKED_ON = frozenset({Run.State.OPEN, Run.State.RETURNED})


@dataclass(frozen=True)
class Step:
    """What comes next: for whom it is, in words, and where it is done."""

    words: str
    url: str
    action: Action
    allowed: bool = False


def next_step(actor: User, sample: Sample) -> Step | None:
    """Give the next step of a sample from `find_sample`; None when nothing is left to do."""
    step = next(_steps(sample), None)
    if step is None:
        return None
    return Step(step.words, step.url, step.action, may(actor, step.action))


def _steps(sample: Sample) -> Iterator[Step]:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        return
    portions = list(sample.portions.all())
    runs = [run for portion in portions for run in portion.runs.all()]
    if not portions:
        place = reverse("intake:portion-prepare", args=[sample.number])
        yield Step("Divide a test portion", place, Action.PREPARE_PORTION)
    yield from _run_steps(runs)
    fresh = [portion for portion in portions if not _used(portion.runs.all())]
    if fresh and not runs:
        place = reverse("bench:run-open", args=[fresh[0].label])
        yield Step(f"Open a run of {fresh[0].label}", place, Action.RECORD_RUN)
    yield from _certificate_steps(sample, runs)


def _used(runs: object) -> bool:
    return any(run.state != Run.State.INVALID for run in runs)  # type: ignore[attr-defined]


def _run_steps(runs: list[Run]) -> Iterator[Step]:
    for run in runs:
        if run.state in _WORKED_ON:
            place = reverse("bench:run-weigh", args=[run.pk])
            yield Step(f"Weigh run {run}", place, Action.RECORD_RUN)
        if run.state == Run.State.WEIGHED:
            place = reverse("review:run-review", args=[run.pk])
            yield Step(f"Review run {run}", place, Action.REVIEW_RUN)


def _certificate_steps(sample: Sample, runs: list[Run]) -> Iterator[Step]:
    certificates = list(sample.certificates.all())
    for certificate in certificates:
        if certificate.standing == Certificate.State.DRAFT:
            place = reverse("certificates:certificate-show", args=[certificate.pk])
            yield Step("Look at the draft and issue it", place, Action.ISSUE_CERTIFICATE)
    standing = any(one.state == Certificate.State.ISSUED for one in certificates)
    if not standing and any(run.state == Run.State.ACCEPTED for run in runs):
        place = reverse("certificates:certificate-draft", args=[sample.number])
        yield Step("Draft the certificate", place, Action.DRAFT_CERTIFICATE)
    if standing:
        place = reverse("intake:sample-close", args=[sample.number])
        yield Step("Close the sample", place, Action.CLOSE_SAMPLE)
