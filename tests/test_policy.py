"""Who may do what: the matrix, spelled out once more by hand."""

import pytest

from gradation.errors import NotAllowed
from gradation.models import User
from gradation.policy import Action, Role, may, require
from tests import factories

ACTS_OF = {
    Role.TECHNICIAN: {
        Action.LOG_SAMPLE,
        Action.CHANGE_SAMPLE,
        Action.CLOSE_SAMPLE,
        Action.PREPARE_PORTION,
        Action.RECORD_RUN,
        Action.COMPARE_WITH_PAPER,
        Action.IMPORT_RUNS,
        Action.ENTER_EXTERNAL_RESULT,
        Action.RECORD_SAMPLING,
        Action.SEND_BALANCE_READINGS,
        Action.KEEP_PARTIES,
        Action.KEEP_BLENDS,
        Action.HOLD_SAMPLE,
    },
    Role.REVIEWER: {
        Action.HOLD_SAMPLE,
        Action.COMPARE_WITH_PAPER,
        Action.REVIEW_RUN,
        Action.DRAFT_CERTIFICATE,
        Action.SEND_CERTIFICATE,
        Action.ANSWER_POINT,
        Action.KEEP_BLENDS,
        Action.KEEP_STUDIES,
    },
    Role.SIGNATORY: {
        Action.HOLD_SAMPLE,
        Action.SEAL_RECORDS,
        Action.DRAFT_CERTIFICATE,
        Action.ISSUE_CERTIFICATE,
        Action.LEAVE_OUT_ITEM,
        Action.GIVE_OPINION,
        Action.KEEP_REPORT_FORMS,
        Action.WITHDRAW_CERTIFICATE,
        Action.SEND_CERTIFICATE,
        Action.ACCEPT_SIGNING_POLICY,
        Action.APPROVE_SPECIFICATIONS,
        Action.APPROVE_PROCEDURES,
    },
    Role.EQUIPMENT_KEEPER: {
        Action.KEEP_EQUIPMENT,
        Action.SEND_BALANCE_READINGS,
        Action.OPEN_IMPACT,
        Action.SEND_DUE_DIGEST,
    },
    Role.QUALITY_MANAGER: {
        Action.LOG_SAMPLE,
        Action.CHANGE_SAMPLE,
        Action.CLOSE_SAMPLE,
        Action.KEEP_PARTIES,
        Action.OPEN_IMPACT,
        Action.ASSESS_IMPACT,
        Action.SEND_DUE_DIGEST,
        Action.KEEP_PROCEDURES,
        Action.ENTER_EXTERNAL_RESULT,
        Action.RECORD_SAMPLING,
        Action.KEEP_REPORT_FORMS,
        Action.IMPORT_RUNS,
        Action.APPROVE_PROCEDURES,
        Action.KEEP_SPECIFICATIONS,
        Action.APPROVE_SPECIFICATIONS,
        Action.KEEP_CHARTS,
        Action.ANSWER_POINT,
        Action.SET_POLICY,
        Action.SET_SIGNING_POLICY,
        Action.MANAGE_PEOPLE,
        Action.MANAGE_TOKENS,
        Action.MANAGE_WEBHOOKS,
        Action.KEEP_BLENDS,
        Action.KEEP_STUDIES,
        Action.EXPORT_RECORDS,
        Action.HOLD_SAMPLE,
        Action.SEAL_RECORDS,
        Action.READ_OPERATIONS,
        Action.CLOSE_INCIDENTS,
        Action.KEEP_INSTALLATION,
    },
    Role.AUDITOR: {Action.EXPORT_RECORDS, Action.SEAL_RECORDS, Action.READ_OPERATIONS},
}
OWN = {Action.READ_OWN_SAMPLES, Action.EXPORT_HISTORY, Action.KEEP_OWN_ACCOUNT}
READING = OWN | {Action.READ_RECORDS}


@pytest.mark.django_db
@pytest.mark.parametrize("role", ACTS_OF)
def test_role_may_do_its_acts_and_no_other(role):
    person = factories.make_person(role)

    assert {act for act in Action if may(person, act)} == ACTS_OF[role] | READING


@pytest.mark.django_db
def test_customer_only_reads_their_own():
    person = factories.make_person(Role.CUSTOMER)

    assert {act for act in Action if may(person, act)} == OWN


@pytest.mark.django_db
def test_r60_superuser_without_a_role_owns_no_data():
    person = User(username="root", full_name="Root", is_superuser=True, is_staff=True)
    person.set_unusable_password()
    person.save()

    assert {act for act in Action if may(person, act)} == {Action.KEEP_OWN_ACCOUNT}


@pytest.mark.django_db
def test_closed_account_may_nothing():
    person = factories.make_person(Role.TECHNICIAN)
    person.is_active = False

    assert not any(may(person, act) for act in Action)


@pytest.mark.django_db
def test_refusal_names_the_roles_to_ask():
    person = factories.make_person(Role.TECHNICIAN)

    with pytest.raises(NotAllowed, match="authorised signatory"):
        require(person, Action.ISSUE_CERTIFICATE)
