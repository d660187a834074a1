"""Edits of the same records side by side: none is lost, each stale one is refused."""

import http.client

import pytest
from django.db import connection
from django.test import Client

from gradation.api.contract import things
from gradation.models import Customer
from gradation.services import parties
from tests import factories
from tests.load.racing_edits import faults_of, prepare, race

pytestmark = pytest.mark.django_db(transaction=True)


def test_f04_g05_no_edit_is_lost_where_many_change_the_same_records():
    customers, bearer = prepare(2)

    def ask(method, address, body, state):
        headers = {"Authorization": bearer, **({"If-Match": state} if state else {})}
        try:
            answer = Client().generic(
                method, address, body, content_type="application/json", headers=headers
            )
        finally:
            connection.close()  # this thread's own
        return answer.status_code, answer.content, answer.headers.get("ETag", "")

    told = race(ask, customers, edits=60, callers=4)

    assert list(faults_of(told, customers)) == []
    assert told.answers[http.client.OK] > 10
    assert told.answers[http.client.PRECONDITION_REQUIRED] > 1


@pytest.mark.parametrize("moment", ["before the sequence is read", "after it"])
def test_g05_a_change_while_the_state_is_being_looked_at_is_found(monkeypatch, moment):
    (customer,), bearer = prepare(1)
    address, real = f"/api/v1/customers/{customer}", things.sequence_of
    headers = {"Authorization": bearer}
    read = Client().get(address, headers=headers)
    sent = {**read.json(), "contact_name": "1"}
    del sent["id"]

    def while_another_changes_it(chain):
        early = real(chain)
        row = Customer.objects.get(pk=customer)
        parties.change_customer(actor=factories.technician(), customer=row, contact_name="1")
        return real(chain) if moment == "before the sequence is read" else early

    monkeypatch.setattr(things, "sequence_of", while_another_changes_it)
    late = Client().put(
        address, sent, content_type="application/json",
        headers={**headers, "If-Match": read["ETag"]},
    )  # fmt: skip

    assert late.status_code == http.client.PRECONDITION_FAILED
