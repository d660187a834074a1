"""Webhooks: told with what happened, signed, tried for a day, called nowhere they must not."""

import base64
import hashlib
import hmac
import json
import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path
from threading import Thread

import pytest
from django.db import connection, connections, transaction

from gradation.errors import Conflict, NotAllowed
from gradation.models import (
    Announcement,
    Delivery,
    DeliveryTry,
    Event,
    LedgerEntry,
    Sample,
    Webhook,
)
from gradation.services import certify, clock, delivering, outbox, upkeep, webhooks
from tests import factories
from tests.receiver import make_webhook, receiving

LOOPBACK = ["127.0.0.0/8"]


@pytest.fixture
def receiver(settings):
    settings.WEBHOOK_NETWORKS = LOOPBACK
    with receiving() as receiver:
        yield receiver


@pytest.fixture
def hook(db, receiver):
    factories.make_laboratory()
    return make_webhook(receiver.url)


def signed_by_hand(secret, headers, body):
    """As the Standard Webhooks specification says: HMAC-SHA256 over `id.timestamp.body`."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    said = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, said, hashlib.sha256).digest()).decode()


def test_logged_sample_is_told_once_with_hmac_signature_and_timestamp(hook, receiver):
    sample = factories.make_sample(customer_reference="PO 7731")

    assert delivering.deliver_due() == 1
    assert delivering.deliver_due() == 0

    [(headers, body)] = receiver.taken
    told = json.loads(body)
    assert told["type"] == "sample.logged"
    assert told["data"]["sample"] == sample.number
    assert told["data"]["customer_reference"] == "PO 7731"
    assert headers[":path"] == "/hooks?of=norrhaven"
    assert headers["webhook-signature"] == signed_by_hand(hook.secret, headers, body)
    assert abs(int(headers["webhook-timestamp"]) - time.time()) < 60


def test_each_event_is_announced_by_its_use_case(hook):
    certificate = factories.make_certificate()
    run = certificate.runs.get()
    signatory = factories.signatory()
    draft = certify.amend_certificate(
        actor=signatory,
        certificate=certificate,
        drafting=certify.Drafting(runs=[run]),
        reason="Lot corrected.",
    )
    amended = certify.issue_certificate(
        actor=signatory, certificate=draft, password=factories.PASSWORD
    )
    certify.withdraw_certificate(
        actor=signatory,
        certificate=amended,
        reason="Sample mixed up.",
        password=factories.PASSWORD,
    )
    sieve = factories.make_sieve()
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieve, reason="Torn.")

    told = [(each.event, each.subject) for each in Announcement.objects.order_by("id")]

    assert told == [
        ("sample.logged", certificate.sample.number),
        ("run.accepted", str(run)),
        ("certificate.issued", certificate.number),
        ("certificate.amended", amended.number),
        ("certificate.withdrawn", amended.number),
        ("sieve.out_of_service", str(sieve)),
    ]


def test_an_instrument_out_of_service_is_no_sieve(hook):
    oven = factories.make_instrument("oven")

    upkeep.take_out_of_service(actor=factories.keeper(), item=oven, reason="Does not heat.")

    assert not Announcement.objects.exists()


def test_what_was_rolled_back_is_never_told(hook):
    with transaction.atomic():
        factories.make_sample()
        assert Announcement.objects.exists()
        transaction.set_rollback(True)

    assert not Sample.objects.exists()
    assert not Announcement.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_is_announced():
    with pytest.raises(RuntimeError, match="transaction"):
        outbox.announce(Event.SAMPLE_LOGGED, [])


def test_who_hears_of_other_events_only_is_not_told(db, receiver):
    factories.make_laboratory()
    make_webhook(receiver.url, events=[Event.RUN_ACCEPTED])

    factories.make_sample()

    assert not Delivery.objects.exists()


def test_retries_go_on_over_a_day_then_it_is_given_up(hook, receiver):
    receiver.answers = 503
    began = clock.now()
    gone = timedelta()

    with clock.at(began):
        factories.make_sample()
        delivering.deliver_due()
    while Delivery.objects.get().state == "waiting":
        gone = Delivery.objects.get().due_at - began
        with clock.at(began + gone):
            assert delivering.deliver_due() == 1

    assert gone == timedelta(days=1)
    assert Delivery.objects.get().state == "given up"
    assert DeliveryTry.objects.count() == len(delivering.BACK_OFF) + 1
    assert len(set(receiver.ids)) == 1  # the same id at every try


def test_hmac_signature_covers_id_time_and_body_and_is_made_anew_at_each_try(hook, receiver):
    receiver.answers = lambda before: 503 if before == 0 else 200
    factories.make_sample()
    began = clock.now()

    with clock.at(began):
        delivering.deliver_due()
    with clock.at(began + delivering.BACK_OFF[0]):
        delivering.deliver_due()

    (first, body), (second, again) = receiver.taken
    assert body == again
    waited = int(second["webhook-timestamp"]) - int(first["webhook-timestamp"])
    assert waited == delivering.BACK_OFF[0].total_seconds()
    for headers in (first, second):
        assert headers["webhook-signature"] == signed_by_hand(hook.secret, headers, body)
    # Whoever checks finds each of the three changed, and an old message by its time.
    for headers, said in (
        ({**second, "webhook-timestamp": first["webhook-timestamp"]}, body),
        ({**second, "webhook-id": "another"}, body),
        (second, body.replace(b"sample", b"simple")),
    ):
        assert signed_by_hand(hook.secret, headers, said) != second["webhook-signature"]


def test_a_system_that_comes_back_is_told(hook, receiver):
    receiver.answers = lambda before: None if before == 0 else 200
    factories.make_sample()

    delivering.deliver_due()
    with clock.at(clock.now() + delivering.BACK_OFF[0]):
        delivering.deliver_due()

    assert Delivery.objects.get().state == "delivered"
    assert [each.status for each in DeliveryTry.objects.all()] == [None, 200]


def test_one_failing_system_does_not_hold_up_another(hook, receiver):
    make_webhook(receiver.url + "&second", "Second office")
    for _ in range(3):
        factories.make_sample()
    first = Webhook.objects.get(pk=hook.webhook.pk)
    webhooks.change_webhook(
        actor=factories.quality_manager(),
        webhook=first,
        wanted=webhooks.WebhookWanted(first.name, "http://127.0.0.1:1/", first.events),
    )

    delivering.deliver_due()

    assert len(receiver.taken) == 3
    assert DeliveryTry.objects.filter(delivery__webhook=first).count() == 1


def test_a_paused_webhook_waits_and_then_hears_all(hook, receiver):
    manager = factories.quality_manager()
    webhooks.pause_webhook(actor=manager, webhook=hook.webhook, reason="Their server moves.")
    factories.make_sample()
    assert delivering.deliver_due() == 0

    webhooks.resume_webhook(actor=manager, webhook=hook.webhook, reason="It is back.")
    delivering.deliver_due()

    assert len(receiver.taken) == 1
    assert [entry.action for entry in LedgerEntry.objects.filter(subject_type="webhook")] == [
        "webhook added",
        "webhook paused",
        "webhook resumed",
    ]


def test_a_replay_tells_again_under_the_same_id_and_stands_in_the_ledger(hook, receiver):
    factories.make_sample()
    manager = factories.quality_manager()
    with pytest.raises(Conflict, match="still waiting"):
        webhooks.replay_delivery(actor=manager, delivery=Delivery.objects.get())
    delivering.deliver_due()

    webhooks.replay_delivery(actor=manager, delivery=Delivery.objects.get())
    delivering.deliver_due()

    assert len(receiver.taken) == 2
    assert len(set(receiver.ids)) == 1
    assert receiver.taken[0][1] == receiver.taken[1][1]
    assert LedgerEntry.objects.filter(action="delivery replayed").count() == 1


def test_only_quality_managers_keep_webhooks(db):
    wanted = webhooks.WebhookWanted("Plant", "https://example.org/", [Event.RUN_ACCEPTED])

    with pytest.raises(NotAllowed):
        webhooks.add_webhook(actor=factories.technician(), wanted=wanted)


def test_s22_the_secret_stands_nowhere_in_the_database(hook):
    entry = LedgerEntry.objects.get(action="webhook added")

    assert hook.webhook.secret_salt not in json.dumps(entry.after)
    assert hook.secret not in repr(hook)
    assert hook.secret not in json.dumps(Webhook.objects.values().get(), default=str)


def test_s43_while_the_key_of_the_installation_changes_both_sign(hook, receiver, settings):
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another key for the test suite"
    factories.make_sample()

    delivering.deliver_due()

    [(headers, body)] = receiver.taken
    assert signed_by_hand(hook.secret, headers, body) in headers["webhook-signature"].split(" ")


def test_a_renewed_secret_signs_and_the_former_no_more(hook, receiver):
    made = webhooks.renew_secret(
        actor=factories.quality_manager(), webhook=hook.webhook, reason="Was seen in a log."
    )
    factories.make_sample()

    delivering.deliver_due()

    [(headers, body)] = receiver.taken
    assert headers["webhook-signature"] == signed_by_hand(made.secret, headers, body)
    assert made.secret != hook.secret


# Two workers, and workers that die


@pytest.mark.django_db(transaction=True)
def test_two_workers_never_tell_the_same_thing_twice(settings):
    settings.WEBHOOK_NETWORKS = LOOPBACK
    with receiving() as receiver:
        factories.make_laboratory()
        make_webhook(receiver.url)
        material = factories.make_material()
        for _ in range(12):
            factories.make_sample(material=material)

        def work():
            try:
                delivering.deliver_due()
            finally:
                connections.close_all()

        workers = [Thread(target=work) for _ in range(2)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join(60)

        assert len(receiver.ids) == len(set(receiver.ids)) == 12


@pytest.mark.django_db(transaction=True)
def test_f22_at_least_once_a_worker_killed_in_a_call_is_followed_by_another(settings):
    """A real worker, kill -9 while the other system has the call and has not answered."""
    settings.WEBHOOK_NETWORKS = LOOPBACK
    with receiving() as receiver:
        receiver.delay_s = 30
        factories.make_laboratory()
        make_webhook(receiver.url)
        factories.make_sample()
        worker = subprocess.Popen([sys.executable, "-c", WORKER], env=_environment(), cwd=ROOT)
        _wait_for(lambda: receiver.taken)
        os.kill(worker.pid, signal.SIGKILL)
        worker.wait(10)
        receiver.delay_s = 0

        held = Delivery.objects.get()
        with clock.at(held.claimed_until - timedelta(seconds=1)):
            assert delivering.deliver_due() == 0  # still the dead worker's
        with clock.at(held.claimed_until):
            assert delivering.deliver_due() == 1

        assert Delivery.objects.get().state == "delivered"
        assert len(receiver.ids) == 2
        assert len(set(receiver.ids)) == 1


@pytest.mark.django_db(transaction=True)
def test_f22_restart_in_the_middle_of_five_deliveries_loses_none(settings):
    """A real worker, kill -9 in its third call; the next worker tells what is left."""
    settings.WEBHOOK_NETWORKS = LOOPBACK
    with receiving() as receiver:
        factories.make_laboratory()
        make_webhook(receiver.url)
        numbers = {factories.make_sample().number for _ in range(5)}
        receiver.answers = lambda before: 200 if before < 2 else time.sleep(30) or 200
        worker = subprocess.Popen([sys.executable, "-c", WORKER], env=_environment(), cwd=ROOT)
        _wait_for(lambda: len(receiver.taken) == 3)
        os.kill(worker.pid, signal.SIGKILL)
        worker.wait(10)
        receiver.answers = 200

        with clock.at(clock.now() + delivering.LEASE):
            assert delivering.deliver_due() == 3  # the one in the middle and the two after it

        assert set(Delivery.objects.values_list("state", flat=True)) == {"delivered"}
        assert {json.loads(body)["data"]["sample"] for _, body in receiver.taken} == numbers
        assert len(set(receiver.ids)) == 5
        assert len(receiver.ids) == 6  # one was told twice, under the same id


ROOT = Path(__file__).parents[2]
WORKER = """
import os, django
from django.conf import settings
os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings.test"
settings.DATABASES["default"]["NAME"] = os.environ["TEST_WORKER_DATABASE"]
settings.WEBHOOK_NETWORKS = ["127.0.0.0/8"]
django.setup()
from django.core.management import call_command
call_command("deliver")
"""


def _environment():
    name = str(connection.settings_dict["NAME"])
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "labsite.settings.test",
        "TEST_WORKER_DATABASE": name,
        "PYTHONPATH": str(ROOT),
    }


def _wait_for(condition, seconds=60):
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.05)
