"""Several certificates under one signature; certificates by e-mail."""

from __future__ import annotations

import pytest
from django.core import mail as outbox

from gradation.errors import Conflict, Invalid
from gradation.models import CertificateMail, IssueBatch, Laboratory, LedgerEntry
from gradation.queries.certificate_files import issued_count
from gradation.services import certificate_mail, certify, issue_batches
from tests import factories
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


def draft_on(run, actor):
    return certify.draft_certificate(
        actor=actor, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )


# Several at once


def test_several_are_issued_one_by_one_and_the_list_says_which_failed_and_why(signatory):
    good = [draft_on(factories.make_accepted_run(), signatory) for _ in range(2)]
    sample = factories.make_sample(customer=factories.make_customer(contact_name=""))
    bad = draft_on(factories.make_accepted_run(sample=sample), signatory)
    batch = issue_batches.begin_batch(
        actor=signatory, drafts=[good[0], bad, good[1]], password=PASSWORD
    )

    batch = issue_batches.do_batch(actor=signatory, batch=batch)

    assert batch.state == IssueBatch.State.DONE
    items = list(batch.items.all())
    assert [item.state for item in items] == ["issued", "failed", "issued"]
    assert "Missing: customer contact." in items[1].said
    assert [item.named[-5:] for item in items if item.state == "issued"] == ["-0001", "-0002"]


def test_a_batch_that_was_stopped_leaves_the_rest_as_drafts(signatory):
    drafts = [draft_on(factories.make_accepted_run(), signatory) for _ in range(2)]
    batch = issue_batches.begin_batch(actor=signatory, drafts=drafts, password=PASSWORD)
    issue_batches.stop_batch(actor=signatory, batch=batch)

    batch = issue_batches.do_batch(actor=signatory, batch=batch)

    assert batch.state == IssueBatch.State.STOPPED
    assert issued_count() == 0


def test_a_batch_goes_on_under_its_own_signature_only(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    batch = issue_batches.begin_batch(actor=signatory, drafts=[draft], password=PASSWORD)

    with pytest.raises(Conflict, match="signed for these"):
        issue_batches.do_batch(actor=factories.signatory(), batch=batch)


# By e-mail


@pytest.fixture
def issued_to_somebody(signatory):
    sample = factories.make_sample(customer=factories.make_customer(email="lab@tarn.example"))
    return factories.make_certificate(sample=sample)


def deliver(mail, actor):
    return certificate_mail.deliver_mail(actor=actor, mail=mail)


def test_a_certificate_goes_to_its_customer_with_the_file_and_stands_in_the_log(
    signatory, issued_to_somebody
):
    mail = certificate_mail.send_certificate(actor=signatory, certificate=issued_to_somebody)

    mail = deliver(mail, signatory)

    assert (mail.state, mail.tries, mail.address) == ("sent", 1, "lab@tarn.example")
    (message,) = outbox.outbox
    assert message.to == ["lab@tarn.example"]
    assert message.attachments[0][1] == bytes(issued_to_somebody.pdf)
    assert LedgerEntry.objects.filter(action="certificate sent").count() == 1


def test_a_message_that_failed_says_why_and_can_be_sent_again(
    signatory, issued_to_somebody, settings
):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # the discard port: nobody listens
    mail = certificate_mail.send_certificate(actor=signatory, certificate=issued_to_somebody)
    mail = deliver(mail, signatory)
    assert mail.state == "failed"
    assert "Error" in mail.said

    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    mail = deliver(certificate_mail.retry_mail(actor=signatory, mail=mail), signatory)

    assert (mail.state, mail.tries, mail.said) == ("sent", 2, "")


@pytest.mark.parametrize(
    "address",
    ["a@b.example\nBcc: all@b.example", "a@b.example\r\nSubject: x", "nobody", "a@b.example, c@d"],
)
def test_s30_line_breaks_reach_no_header_of_a_message(signatory, issued_to_somebody, address):
    with pytest.raises(Invalid, match="no e-mail address"):
        certificate_mail.send_certificate(
            actor=signatory, certificate=issued_to_somebody, address=address
        )

    assert not CertificateMail.objects.exists()


def test_a_laboratory_name_with_line_breaks_stays_one_line_of_the_subject(
    signatory, issued_to_somebody
):
    Laboratory.objects.update(name="Tarn\r\nBcc: all@b.example")
    mail = certificate_mail.send_certificate(actor=signatory, certificate=issued_to_somebody)

    mail = deliver(mail, signatory)

    assert mail.state == "sent"
    assert "\n" not in outbox.outbox[0].subject
    assert outbox.outbox[0].bcc == []
