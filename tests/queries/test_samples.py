"""Samples: who sees which, and what a list costs."""

import pytest

from gradation.errors import NotFound
from gradation.models import Sample
from gradation.policy import Role
from gradation.queries.samples import SampleFilter, find_sample, sample_page, samples_visible_to
from tests import factories
from tests.counting import count_queries

pytestmark = pytest.mark.django_db


def many_samples(count, **values):
    """Copy one logged sample `count` times, straight into the table: only the number differs."""
    first = factories.make_sample(**values)
    Sample.objects.bulk_create(
        [_copy(first, f"{first.number}-{n}") for n in range(1, count)], batch_size=500
    )
    return first


def _copy(sample, number):
    values = {field.attname: getattr(sample, field.attname) for field in Sample._meta.fields}
    return Sample(**{**values, "id": None, "number": number})


def read_page(actor, **wanted):
    page = sample_page(actor, SampleFilter(**wanted))
    for sample in page.rows:
        assert sample.customer.name
        assert sample.material.name
        assert sample.procedure_version.procedure.code
    return page


def test_page_of_a_thousand_samples_costs_what_a_page_of_ten_costs():
    actor = factories.reviewer()
    many_samples(10)
    actor.role_names  # noqa: B018 - read once per request, before the list

    ten = count_queries(lambda: read_page(actor))
    many_samples(1000)
    thousand = count_queries(lambda: read_page(actor))

    assert ten == thousand == 1


def test_pages_follow_one_another_without_gap_or_overlap():
    actor = factories.reviewer()
    many_samples(120)

    numbers, before = [], None
    while True:
        page = read_page(actor, before=before)
        numbers += [sample.pk for sample in page.rows]
        before = page.older_than
        if before is None:
            break

    assert len(numbers) == len(set(numbers)) == 120
    assert numbers == sorted(numbers, reverse=True)


def test_newer_leads_back_to_the_page_before():
    actor = factories.reviewer()
    many_samples(120)
    first = read_page(actor)
    second = read_page(actor, before=first.older_than)

    back = read_page(actor, after=second.newer_than)

    assert [row.pk for row in back.rows] == [row.pk for row in first.rows]


def test_customer_sees_own_samples_and_absent_and_not_yours_answer_alike():
    mine, other = factories.make_customer(), factories.make_customer()
    actor = factories.make_person(Role.CUSTOMER, customer=mine)
    own = factories.make_sample(customer=mine)
    foreign = factories.make_sample(customer=other)

    assert list(samples_visible_to(actor)) == [own]
    with pytest.raises(NotFound) as not_yours:
        find_sample(actor, foreign.number)
    with pytest.raises(NotFound) as absent:
        find_sample(actor, "99-9999")
    assert not_yours.value.message.replace(foreign.number, "") == absent.value.message.replace(
        "99-9999", ""
    )


def test_customer_without_a_customer_sees_nothing():
    actor = factories.make_person(Role.CUSTOMER)
    factories.make_sample()

    assert not samples_visible_to(actor).exists()


def test_search_finds_every_word_whatever_the_case():
    actor = factories.reviewer()
    sample = factories.make_sample(lot="Heap 7 North")
    factories.make_sample(lot="Heap 8")

    page = sample_page(actor, SampleFilter(search="NORTH heap"))

    assert page.rows == [sample]


def test_search_text_with_wildcards_finds_only_itself():
    actor = factories.reviewer()
    factories.make_sample(lot="Heap 8")

    assert sample_page(actor, SampleFilter(search="%")).rows == []
