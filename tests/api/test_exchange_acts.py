"""What a person does on a screen, a system does here: webhooks, report forms, files, batches."""

import base64
import hashlib
import io
import json
import zipfile

import pytest
from django.urls import reverse

from gradation.models import (
    Certificate,
    CertificateMail,
    Delivery,
    InterfaceKey,
    LedgerEntry,
    ReportForm,
    Run,
    Sieve,
    Webhook,
)
from gradation.policy import Role
from gradation.queries.trail import trail_of
from gradation.services import report_forms
from gradation.services.equipment_import import COLUMNS
from gradation.services.webhook_secrets import secret_of
from tests import factories

pytestmark = pytest.mark.django_db

PUBLIC = "https://93.184.215.14/hooks"
PDF = b"%PDF-1.4 a maker's certificate"


def send(client, method, name, body=None, args=(), **headers):
    text = json.dumps({} if body is None else body)
    address = reverse(f"api:{name}", args=args)
    return getattr(client, method)(address, text, "application/json", headers=headers)


def kind(answer):
    return answer.json()["type"].rpartition(":")[2]


def base64_of(content):
    return base64.b64encode(content).decode()


@pytest.fixture
def manager(client):
    person = factories.quality_manager()
    client.force_login(person)
    return person


def test_webhook_is_added_changed_paused_and_called_again(client, manager):
    wanted = {"name": "Order office", "url": PUBLIC, "events": ["sample.logged"]}
    made = send(client, "post", "webhooks", wanted)
    key, more = made.json()["id"], {**wanted, "events": ["sample.logged", "run.accepted"]}

    changed = send(client, "put", "webhook", more, [key], **{"If-Match": made["ETag"]})
    reason = {"reason": "their server is rebuilt"}
    paused = send(client, "post", "webhook-pause", reason, [key], **{"If-Match": changed["ETag"]})
    again = send(client, "post", "webhook-resume", reason, [key], **{"If-Match": paused["ETag"]})

    assert [made.status_code, changed.status_code, again.status_code] == [201, 200, 200]
    assert changed.json()["events"] == ["run.accepted", "sample.logged"]
    assert (paused.json()["is_paused"], again.json()["is_paused"]) == (True, False)
    acts = LedgerEntry.objects.filter(subject_type="webhook").values_list("action", flat=True)
    assert list(acts.order_by("id")) == [
        "webhook added", "webhook changed", "webhook paused", "webhook resumed",
    ]  # fmt: skip


def test_webhook_into_a_private_network_is_refused_at_its_field(client, manager):
    wanted = {"name": "Inside", "url": "https://10.0.0.7/", "events": ["sample.logged"]}

    answer = send(client, "post", "webhooks", wanted)

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/url"


def test_secret_is_told_in_one_answer_and_kept_under_no_key(client, manager):
    wanted = {"name": "Order office", "url": PUBLIC, "events": ["sample.logged"]}
    made = send(client, "post", "webhooks", wanted)
    key = {"Idempotency-Key": "secret-1"}

    told = send(client, "post", "webhook-secret", {"reason": "first"}, [made.json()["id"]], **key)

    secret = told.json()["secret"]
    assert secret == secret_of(Webhook.objects.get().secret_salt)
    assert secret not in made.content.decode()
    assert not InterfaceKey.objects.filter(answer__contains=secret).exists()
    assert not InterfaceKey.objects.filter(key="secret-1").exists()


def test_log_tells_each_delivery_and_what_was_given_up_is_told_again(client, manager):
    wanted = {"name": "Order office", "url": PUBLIC, "events": ["sample.logged"]}
    hook = send(client, "post", "webhooks", wanted).json()["id"]
    factories.make_sample()
    Delivery.objects.update(state="given up", ended_at=factories.NOW, tries=12)

    (row,) = client.get(reverse("api:webhook-deliveries", args=[hook])).json()["results"]
    seen = client.get(reverse("api:webhook-delivery", args=[hook, row["id"]]))
    tag = {"If-Match": seen["ETag"]}
    again = send(client, "post", "webhook-replay", None, [hook, row["id"]], **tag)
    waiting = send(client, "post", "webhook-replay", None, [hook, row["id"]], **{"If-Match": "*"})

    assert (row["type"], row["state"]) == ("sample.logged", "given up")
    assert again.json()["state"] == "waiting"
    assert again.json()["webhook_id"] == row["webhook_id"]
    assert (waiting.status_code, kind(waiting)) == (409, "delivery-waiting")


def test_only_who_keeps_webhooks_sees_them(client):
    client.force_login(factories.technician())

    assert client.get(reverse("api:webhooks")).status_code == 403


def test_report_form_is_drawn_up_changed_and_given_up(client, manager):
    customer = factories.make_customer(name="Brook Works")
    wanted = {"name": "Brook", "customer": customer.name, "language": "de", "paper": "A4"}
    made = send(client, "post", "report-forms", wanted)
    key = [made.json()["id"]]

    more = {**wanted, "passing_decimals": 1, "reason": "asked for"}
    changed = send(client, "put", "report-form", more, key, **{"If-Match": made["ETag"]})
    gone = send(
        client, "post", "report-form-give-up", {"reason": "no more"}, key,
        **{"If-Match": changed["ETag"]},
    )  # fmt: skip

    assert (made.status_code, made.json()["customer"]) == (201, "Brook Works")
    assert (changed.json()["passing_decimals"], changed.json()["version"]) == (1, 2)
    assert gone.json()["is_active"] is False
    assert ReportForm.objects.get().passing_decimals == 1


