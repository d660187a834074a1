"""The ledger: chained from the first day, in the transaction of the change it records."""

import pytest
from django.db import transaction

from gradation.models import ChainHead, LedgerEntry, Sample
from gradation.services import ledger, people
from tests import factories


def entries_of(sample):
    return list(LedgerEntry.objects.filter(chain=f"sample/{sample.number}").order_by("sequence"))


def test_each_entry_carries_the_digest_of_the_one_before(technician):
    sample = factories.make_sample(technician)
    factories.make_portion(technician, sample)

    first, second = entries_of(sample)

    assert first.previous_digest == ""
    assert second.previous_digest == first.digest
    assert ledger.digest_of(first) == first.digest
    assert ledger.digest_of(second) == second.digest


def test_stored_entry_read_back_gives_the_same_digest(technician):
    run = factories.make_weighed_run(technician)

    for entry in entries_of(run.portion.sample):
        assert ledger.digest_of(entry) == entry.digest, entry


def test_changed_entry_no_longer_gives_its_digest(technician):
    sample = factories.make_sample(technician)
    entry = entries_of(sample)[0]

    entry.after["lot"] = "another lot"

    assert ledger.digest_of(entry) != entry.digest


def test_chain_head_is_the_newest_entry(technician):
    sample = factories.make_sample(technician)
    factories.make_portion(technician, sample)

    head = ChainHead.objects.get(chain=f"sample/{sample.number}")

    assert (head.sequence, head.digest) == (2, entries_of(sample)[-1].digest)


@pytest.mark.django_db(transaction=True)
def test_entry_is_refused_outside_a_transaction():
    sample = factories.make_sample()

    with pytest.raises(RuntimeError, match="belongs in the transaction"):
        ledger.write(actor=people.system_account(), action="looked at", subject=sample)


def test_failed_use_case_leaves_neither_row_nor_entry(technician):
    sample = factories.make_sample(technician)
    before = LedgerEntry.objects.count()

    def interrupted():
        with transaction.atomic():
            factories.make_portion(technician, sample)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()

    assert LedgerEntry.objects.count() == before
    assert sample.portions.count() == 0


def test_entry_keeps_only_what_changed_with_names_beside_keys(technician):
    sample = factories.make_sample(technician)
    factories.make_run(technician, sample)

    moved = LedgerEntry.objects.get(chain=f"sample/{sample.number}", action="sample under test")

    assert moved.before == {"state": "logged", "version": 1}
    assert moved.after == {"state": "under test", "version": 2}
    assert entries_of(sample)[0].after["customer"] == sample.customer.name


def test_benches_on_different_samples_use_different_chains(technician):
    one, other = factories.make_sample(technician), factories.make_sample(technician)

    assert ledger.chain_of(one) != ledger.chain_of(other)
    assert Sample.objects.count() == 2
