"""Issue, amendment, withdrawal: numbers without gaps, files that never change, signatures bound."""

from __future__ import annotations

import hashlib
import json
import threading
from functools import partial

import pytest
from django.db import DatabaseError, connections, transaction
from django.test import Client

from gradation.documents.certificate_content import CertificateContent
from gradation.documents.content_changes import changes_between
from gradation.documents.printing import pool
from gradation.errors import Conflict, Invalid, NotAllowed, Unavailable
from gradation.models import (
    Certificate,
    CertificateSignature,
)
from gradation.queries.certificate_files import file_faults, issued_count
from gradation.queries.certificate_register import answer_on_code
from gradation.queries.signatures import signature_digest, signature_faults
from gradation.services import (
    certify,
    issuing,
    signing_keys,
    signing_policy,
)
from gradation.services.file_answers import Likeness, answer_on_file
from tests import factories
from tests.documents import reading
from tests.factories import PASSWORD
from tests.tampering import guards_lifted

pytestmark = pytest.mark.django_db


def draft_on(run, actor):
    return certify.draft_certificate(
        actor=actor, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )


def amended(certificate, actor, remarks="Source named in full."):
    drafting = certify.Drafting(runs=list(certificate.runs.all()), remarks=remarks)
    draft = certify.amend_certificate(
        actor=actor, certificate=certificate, drafting=drafting, reason="source was incomplete"
    )
    return certify.issue_certificate(actor=actor, certificate=draft, password=PASSWORD)


@pytest.fixture
def key(tmp_path, settings):
    """Return the laboratory's signing key, in a file of its own."""
    file = tmp_path / "signing_key.pem"
    signing_keys.make_key_once(file, factories.make_laboratory())
    settings.SIGNING_KEY_FILE = str(file)
    return file


def content_of(certificate):
    return CertificateContent.from_json(json.dumps(certificate.content))


# Issue


def test_r10_number_and_date_are_the_servers_whatever_was_sent(signatory):
    with factories.at():
        draft = draft_on(factories.make_accepted_run(), signatory)
        Certificate.objects.filter(pk=draft.pk).update(issued_at=None)
        issued = certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    assert issued.issued_at == factories.NOW
    assert issued.number == "C26-0001"
    assert content_of(issued).number == "C26-0001"


def test_p14_the_file_is_signed_last_and_whole_with_the_laboratorys_key(signatory, key):
    issued = factories.make_certificate()

    found = pool.read(bytes(issued.pdf))

    assert found["signature"] == "intact"
    assert found["signed_bytes"] == len(bytes(issued.pdf))
    assert content_of(issued).file_signed_by in found["signed_by"]
    assert key.stat().st_mode & 0o777 == 0o600


def test_without_a_key_the_certificate_says_that_its_file_is_unsigned():
    issued = factories.make_certificate()

    assert "bears no digital signature" in reading.text(bytes(issued.pdf))
    assert answer_on_code(issued.verification_code).is_signed is False


def test_a_key_that_cannot_be_read_stops_the_issue_and_no_number_is_lost(
    signatory, settings, tmp_path
):
    draft = draft_on(factories.make_accepted_run(), signatory)
    settings.SIGNING_KEY_FILE = str(tmp_path / "gone.pem")

    with pytest.raises(Unavailable, match="signing key"):
        certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    settings.SIGNING_KEY_FILE = ""
    issued = certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)
    assert issued.number.endswith("-0001")


def test_f02_a_server_that_stops_after_the_signature_leaves_no_gap(signatory, monkeypatch):
    draft = draft_on(factories.make_accepted_run(), signatory)
    with monkeypatch.context() as stopped:
        stopped.setattr(issuing, "certificate_pdf", lambda content: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)
    assert [fault.says for fault in file_faults()] == ["it was signed, but its file was never made"]

    issued = certify.finish_certificate(actor=signatory, certificate=draft)

    assert issued.number == CertificateSignature.objects.get().number
    assert certify.finish_certificate(actor=signatory, certificate=draft).pdf_sha256 == (
        issued.pdf_sha256
    )
    assert list(file_faults()) == []