def test_draft_takes_a_report_form_and_further_samples(client):
    first = factories.make_accepted_run()
    other = factories.make_accepted_run(
        sample=factories.make_sample(
            customer=first.portion.sample.customer, material=first.portion.sample.material
        )
    )
    form = report_forms.draw_up_form(actor=factories.signatory(), form=ReportForm(name="Chosen"))
    client.force_login(factories.signatory())
    body = {
        "sample": first.portion.sample.number,
        "runs": [first.pk, other.pk],
        "report_form": form.pk,
        "further_samples": [other.portion.sample.number],
    }

    made = send(client, "post", "certificate-drafts", body)
    wrong = send(client, "post", "certificate-drafts", {**body, "report_form": 10**9})

    assert made.status_code == 201, made.content
    draft = Certificate.objects.get(state="draft")
    assert draft.report_form == form
    assert list(draft.further_samples.all()) == [other.portion.sample]
    assert set(draft.runs.all()) == {first, other}
    assert wrong.json()["errors"][0]["pointer"] == "/report_form"


def test_file_of_a_sieve_is_handed_in_listed_and_read_back(client):
    client.force_login(factories.keeper())
    sieve = factories.make_sieve(425)
    body = {"name": "maker.pdf", "file_base64": base64_of(PDF)}

    made = send(client, "post", "equipment-files", body, [sieve.serial])
    twice = send(client, "post", "equipment-files", body, [sieve.serial])
    (row,) = client.get(reverse("api:equipment-files", args=[sieve.serial])).json()["results"]
    read = client.get(reverse("api:equipment-file", args=[sieve.serial, row["id"]]))

    assert (made.status_code, made.json()["media_type"]) == (201, "application/pdf")
    assert row["sha256"] == hashlib.sha256(PDF).hexdigest()
    assert read.content == PDF
    assert read["X-Content-Type-Options"] == "nosniff"
    assert (twice.status_code, kind(twice)) == (409, "attached-already")


def test_file_of_sieves_is_looked_through_without_registering_one(client):
    client.force_login(factories.keeper())

    file = "\n".join([";".join(COLUMNS), "S-1" + ";" * (len(COLUMNS) - 1)]).encode()
    body = {"file_name": "s.csv", "file_base64": base64_of(file)}

    looked = send(client, "post", "sieve-import", {**body, "dry_run": True})
    taken = send(client, "post", "sieve-import", {**body, "dry_run": False})

    assert looked.status_code == 200
    assert looked.json()["registered"] == 0
    assert {fault["row"] for fault in looked.json()["faults"]} == {2}
    assert taken.status_code == 422
    assert not Sieve.objects.exists()


def test_history_leaves_as_a_file_and_the_ledger_says_so(client):
    sample = factories.make_sample()
    client.force_login(factories.make_person(Role.AUDITOR))

    address = reverse("api:history-file", args=[sample.number])
    told = client.get(address, {"form": "json"})

    assert json.loads(told.content)["entries"][0]["what"].startswith("Sample logged")
    assert LedgerEntry.objects.get(action="history exported").after["form"] == "json"


def test_pack_that_proves_a_certificate_is_had_by_its_number(client):
    certificate = factories.make_certificate()
    address = reverse("api:certificate-audit-pack", args=[certificate.number])
    client.force_login(factories.make_person(Role.AUDITOR))

    pack = client.get(address)

    with zipfile.ZipFile(io.BytesIO(pack.content)) as parts:
        assert "verify.py" in parts.namelist()
    client.force_login(factories.technician())
    assert client.get(address).status_code == 403


def test_certificate_is_sent_once_for_one_key(client):
    certificate = factories.make_certificate()
    client.force_login(factories.signatory())
    body, key = {"address": "lab@example.org"}, {"Idempotency-Key": "mail-1"}

    for _ in range(2):
        answer = send(client, "post", "certificate-send", body, [certificate.number], **key)

    assert answer.status_code == 200
    assert CertificateMail.objects.get().address == "lab@example.org"


def test_clean_runs_are_accepted_together_and_the_others_say_why(client):
    clean, moved = factories.make_weighed_run(), factories.make_weighed_run()
    client.force_login(factories.reviewer())
    seen = trail_of(clean).newest

    answer = send(
        client, "post", "runs-accept",
        {"runs": [{"run": clean.pk, "seen": seen}, {"run": moved.pk, "seen": 0}]},
    )  # fmt: skip

    results = answer.json()["results"]
    for each in results:
        run = Run.objects.get(pk=each["run"])
        assert each["accepted"] == (run.state == Run.State.ACCEPTED)
        assert each["accepted"] == (each["detail"] == "")
    assert results[1]["accepted"] is False


def test_method_that_an_address_does_not_take_is_named_before_its_filters(client, manager):
    answer = client.trace(reverse("api:samples") + "?fields=0&strange=1")

    assert (answer.status_code, kind(answer)) == (405, "method-not-allowed")
    assert "GET" in answer["Allow"]


def test_hold_that_is_not_there_is_not_found(client, manager):
    answer = send(client, "post", "hold-lift", {"reason": "over"}, [10**6], **{"If-Match": "*"})

    assert (answer.status_code, kind(answer)) == (404, "not-found")


def test_number_is_no_text(client, manager):
    wanted = {"name": "Order office", "url": PUBLIC, "events": ["sample.logged"]}
    hook = send(client, "post", "webhooks", wanted).json()["id"]

    answer = send(client, "post", "webhook-secret", {"reason": 0}, [hook])

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/reason"
