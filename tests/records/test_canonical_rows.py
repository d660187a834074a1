"""What the database puts together of an entry is the very text that was hashed.

Where it differed an entry would be written anew from its row: right, and many times slower.
"""

from hashlib import sha256

import pytest

from gradation.models import LedgerEntry
from gradation.queries.verification.canonical_rows import canonical_rows
from gradation.services import parties
from tests import factories

pytestmark = pytest.mark.django_db


def test_every_new_entry_gives_its_digest_as_the_database_writes_it():
    factories.make_certificate()
    customer = factories.make_customer(name='Tarnholt "Nord" \\ 0/4 µm, 😀')
    parties.change_customer(
        actor=factories.technician(), customer=customer, address="Kiln Lane 4\nNorrhaven {}"
    )

    rows = list(canonical_rows(0, None))

    assert len(rows) == LedgerEntry.objects.count() > 30
    differing = [text for *_, digest, text in rows if sha256(text.encode()).hexdigest() != digest]
    assert differing == []


def test_one_chain_is_given_alone():
    customer = factories.make_customer()
    factories.make_customer()

    rows = list(canonical_rows(0, f"customer/{customer.pk}"))

    assert [row[1] for row in rows] == [f"customer/{customer.pk}"]
