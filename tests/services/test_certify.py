"""Certificates: right people, right order, whole content, one line of amendments."""

import hashlib

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Certificate, Sample
from gradation.services import certify
from tests import factories
from tests.factories import PASSWORD


def draft_on(run, actor):
    return certify.draft_certificate(
        actor=actor, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )


def test_issue_gives_number_date_and_file_at_once(signatory):
    with factories.at():
        draft = draft_on(factories.make_accepted_run(), signatory)
        issued = certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    issued = Certificate.objects.get(pk=issued.pk)
    assert (issued.number, issued.state) == ("C26-0001", "issued")
    assert issued.issued_at == factories.NOW
    assert hashlib.sha256(bytes(issued.pdf)).hexdigest() == issued.pdf_sha256
    assert bytes(issued.pdf).startswith(b"%PDF")
    assert issued.sample.state == Sample.State.REPORTED


def test_draft_has_no_number(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)

    assert draft.number is None


def test_wrong_password_signs_nothing(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)

    with pytest.raises(NotAllowed, match="Nothing was signed"):
        certify.issue_certificate(actor=signatory, certificate=draft, password="guess")

    assert Certificate.objects.get(pk=draft.pk).state == "draft"


def test_only_a_signatory_issues(reviewer):
    draft = draft_on(factories.make_accepted_run(), reviewer)

    with pytest.raises(NotAllowed):
        certify.issue_certificate(actor=reviewer, certificate=draft, password=PASSWORD)


def test_run_not_accepted_is_not_certified(signatory):
    run = factories.make_weighed_run()

    with pytest.raises(Invalid, match="accepted by a reviewer"):
        draft_on(run, signatory)


def test_runs_of_two_methods_do_not_share_a_certificate(signatory, technician):
    sample = factories.make_sample(technician)
    first = factories.make_accepted_run(technician, sample)
    sample.procedure_version = factories.make_procedure()
    sample.save()
    second = factories.make_accepted_run(technician, Sample.objects.get(pk=sample.pk))

    with pytest.raises(Invalid, match="different methods"):
        certify.draft_certificate(
            actor=signatory, sample=sample, drafting=certify.Drafting(runs=[first, second])
        )


def test_second_certificate_of_a_sample_is_an_amendment(signatory):
    run = factories.make_accepted_run()
    draft_on(run, signatory)

    with pytest.raises(Conflict, match="amend it"):
        draft_on(run, signatory)


def test_r18_content_with_gaps_is_refused_with_the_whole_list_and_no_number_is_lost(signatory):
    sample = factories.make_sample(customer=factories.make_customer(contact_name=""))
    draft = draft_on(factories.make_accepted_run(sample=sample), signatory)

    with pytest.raises(Invalid) as refusal:
        certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    assert "Missing: customer contact." in [fault.message for fault in refusal.value.faults]
    issued = factories.make_certificate()
    assert issued.number.endswith("-0001")


def test_amendment_supersedes_and_says_what_it_replaces(signatory):
    first = factories.make_certificate()
    drafting = certify.Drafting(runs=list(first.runs.all()), remarks="Source named in full.")
    amendment = certify.amend_certificate(
        actor=signatory, certificate=first, drafting=drafting, reason="source was incomplete"
    )

    issued = certify.issue_certificate(actor=signatory, certificate=amendment, password=PASSWORD)

    first = Certificate.objects.get(pk=first.pk)
    assert first.state == Certificate.State.SUPERSEDED
    assert issued.content["amendment"]["replaces"] == first.number
    assert issued.content["amendment"]["reason"] == "source was incomplete"
    assert issued.number != first.number


def test_one_line_of_amendments(signatory):
    first = factories.make_certificate()
    drafting = certify.Drafting(runs=list(first.runs.all()))
    certify.amend_certificate(
        actor=signatory, certificate=first, drafting=drafting, reason="source was incomplete"
    )

    with pytest.raises(Conflict, match="being amended already"):
        certify.amend_certificate(
            actor=signatory, certificate=first, drafting=drafting, reason="another"
        )


def test_later_edit_of_the_customer_leaves_the_issued_file(signatory):
    issued = factories.make_certificate()
    before = bytes(Certificate.objects.get(pk=issued.pk).pdf)

    issued.sample.customer.name = "Renamed Works"
    issued.sample.customer.save()

    after = Certificate.objects.get(pk=issued.pk)
    assert bytes(after.pdf) == before
    assert after.content["customer"]["name"] != "Renamed Works"


def test_withdrawn_certificate_keeps_its_number_and_file(signatory):
    issued = factories.make_certificate()

    withdrawn = certify.withdraw_certificate(
        actor=signatory, certificate=issued, reason="wrong sample", password=PASSWORD
    )

    withdrawn = Certificate.objects.get(pk=withdrawn.pk)
    assert (withdrawn.state, withdrawn.number) == ("withdrawn", issued.number)
    assert bytes(withdrawn.pdf).startswith(b"%PDF")


def test_draft_can_be_discarded_an_issued_one_cannot(signatory):
    draft = draft_on(factories.make_accepted_run(), signatory)
    certify.discard_draft(actor=signatory, certificate=draft, reason="wrong runs chosen")
    issued = factories.make_certificate()

    with pytest.raises(Conflict, match="only a draft"):
        certify.discard_draft(actor=signatory, certificate=issued, reason="try")

    assert list(Certificate.objects.values_list("pk", flat=True)) == [issued.pk]
