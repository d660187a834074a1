"""A list page costs the same number of queries however long the list is."""

import pytest
from django.urls import reverse

from gradation.models import Certificate, Check, LedgerEntry, ReferenceLot, Sample, Sieve
from gradation.policy import Role
from gradation.services import checks, clock, impact, instruments
from tests import factories
from tests.counting import count_queries

FEW, MANY = 10, 1_000


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
    return count_queries(lambda: answered(client, reverse(name)))


def answered(client, address):
    assert client.get(address).status_code == 200


def up_to(count, model, **varied):
    """Repeat the first row of a table until there are `count` of them."""
    there = model.objects.count()
    shifted = {name: lambda n, made=made: made(there + n) for name, made in varied.items()}
    copies(model.objects.order_by("pk").first(), count - there, **shifted)


def samples(count):
    up_to(count, Sample, number=lambda n: f"X-{n:04d}")


def sieves(count):
    up_to(count, Sieve, serial=lambda n: f"X-{n:04d}")


def entries(count):
    up_to(count, LedgerEntry, chain=lambda n: f"x/{n}", digest=lambda n: f"{n:064d}")


def certificates(count):
    up_to(
        count,
        Certificate,
        number=lambda n: f"X-{n:04d}",
        verification_code=lambda n: f"code {n}",
        pdf=lambda n: b"%PDF",
    )


def make_assessment():
    return impact.open_assessment(
        actor=factories.keeper(), equipment=factories.make_sieve(), reason="Found bent."
    )


def make_lot():
    rows = [
        {"aperture_um": "300", "passing_pct": "88", "u_pct": "0.5"},
        {"aperture_um": "212", "passing_pct": "30", "u_pct": "0.5"},
    ]
    lot = f"B-{ReferenceLot.objects.count()}"
    return instruments.register_reference_lot(
        actor=factories.keeper(),
        lot=ReferenceLot(name="Beads", lot=lot, certificate="1", certified=rows),
    )


@pytest.mark.parametrize(
    ("name", "rows", "few"),
    [
        ("intake:sample-list", samples, FEW),
        ("bench:run-queue", samples, FEW),
        ("certificates:certificate-list", certificates, FEW),
        ("equipment:sieve-list", sieves, 3 * FEW),  # the sieves of three nests are there already
        ("equipment:due-list", sieves, 3 * FEW),
        ("equipment:due-calendar", sieves, 3 * FEW),
        ("records:entry-list", entries, 50 * FEW),  # and what the ledger says of it all
    ],
)
def test_f13_g12_a_long_list_costs_no_more_queries_than_a_short_one(reader, name, rows, few):
    factories.make_run(sample=factories.make_sample())
    factories.make_certificate()
    factories.make_sample()
    rows(few)
    queries_of(reader, name)
    short = queries_of(reader, name)

    rows(MANY)

    assert queries_of(reader, name) == short


def make_measured_sieve():
    sieve = factories.make_sieve()
    evidence = checks.ApertureEvidence((600, 601), (600, 602))
    checks.record_check(
        actor=factories.keeper(), equipment=sieve, evidence=evidence, performed_on=clock.today()
    )


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("review:run-queue", factories.make_weighed_run),
        ("certificates:certificate-list", factories.make_accepted_run),
        ("certificates:certificate-list", factories.make_certificate),
        ("bench:run-queue", factories.make_run),
        ("bench:drying-list", factories.make_drying),
        ("api:portions", factories.make_portion),
        ("equipment:nest-list", lambda: factories.make_nest(factories.make_procedure())),
        ("equipment:instrument-list", lambda: factories.make_instrument("balance")),
        ("equipment:due-list", lambda: factories.make_instrument("shaker")),
        ("equipment:wear-list", make_measured_sieve),
        ("equipment:suspect-list", factories.make_accepted_run),
        ("equipment:impact-list", make_assessment),
        ("equipment:lot-list", make_lot),
        ("api:sieves", factories.make_sieve),
        ("api:instruments", lambda: factories.make_instrument("balance")),
        ("api:nests", lambda: factories.make_nest(factories.make_procedure())),
        ("api:due", factories.make_sieve),
        ("procedures:procedure-list", factories.make_procedure),
        ("api:procedures", factories.make_procedure),
        ("specifications:specification-list", factories.make_specification),
        ("settings:laboratory-show", factories.technician),
        ("settings:check-list", factories.make_weighed_run),
        ("settings:competence-list", lambda: factories.make_competence(factories.technician())),
        ("intake:customer-list", factories.make_material),
    ],
)
def test_f13_more_rows_cost_no_more_queries(reader, name, make):
    make()
    queries_of(reader, name)
    few = queries_of(reader, name)

    for _ in range(3):
        make()

    assert queries_of(reader, name) == few


def test_a_card_costs_no_more_queries_with_more_checks(reader):
    sieve = factories.make_sieve()
    evidence = checks.VisualEvidence({"plate legible": True})

    def look():
        checks.record_check(
            actor=factories.keeper(),
            equipment=sieve,
            evidence=evidence,
            performed_on=clock.today(),
        )

    def queries():
        return count_queries(lambda: answered(reader, address))

    address = reverse("equipment:sieve-show", args=[sieve.serial])
    look()
    queries()
    few = queries()

    for _ in range(4):
        look()

    assert Check.objects.count() == 5
    assert queries() == few
