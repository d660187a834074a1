"""A list page costs the same number of queries however long the list is."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gradation.models import LedgerEntry, Sample, Sieve
from gradation.policy import Role
from tests import factories

MANY = 1_000


def copies(row, count, **varied):
    """Repeat a row as many new ones; `varied` names what must differ and how it is made."""
    model = type(row)
    values = {field.attname: getattr(row, field.attname) for field in model._meta.concrete_fields}
    del values["id"]
    values.pop("equipment_ptr_id", None)
    new = [model(**values | {name: made(n) for name, made in varied.items()}) for n in range(count)]
    if model._meta.parents:  # a row of two tables cannot be written in bulk
        for each in new:
            each.pk = None
            each.save(force_insert=True)
    else:
        model.objects.bulk_create(new)


@pytest.fixture
def reader(client, db):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))
    return client


def queries_of(client, name):
    with CaptureQueriesContext(connection) as counted:
        answer = client.get(reverse(name))
    assert answer.status_code == 200
    return len(counted)


def more_samples():
    copies(Sample.objects.first(), MANY, number=lambda n: f"X-{n:04d}")


def more_sieves():
    copies(Sieve.objects.first(), MANY, serial=lambda n: f"X-{n:04d}")


def more_entries():
    first = LedgerEntry.objects.first()
    copies(first, MANY, chain=lambda n: f"x/{n}", digest=lambda n: f"{n:064d}")


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("intake:sample-list", more_samples),
        ("bench:run-queue", more_samples),
        ("equipment:sieve-list", more_sieves),
        ("records:entry-list", more_entries),
    ],
)
def test_a_long_list_costs_no_more_queries_than_a_short_one(reader, name, more):
    for _ in range(2):
        factories.make_run(sample=factories.make_sample())
        factories.make_sample()
    queries_of(reader, name)
    short = queries_of(reader, name)

    more()

    assert queries_of(reader, name) == short


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("review:run-queue", factories.make_weighed_run),
        ("certificates:certificate-list", factories.make_accepted_run),
        ("certificates:certificate-list", factories.make_certificate),
        ("bench:run-queue", factories.make_run),
        ("equipment:nest-list", lambda: factories.make_nest(factories.make_procedure())),
        ("procedures:procedure-list", factories.make_procedure),
        ("specifications:specification-list", factories.make_specification),
        ("settings:laboratory-show", factories.technician),
        ("intake:customer-list", factories.make_material),
    ],
)
def test_more_rows_cost_no_more_queries(reader, name, make):
    make()
    queries_of(reader, name)
    few = queries_of(reader, name)

    for _ in range(3):
        make()

    assert queries_of(reader, name) == few
