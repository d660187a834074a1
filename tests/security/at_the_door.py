"""What the tests of the doors share: a person at the sign-in page, codes of a generator."""

from __future__ import annotations

import base64

from django.urls import reverse
from django_otp.oath import TOTP

from gradation.models import SecondFactor
from gradation.services import clock, second_factor
from gradation.services.factor_codes import secret_of
from tests import factories

RIGHT = factories.PASSWORD
WRONG = "not this one at all"


def knock(client, username, password=WRONG, **more):
    """Try to sign in."""
    values = {"username": username, "password": password, "next": more.pop("goes_to", "")}
    return client.post(reverse("web:sign-in"), values, **more)


def is_in(client):
    """Say whether the browser is signed in."""
    return client.get(reverse("account:account-show")).status_code == 200


def code_of(person, *, steps=0):
    """Give what the person's generator shows, some steps from now."""
    factor = SecondFactor.objects.get(person=person)
    clocked = TOTP(base64.b32decode(secret_of(factor)))
    clocked.time = clock.now().timestamp() + 30 * steps
    return f"{clocked.token():06d}"


def with_factor(person):
    """Give a person a confirmed second factor; its first code was of the step before this one."""
    second_factor.begin_factor(actor=person)
    return second_factor.confirm_factor(actor=person, code=code_of(person, steps=-1))
