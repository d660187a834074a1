"""Several drafts issued under one signature: each in transactions of its own, results in a list."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from gradation.errors import Conflict, Invalid, Refusal
from gradation.models import Certificate, CertificateSignature, IssueBatch, IssueBatchItem, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.certificate_mail import send_certificate
from gradation.services.certify import MEANING, finish_certificate, sign_draft
from gradation.services.checking import cleaned_row, locked
from gradation.services.long_work import Progress
from gradation.services.signing_act import confirm_signer

__all__ = ["begin_batch", "do_batch", "stop_batch"]

MOST_AT_ONCE = 500

State, ItemState = IssueBatch.State, IssueBatchItem.State


def begin_batch(
    *,
    actor: User,
    drafts: Sequence[Certificate],
    password: str,
    code: str = "",
    sends_mail: bool = False,
) -> IssueBatch:
    """Sign for several drafts at once; `do_batch` issues them.

    Signatories may, re-entering their password once for this list (21 CFR 11.200(a)(1)(i): a series
    of signings in one go). Refuses (`Invalid`) an empty list, (`Conflict`) while a batch of this
    person runs. Ledger: issue of several begun.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    if not drafts or len(drafts) > MOST_AT_ONCE:
        msg = f"Choose at least one draft, and at most {MOST_AT_ONCE}."
        raise Invalid.one("drafts", msg, code="none-chosen")
    confirm_signer(actor=actor, password=password, code=code)
    with transaction.atomic():
        _refuse_running(locked(actor))
        now = clock.now()
        batch = cleaned_row(
            IssueBatch(
                meaning=MEANING, sends_mail=sends_mail, begun_at=now, begun_by=actor, beat_at=now
            )
        )
        IssueBatchItem.objects.bulk_create(
            IssueBatchItem(batch=batch, certificate_id=draft.pk, named=f"sample {draft.sample}")
            for draft in drafts
        )
        after = ledger.snapshot(batch, drafts=[draft.pk for draft in drafts])
        ledger.write(actor=actor, action="issue of several begun", subject=batch, after=after)
    return batch


def _refuse_running(actor: User) -> None:
    for batch in IssueBatch.objects.filter(begun_by=actor, state=State.RUNNING):
        if not batch.is_silent(clock.now()):
            msg = "You are issuing several already. Wait until that is done, or stop it."
            raise Conflict(msg, code="batch-running")


def do_batch(*, actor: User, batch: IssueBatch) -> IssueBatch:
    """Issue what waits in a batch, one after the other, and write down what failed and why.

    Signatories may, for their own batch. What fails does not hold up the rest. Ledger: one line for
    each signature and issue; issue of several ended.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    if batch.begun_by_id != actor.pk:
        msg = f"{batch.begun_by} signed for these; nobody else issues them."
        raise Conflict(msg, code="not-own-signature")
    progress = Progress(batch.work_name, lambda done: _keep(batch, done), lambda: _is_asked(batch))
    state = State.DONE
    for done, item in enumerate(batch.items.all(), start=1):
        if progress.is_to_stop:
            state = State.STOPPED
            break
        if item.state == ItemState.WAITING:
            _issue(actor, batch, item)
        progress.tell(done)
    return _end(actor, batch, state)


def _keep(batch: IssueBatch, done: int) -> None:
    IssueBatch.objects.filter(pk=batch.pk).update(done=done, beat_at=clock.now())


def _is_asked(batch: IssueBatch) -> bool:
    return IssueBatch.objects.filter(pk=batch.pk, stop_asked=True).exists()


def _issue(actor: User, batch: IssueBatch, item: IssueBatchItem) -> None:
    try:
        issued = _issued(actor, batch, item)
        item.state, item.named = ItemState.ISSUED, str(issued)
        if batch.sends_mail:
            send_certificate(actor=actor, certificate=issued)
    except Refusal as refusal:
        if item.state == ItemState.WAITING:
            item.state = ItemState.FAILED
        item.said = refusal.message
    item.save(update_fields=["state", "named", "said"])


def _issued(actor: User, batch: IssueBatch, item: IssueBatchItem) -> Certificate:
    draft = Certificate.objects.filter(pk=item.certificate_id).first()
    if draft is None:
        msg = "The draft was discarded."
        raise Conflict(msg, code="discarded")
    if not CertificateSignature.objects.filter(certificate=draft, person=actor).exists():
        draft = sign_draft(actor=actor, certificate=draft, meaning=batch.meaning)
    return finish_certificate(actor=actor, certificate=draft)


def _end(actor: User, batch: IssueBatch, state: str) -> IssueBatch:
    with transaction.atomic():
        batch = locked(batch)
        before = ledger.snapshot(batch)
        batch.state, batch.ended_at, batch.beat_at = state, clock.now(), clock.now()
        batch.save(update_fields=["state", "ended_at", "beat_at"])
        ledger.write(actor=actor, action="issue of several ended", subject=batch, before=before)
    return batch


def stop_batch(*, actor: User, batch: IssueBatch) -> IssueBatch:
    """Ask a batch to stop after the certificate in hand; who began it may. Ledger: stop asked."""
    require(actor, Action.ISSUE_CERTIFICATE)
    with transaction.atomic():
        batch = locked(batch)
        if not batch.is_running or batch.begun_by_id != actor.pk:
            msg = "There is nothing of yours to stop."
            raise Conflict(msg)
        batch.stop_asked = True
        batch.save(update_fields=["stop_asked"])
        ledger.write(actor=actor, action="issue stop asked", subject=batch, after={"stop": True})
    Progress.ask_to_stop(batch.work_name)
    return batch
