"""The due digest: each keeper hears what is due in that person's keeping, nobody hears nothing."""

from datetime import date, timedelta

import pytest
from django.core import mail
from django.core.management import call_command

from gradation.errors import NotAllowed
from gradation.models import LedgerEntry
from gradation.policy import Role
from gradation.services import upkeep
from gradation.services.due_digest import send_due_digest
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = factories.NOW.date()


@pytest.fixture(autouse=True)
def day():
    with factories.at():
        factories.make_laboratory()
        yield


@pytest.fixture
def outside(settings, django_capture_on_commit_callbacks):
    """Send, and let the messages that wait for the commit leave."""

    def send(actor):
        with django_capture_on_commit_callbacks(execute=True):
            return send_due_digest(actor=actor)

    return send


def sieve_due(day: date, **values):
    return factories.make_sieve(next_check_on=day, **values)


def keeper(email="keeper@lab.example.org"):
    return factories.make_person(Role.EQUIPMENT_KEEPER, email=email)


def test_each_keeper_hears_of_what_is_in_that_persons_keeping(outside):
    one, other = keeper("one@lab.example.org"), keeper("other@lab.example.org")
    late = sieve_due(TODAY - timedelta(days=1), keeper=one)
    soon = sieve_due(TODAY + timedelta(days=5), keeper=other)
    far = sieve_due(TODAY + timedelta(days=300), keeper=one)

    outside(one)

    sent = {message.to[0]: message for message in mail.outbox}
    assert sent.keys() == {"one@lab.example.org", "other@lab.example.org"}
    assert late.serial in sent["one@lab.example.org"].body
    assert far.serial not in sent["one@lab.example.org"].body
    assert soon.serial in sent["other@lab.example.org"].body
    assert sent["one@lab.example.org"].subject == "Checks: 1 overdue, 0 due soon"


def test_what_nobody_keeps_goes_to_all_keepers(outside):
    one = keeper("one@lab.example.org")
    keeper("other@lab.example.org")
    sieve_due(TODAY - timedelta(days=1))

    outside(one)

    assert {message.to[0] for message in mail.outbox} == {
        "one@lab.example.org",
        "other@lab.example.org",
    }


def test_nothing_due_sends_nothing_and_writes_nothing(outside):
    actor = keeper()
    sieve_due(TODAY + timedelta(days=300))

    digest = outside(actor)

    assert (digest.items, mail.outbox) == (0, [])
    assert not LedgerEntry.objects.filter(action="due digest sent").exists()


def test_what_is_out_of_service_is_not_told_again(outside):
    actor = keeper()
    sieve = sieve_due(TODAY - timedelta(days=1))
    upkeep.take_out_of_service(actor=actor, item=sieve, reason="Torn.")

    assert outside(actor).items == 0


def test_without_any_address_the_items_are_named(outside):
    actor = factories.make_person(Role.EQUIPMENT_KEEPER)
    sieve = sieve_due(TODAY - timedelta(days=1))

    digest = outside(actor)

    assert digest.untold == (sieve.serial,)
    assert mail.outbox == []


def test_the_ledger_says_to_whom_and_about_what(outside):
    actor = keeper()
    sieve = sieve_due(TODAY - timedelta(days=1))

    outside(actor)

    entry = LedgerEntry.objects.get(action="due digest sent")
    assert entry.after["sent to"] == ["keeper@lab.example.org"]
    assert entry.after["items"] == [sieve.serial]


def test_a_technician_may_not_send_it():
    with pytest.raises(NotAllowed):
        send_due_digest(actor=factories.technician())


def test_the_command_says_what_was_sent(capsys, django_capture_on_commit_callbacks):
    keeper()
    sieve_due(TODAY - timedelta(days=1))

    with django_capture_on_commit_callbacks(execute=True):
        call_command("send_due_digest")

    assert "1 items are due or overdue. Sent to: keeper@lab.example.org." in capsys.readouterr().out
    assert len(mail.outbox) == 1
