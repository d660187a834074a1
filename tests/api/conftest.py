"""Callers of the interface, as they should be."""

from uuid import uuid4

import pytest
from django.test import Client


class Caller(Client):
    """A client that gives each act a key of its own, as every caller has to."""

    def post(self, path, *args, **kwargs):
        """Send it under a key, unless the test says which."""
        headers = {"Idempotency-Key": str(uuid4()), **(kwargs.pop("headers", None) or {})}
        sent = {name: value for name, value in headers.items() if value is not None}
        return super().post(path, *args, headers=sent, **kwargs)


@pytest.fixture
def client():
    """Give a caller."""
    return Caller()
