"""The page of a certificate that was signed and whose file cannot be made."""

import pytest
from django.urls import reverse

from gradation.services import certify
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed(client):
    signatory = factories.signatory()
    client.force_login(signatory)
    run = factories.make_accepted_run()
    draft = certify.draft_certificate(
        actor=signatory, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )
    return certify.sign_draft(actor=signatory, certificate=draft)


def page_of(client, certificate):
    shown = client.get(reverse("certificates:certificate-show", args=[certificate.pk]))
    return shown.content.decode()


def give_up(client, certificate, **sent):
    address = reverse("certificates:signature-give-up", args=[certificate.pk])
    return client.post(address, {"reason": "The key was lost.", **sent}, follow=True)


def test_a_signed_draft_offers_to_be_finished_or_given_up_and_not_discarded(client, signed):
    page = page_of(client, signed)

    assert "Make the file" in page
    assert reverse("certificates:signature-give-up", args=[signed.pk]) in page
    assert reverse("certificates:draft-discard", args=[signed.pk]) not in page
    assert reverse("certificates:opinion-add", args=[signed.pk]) not in page


def test_given_up_it_says_why_and_offers_nothing_more(client, signed):
    answer = give_up(client, signed, password=factories.PASSWORD)

    page = answer.content.decode()
    assert "given up on" in page
    assert "The key was lost. The number is not used again." in page
    assert "Make the file" not in page
    assert "As it was drafted" in page
    sample = client.get(reverse("intake:sample-show", args=[signed.sample.number]))
    assert "given up" in sample.content.decode()
    assert reverse("certificates:certificate-draft", args=[signed.sample.number]) in (
        sample.content.decode()
    )


def test_a_wrong_password_gives_nothing_up(client, signed):
    answer = give_up(client, signed, password="not the password")

    assert answer.status_code in {200, 403, 422}
    assert "The password is not yours" in answer.content.decode()
    assert "Make the file" in page_of(client, signed)
