"""What ovens and balances were used for, on their cards: dryings beside runs."""

import html
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.services import dryings
from tests import factories

pytestmark = pytest.mark.django_db

UNUSED = "It has not been used in a run yet."


def card_of(client, item):
    """Give the words on the card of an item, as its keeper sees it."""
    factories.make_laboratory()
    client.force_login(factories.keeper())
    answer = client.get(reverse("equipment:item-show", args=[item.serial]), follow=True)
    return html.unescape(answer.content.decode())


def test_card_of_an_oven_names_the_dryings_that_used_it(client):
    drying = factories.make_drying()

    page = card_of(client, drying.oven)

    assert UNUSED not in page
    assert reverse("bench:drying-show", args=[drying.pk]) in page
    assert "Used</dt><dd>once, " in page


def test_card_of_a_balance_names_the_dryings_weighed_on_it(client):
    drying, balance = factories.make_drying(), factories.make_instrument("balance")
    mass = dryings.MassReading(1, "512.3", uuid4(), source="balance", balance=balance)
    dryings.record_drying_mass(actor=drying.begun_by, drying=drying, reading=mass)

    page = card_of(client, balance)

    assert UNUSED not in page
    assert reverse("bench:drying-show", args=[drying.pk]) in page


def test_card_of_an_oven_that_dried_nothing_says_that_it_was_not_used(client):
    page = card_of(client, factories.make_instrument("oven"))

    assert UNUSED in page
    assert "Latest dryings" not in page
