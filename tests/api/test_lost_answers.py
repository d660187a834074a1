"""Repeats and lost answers, side by side: every act has its effect once."""

import pytest
from django.db import connection
from django.test import Client

from gradation.models import Scope
from tests import factories
from tests.load.lost_answers import faults_of, repeat_and_lose

pytestmark = pytest.mark.django_db(transaction=True)


def test_f25_g6_no_effect_is_doubled_and_none_is_lost():
    factories.make_laboratory()
    delivery = {
        "customer": factories.make_customer().name,
        "material": factories.make_material().name,
        "condition": "Sealed bag.",
    }
    token = factories.make_token(factories.technician(), scopes=[Scope.WRITE_SAMPLES])

    def send(key, body, is_lost):
        headers = {"Authorization": f"Bearer {token.text}", "Idempotency-Key": key}
        try:
            answer = Client().post(
                "/api/v1/samples", body, content_type="application/json", headers=headers
            )
        finally:
            connection.close()  # this thread's own
        return None if is_lost else (answer.status_code, answer.content)

    lots = [f"L{number}" for number in range(20)]

    told = repeat_and_lose(send, delivery, lots, callers=4)

    assert told.lost > 5
    assert faults_of(told, lots) == []