def test_a_signed_draft_is_neither_signed_again_nor_discarded(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    certify.sign_draft(actor=signatory, certificate=draft)

    with pytest.raises(Conflict, match="was signed as"):
        certify.sign_draft(actor=signatory, certificate=draft)
    with pytest.raises(Conflict, match="was signed as"):
        certify.discard_draft(actor=signatory, certificate=draft, reason="wrong runs")


def test_r20_nothing_unmarked_before_both_acts(client, signatory):
    """Review and authorisation: an unreviewed run gives no draft, a draft gives no clean file."""
    with pytest.raises(Invalid, match="accepted by a reviewer"):
        draft_on(factories.make_weighed_run(), signatory)
    draft = draft_on(factories.make_accepted_run(), signatory)
    client.force_login(signatory)

    pages = reading.pages(client.get(f"/certificates/{draft.pk}/pdf/").content)
    preview = client.get(f"/certificates/{draft.pk}/preview/").content.decode()
    certify.sign_draft(actor=signatory, certificate=draft)
    still = reading.pages(client.get(f"/certificates/{draft.pk}/pdf/").content)

    assert all("DRAFT" in page for page in (*pages, *still))
    assert "DRAFT" in preview


# Signatures


def test_r61_name_time_and_meaning_stand_on_paper_and_on_the_page(client, signatory):
    issued = factories.make_certificate()
    client.force_login(signatory)

    paper = reading.text(bytes(issued.pdf))
    page = client.get(f"/certificates/{issued.pk}/").content.decode()

    for said in (issued.issued_by_name, issued.meaning):
        assert said in paper
        assert said in page


def test_r62_a_signature_moved_to_another_record_or_a_record_changed_is_found():
    first, second = factories.make_certificate(), factories.make_certificate()
    assert signature_faults(first) == signature_faults(second) == ()

    moved = CertificateSignature.objects.get(certificate=second)
    moved.certificate_id = first.pk

    assert signature_digest(moved) != moved.digest
    first.content = {**first.content, "title": "Another"}
    assert "what was issued is not what was signed" in signature_faults(first)


def test_r64_a_wrong_password_signs_nothing(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)

    with pytest.raises(NotAllowed, match="Nothing was signed"):
        certify.issue_certificate(actor=signatory, certificate=draft, password="guess")

    assert not CertificateSignature.objects.exists()


def test_r98_a_new_policy_is_accepted_before_the_next_signature(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    policy = signing_policy.set_signing_policy(
        actor=factories.quality_manager(), text="I sign only what I looked at."
    )
    with pytest.raises(Conflict, match="accept"):
        certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    signing_policy.accept_policy(actor=signatory, version=policy.version)
    certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    assert CertificateSignature.objects.get().policy_version == 1


# After issue


def test_r30_r31_an_amendment_says_what_it_replaces_why_and_exactly_what_differs(signatory):
    first = factories.make_certificate()

    later = amended(first, signatory)

    old, new = content_of(first), content_of(later)
    assert later.number != first.number
    assert new.amendment.replaces == first.number
    assert new.amendment.reason == "source was incomplete"
    assert new.amendment.changes == changes_between(old, new)
    assert [(it.where, it.was, it.now) for it in new.amendment.changes] == [
        ("remarks · 1", "(absent)", "Source named in full.")
    ]
    said = reading.text(bytes(later.pdf))
    assert f"replaces {first.number}" in said
    assert "Source named in full." in said


def test_r32_the_original_stays_and_is_answered_as_superseded(signatory):
    first = factories.make_certificate()
    before = bytes(first.pdf)

    later = amended(first, signatory)

    first = Certificate.objects.get(pk=first.pk)
    standing = answer_on_code(first.verification_code)
    assert bytes(first.pdf) == before
    assert (standing.state, standing.replaced_by) == ("superseded", later.number)
    assert standing.replaced_at == later.issued_at
    assert answer_on_file(before).standing == standing


def test_r34_withdrawn_is_answered_with_date_and_reason_and_the_number_is_never_used_again(
    signatory,
):
    first = factories.make_certificate()

    certify.withdraw_certificate(
        actor=signatory, certificate=first, reason="wrong sample", password=PASSWORD
    )

    standing = answer_on_code(first.verification_code)
    assert (standing.state, standing.withdrawal_reason) == ("withdrawn", "wrong sample")
    assert standing.withdrawn_at is not None
    assert factories.make_certificate().number != first.number


def test_what_is_being_replaced_is_not_withdrawn_meanwhile(signatory):
    first = factories.make_certificate()
    draft = certify.amend_certificate(
        actor=signatory,
        certificate=first,
        drafting=certify.Drafting(runs=list(first.runs.all())),
        reason="source",
    )
    certify.sign_draft(actor=signatory, certificate=draft)

    with pytest.raises(Conflict, match="was signed as"):
        certify.withdraw_certificate(
            actor=signatory, certificate=first, reason="wrong", password=PASSWORD
        )


def test_r35_a_draft_has_mark_no_number_and_is_unknown_to_the_register(client, signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    client.force_login(signatory)

    file = client.get(f"/certificates/{draft.pk}/pdf/").content

    assert all("DRAFT" in page for page in reading.pages(file))
    assert draft.number is None
    assert answer_on_file(file).likeness is Likeness.UNKNOWN


def test_f07_f29_r36_every_issued_file_is_there_and_a_changed_or_missing_one_is_named():
    first, second = factories.make_certificate(), factories.make_certificate()
    assert issued_count() == 2
    assert list(file_faults()) == []

    broken = bytearray(first.pdf)
    broken[len(broken) // 2] ^= 1
    _as_intruder(first, pdf=bytes(broken))
    _as_intruder(second, pdf=b"")

    assert {(fault.number, fault.says) for fault in file_faults()} == {
        (first.number, "its file is not the one that was issued"),
        (second.number, "its file is missing"),
    }


def _as_intruder(certificate, **values):
    """Change a row as somebody with all rights in the database would: without its guards."""
    with guards_lifted():
        Certificate.objects.filter(pk=certificate.pk).update(**values)


# Races, on both databases


def _at_once(acts):
    """Do all acts at the same moment, each in a thread with a connection of its own."""
    gate, said = threading.Barrier(len(acts)), []

    def do(act):
        try:
            gate.wait()
            said.append(act())
        except (Conflict, DatabaseError) as refusal:
            said.append(refusal)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=do, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return said


@pytest.mark.django_db(transaction=True)
def test_r33_two_amendments_at_once_are_one(signatory):
    first = factories.make_certificate()
    drafting = certify.Drafting(runs=list(first.runs.all()))

    said = _at_once(
        [
            lambda: certify.amend_certificate(
                actor=signatory, certificate=first, drafting=drafting, reason="source"
            )
        ]
        * 2
    )

    assert sorted(type(each).__name__ for each in said) == ["Certificate", "Conflict"]
    assert Certificate.objects.filter(amends=first).count() == 1


@pytest.mark.django_db(transaction=True)
def test_g2_signatures_at_once_give_every_number_once(signatory):
    drafts = [draft_on(factories.make_accepted_run(), signatory) for _ in range(6)]

    said = _at_once(
        [lambda d=draft: certify.sign_draft(actor=signatory, certificate=d) for draft in drafts]
    )

    assert not [each for each in said if isinstance(each, Exception)]
    numbers = CertificateSignature.objects.order_by("number").values_list("number", flat=True)
    assert [number[-4:] for number in numbers] == [f"{n:04d}" for n in range(1, 7)]


@pytest.mark.django_db(transaction=True)
def test_f02_s49_the_same_draft_signed_at_once_is_signed_once(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)

    said = _at_once([lambda: certify.sign_draft(actor=signatory, certificate=draft)] * 5)

    assert sum(isinstance(each, Certificate) for each in said) == 1
    assert CertificateSignature.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_f02_twenty_issues_of_one_draft_at_once_at_the_page_are_one(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    browsers = [Client() for _ in range(20)]
    for browser in browsers:
        browser.force_login(signatory)
    address = f"/certificates/{draft.pk}/issue/"

    said = _at_once([partial(each.post, address, {"password": PASSWORD}) for each in browsers])

    assert [answer.status_code for answer in said].count(302) == 1
    assert len(said) == 20
    assert CertificateSignature.objects.count() == 1
    assert issued_count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_lock_of_the_numbers_is_free_while_a_file_is_drawn(signatory, monkeypatch):
    first, second = (draft_on(factories.make_accepted_run(), signatory) for _ in range(2))
    drawn = issuing.certificate_pdf

    def draw_while_another_signs(content):
        signed = _at_once([lambda: certify.sign_draft(actor=signatory, certificate=second)])
        assert isinstance(signed[0], Certificate)
        return drawn(content)

    monkeypatch.setattr(issuing, "certificate_pdf", draw_while_another_signs)
    issued = certify.issue_certificate(actor=signatory, certificate=first, password=PASSWORD)

    assert hashlib.sha256(bytes(issued.pdf)).hexdigest() == issued.pdf_sha256
    assert CertificateSignature.objects.count() == 2


def test_r29_an_issued_certificate_keeps_every_column_that_was_issued():
    """The database itself refuses, whoever asks: see the guards of the tables."""
    issued = factories.make_certificate()

    with pytest.raises(Conflict, match="only a draft"):
        certify.discard_draft(actor=factories.signatory(), certificate=issued, reason="try")
    with pytest.raises(Exception, match=r"(?i)foreign|protect|append-only"), transaction.atomic():
        issued.delete()
