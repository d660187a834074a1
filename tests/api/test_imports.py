"""Tables of orders and runs through the interface: given in, looked through, taken in."""

import base64
import json
import time

import pytest
from django.urls import reverse

from gradation.models import LedgerEntry, RunImport, Sample, Scope, SheetForm
from tests import factories

SOUND = "A-1;Tarnholt Quarry;Sand 0/4;;L 7;2026-02-02;2026-02-03;12.5;2026-02-20;wet"
FAULTY = "A-2;Nobody;Sand 0/4;;L 7;2026-02-02;2026-02-03;12.5;2026-02-20;wet"
COLUMNS = {"Order": "customer_reference", "Client": "customer", "Product": "material"}


def send(client, method, address, body=None, **headers):
    text = json.dumps({} if body is None else body)
    return getattr(client, method)(address, text, "application/json", headers=headers)


def give(client, form, *rows):
    file = base64.b64encode(factories.orders_table(*rows)).decode()
    body = {"form": form.pk, "file_name": "orders.csv", "file_base64": file}
    return send(client, "post", reverse("api:imports"), body)


def act(client, job, verb, body=None, **headers):
    return send(client, "post", reverse(f"api:import-{verb}", args=[job["id"]]), body, **headers)


def kind(answer):
    return answer.json()["type"].rpartition(":")[2]


def until_done(client, job):
    """Ask how far it is until the work has ended."""
    for _ in range(400):
        answer = client.get(reverse("api:import", args=[job["id"]]))
        if answer.json()["state"] not in RunImport.BUSY:
            return answer
        time.sleep(0.05)
    return pytest.fail("the work did not end")


@pytest.fixture
def form():
    factories.make_customer(name="Tarnholt Quarry")
    factories.make_material(factories.make_procedure(), name="Sand 0/4")
    return factories.make_order_form()


@pytest.mark.django_db(transaction=True)
def test_orders_are_given_in_looked_through_and_taken_in(client, form):
    client.force_login(factories.technician())

    job = give(client, form, SOUND, FAULTY).json()
    began = act(client, job, "look")
    looked = until_done(client, job)
    refused = act(client, job, "take-in", {"way": "all or nothing"}, **{"If-Match": "*"})
    tag = {"If-Match": looked["ETag"]}
    act(client, job, "take-in", {"way": "leave faulty rows out"}, **tag)
    taken = until_done(client, job).json()

    assert (began.status_code, looked.json()["state"]) == (202, "looked through")
    assert looked.json()["faults"] == [
        {"row": 3, "column": "Client", "message": "There is no customer 'Nobody'. Add it first, "
         "or correct it."}
    ]  # fmt: skip
    assert (refused.status_code, kind(refused)) == (409, "faulty-rows")
    assert (taken["state"], taken["rows_stored"], taken["rows_faulty"]) == ("taken in", 1, 1)
    assert taken["taken_in"] == [{"row": 2, "sample": "26-0001", "run": None}]
    assert Sample.objects.get().customer_reference == "A-1"


@pytest.mark.django_db
def test_taking_in_names_the_state_it_means(client, form):
    client.force_login(factories.technician())
    job = give(client, form, SOUND).json()

    unnamed = act(client, job, "take-in", {"way": "all or nothing"})
    moved = act(client, job, "take-in", {"way": "all or nothing"}, **{"If-Match": '"old"'})

    assert (unnamed.status_code, moved.status_code) == (428, 412)


@pytest.mark.django_db
def test_same_table_sent_twice_under_one_key_is_given_in_once(client, form):
    client.force_login(factories.technician())
    file = base64.b64encode(factories.orders_table(SOUND)).decode()
    body = {"form": form.pk, "file_name": "orders.csv", "file_base64": file}

    first, second = (
        send(client, "post", reverse("api:imports"), body, **{"Idempotency-Key": "table-1"})
        for _ in range(2)
    )

    assert first.json() == second.json()
    assert RunImport.objects.count() == 1


@pytest.mark.django_db
def test_form_is_kept_and_changed_through_the_interface(client):
    client.force_login(factories.technician())
    body = {"kind": "orders", "name": "Order office", "columns": COLUMNS}

    made = send(client, "post", reverse("api:sheet-forms"), body)
    one = reverse("api:sheet-form", args=[made.json()["id"]])
    changed = send(
        client, "put", one, {"name": "Orders", "unit": "kg", "columns": COLUMNS},
        **{"If-Match": made["ETag"]},
    )  # fmt: skip

    assert (made.status_code, changed.status_code) == (201, 200)
    assert (changed.json()["name"], changed.json()["version"]) == ("Orders", 2)
    assert SheetForm.objects.get().columns == COLUMNS


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "status", "field", "code"),
    [
        ({"file_base64": "no base64 at all!"}, 400, "file_base64", "no_base64"),
        ({"form": 10**6}, 422, "form", "unknown-form"),
        ({"file_base64": base64.b64encode(b"Order\n").decode()}, 422, "file", "not-a-table"),
    ],
)
def test_table_that_cannot_be_read_is_refused_at_its_field(
    client, form, change, status, field, code
):
    client.force_login(factories.technician())
    file = base64.b64encode(factories.orders_table(SOUND)).decode()
    body = {"form": form.pk, "file_name": "orders.csv", "file_base64": file, **change}

    answer = send(client, "post", reverse("api:imports"), body)

    (error,) = answer.json()["errors"]
    assert answer.status_code == status
    assert (error["pointer"], error["code"]) == (f"/{field}", code)


@pytest.mark.django_db
def test_token_needs_its_scope_and_the_ledger_names_it(client, form):
    owner = factories.technician()
    can = factories.make_token(owner, scopes=[Scope.WRITE_IMPORTS])
    cannot = factories.make_token(owner, scopes=[Scope.WRITE_SAMPLES])
    file = base64.b64encode(factories.orders_table(SOUND)).decode()
    body = {"form": form.pk, "file_name": "orders.csv", "file_base64": file}
    address = reverse("api:imports")

    refused = send(client, "post", address, body, Authorization=f"Bearer {cannot.text}")
    taken = send(client, "post", address, body, Authorization=f"Bearer {can.text}")

    assert (refused.status_code, kind(refused)) == (403, "scope-missing")
    assert taken.status_code == 201
    entry = LedgerEntry.objects.get(action="table given")
    assert entry.door == f"token {can.token.public_id}"
