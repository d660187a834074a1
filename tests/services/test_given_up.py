"""A certificate that was signed and whose file cannot be made: given up, its number stays used."""

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed, NotFound, Unavailable
from gradation.models import Certificate, LedgerEntry
from gradation.queries.certificate_files import file_faults
from gradation.queries.certificate_register import answer_on_code
from gradation.services import certificate_additions, certify, issuing, signing_keys
from tests import factories
from tests.factories import PASSWORD
from tests.services.test_issuing import amended, draft_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def keyless(signatory, tmp_path, settings):
    """Sign a draft with the laboratory's key named in it, and lose the key."""
    file = tmp_path / "signing_key.pem"
    signing_keys.make_key_once(file, factories.make_laboratory())
    settings.SIGNING_KEY_FILE = str(file)
    run = factories.make_accepted_run()
    draft = certify.sign_draft(actor=signatory, certificate=draft_on(run, signatory))
    settings.SIGNING_KEY_FILE = ""
    with pytest.raises(Unavailable, match="Put that key back"):
        certify.finish_certificate(actor=signatory, certificate=draft)
    return draft


def give_up(draft, actor, reason="The key was lost.", password=PASSWORD):
    return issuing.give_up_signature(
        actor=actor, certificate=draft, reason=reason, password=password
    )


def test_g02_what_cannot_be_drawn_is_given_up_and_its_number_stays_used(signatory, keyless):
    run = keyless.runs.get()
    with pytest.raises(Conflict, match="Open it, or amend it"):
        draft_on(run, signatory)

    given_up = give_up(keyless, signatory)
    issued = certify.issue_certificate(
        actor=signatory, certificate=draft_on(run, signatory), password=PASSWORD
    )

    assert given_up.is_given_up
    assert keyless.signature.number.endswith("-0001")
    assert issued.number.endswith("-0002")
    assert list(file_faults()) == []
    with pytest.raises(NotFound):
        answer_on_code(keyless.signature.verification_code)
    entry = LedgerEntry.objects.get(action="signature given up")
    assert (entry.reason, entry.after["number_not_used"]) == (
        "The key was lost.",
        keyless.signature.number,
    )


def test_what_was_given_up_is_neither_finished_nor_signed_nor_given_up_again(signatory, keyless):
    give_up(keyless, signatory)
    keyless.refresh_from_db()

    for act in (
        lambda: certify.finish_certificate(actor=signatory, certificate=keyless),
        lambda: certify.sign_draft(actor=signatory, certificate=keyless),
        lambda: certify.discard_draft(actor=signatory, certificate=keyless, reason="again"),
        lambda: give_up(keyless, signatory),
    ):
        with pytest.raises(Conflict, match="given up: The key was lost"):
            act()


def test_an_amendment_given_up_leaves_its_certificate_to_another_amendment(signatory):
    run = factories.make_accepted_run()
    issued = certify.issue_certificate(
        actor=signatory, certificate=draft_on(run, signatory), password=PASSWORD
    )
    amendment = certify.amend_certificate(
        actor=signatory,
        certificate=issued,
        drafting=certify.Drafting(runs=[run], remarks="Source named."),
        reason="source was incomplete",
    )
    give_up(certify.sign_draft(actor=signatory, certificate=amendment), signatory)

    second = amended(issued, signatory)

    issued.refresh_from_db()
    assert (issued.state, issued.amended_by) == (Certificate.State.SUPERSEDED, second)


def test_only_a_signed_draft_is_given_up_with_reason_and_password(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    with pytest.raises(Conflict, match="is not signed"):
        give_up(draft, signatory)
    signed = certify.sign_draft(actor=signatory, certificate=draft)
    with pytest.raises(Invalid, match="Say why"):
        give_up(signed, signatory, reason=" ")
    with pytest.raises(NotAllowed):
        give_up(signed, signatory, password="not the password")
    with pytest.raises(NotAllowed):
        give_up(signed, factories.reviewer())
    issued = certify.finish_certificate(actor=signatory, certificate=signed)
    with pytest.raises(Conflict, match="Withdraw it"):
        give_up(issued, signatory)


def test_nothing_is_added_to_what_was_signed(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    certify.sign_draft(actor=signatory, certificate=draft)

    with pytest.raises(Conflict, match="was signed as"):
        certificate_additions.give_opinion(
            actor=signatory, certificate=draft, text="Fit for asphalt.", basis="EN 13043"
        )
