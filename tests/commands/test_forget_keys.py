"""Keys of requests are forgotten after 30 days, by hand or by the worker."""

from datetime import timedelta

import pytest
from django.core.management import call_command

from gradation.models import InterfaceKey
from gradation.services import clock

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("command", [["forget_keys"], ["deliver", "--once"]])
def test_keys_older_than_thirty_days_are_forgotten(command):
    for key, days in (("old", 30.1), ("young", 29.9)):
        InterfaceKey.objects.create(
            caller="token 1",
            key=key,
            route="POST /api/v1/samples",
            body_digest="0" * 64,
            made_at=clock.now() - timedelta(days=days),
        )

    call_command(*command)

    assert list(InterfaceKey.objects.values_list("key", flat=True)) == ["young"]
