"""Every address of the site against every role, in one table.

A page not named here fails `test_every_address_stands_in_the_table`.
"""

from decimal import Decimal

import pytest
from django.urls import get_resolver, reverse

from gradation.models import ReferenceLot
from gradation.policy import Role
from gradation.services import attachments, checks, clock, instruments
from tests import factories

STAFF = {role for role in Role if role is not Role.CUSTOMER}
EVERYBODY = set(Role)
TECHNICIAN, REVIEWER, SIGNATORY = {Role.TECHNICIAN}, {Role.REVIEWER}, {Role.SIGNATORY}
KEEPER, MANAGER = {Role.EQUIPMENT_KEEPER}, {Role.QUALITY_MANAGER}
PARTIES = TECHNICIAN | MANAGER
DRAFTERS = REVIEWER | SIGNATORY
LOOKERS = KEEPER | MANAGER

#: Address, what it is asked with, who may come in; the others are refused.
GET = [
    ("web:home", (), EVERYBODY),
    ("web:find", (), EVERYBODY),
    ("intake:sample-list", (), EVERYBODY),
    ("intake:sample-log", (), PARTIES),
    ("intake:sample-show", ("number",), EVERYBODY),
    ("intake:sample-change", ("number",), PARTIES),
    ("intake:sample-history", ("number",), EVERYBODY),
    ("intake:label-print", ("number",), STAFF),
    ("intake:portion-prepare", ("number",), TECHNICIAN),
    ("intake:sample-cancel", ("number",), PARTIES),
    ("intake:sample-close", ("number",), PARTIES),
    ("intake:sample-dispose", ("number",), PARTIES),
    ("intake:customer-list", (), STAFF),
    ("intake:customer-add", (), PARTIES),
    ("intake:source-add", (), PARTIES),
    ("intake:material-add", (), PARTIES),
    ("intake:customer-change", ("party",), PARTIES),
    ("intake:source-change", ("source",), PARTIES),
    ("intake:material-change", ("material",), PARTIES),
    ("bench:run-queue", (), STAFF),
    ("bench:bench-pick", (), STAFF),
    ("bench:run-open", ("label",), TECHNICIAN),
    ("bench:run-weigh", ("run",), EVERYBODY),
    ("bench:run-figure", ("run",), EVERYBODY),
    ("bench:reading-correct", ("run", "slot", "position"), TECHNICIAN),
    ("review:run-queue", (), STAFF),
    ("review:run-review", ("run",), REVIEWER),
    ("certificates:certificate-list", (), EVERYBODY),
    ("certificates:certificate-draft", ("number",), DRAFTERS),
    ("certificates:certificate-show", ("certificate",), EVERYBODY),
    ("certificates:certificate-preview", ("certificate",), EVERYBODY),
    ("certificates:certificate-pdf", ("certificate",), EVERYBODY),
    ("certificates:certificate-issue", ("certificate",), SIGNATORY),
    ("certificates:certificate-amend", ("certificate",), DRAFTERS),
    ("certificates:certificate-withdraw", ("certificate",), SIGNATORY),
    ("certificates:draft-discard", ("certificate",), DRAFTERS),
    ("equipment:due-list", (), STAFF),
    ("equipment:due-calendar", (), STAFF),
    ("equipment:label-sheet", (), STAFF),
    ("equipment:sieve-list", (), STAFF),
    ("equipment:sieve-register", (), KEEPER),
    ("equipment:sieve-import", (), KEEPER),
    ("equipment:import-template", (), KEEPER),
    ("equipment:wear-list", (), STAFF),
    ("equipment:suspect-list", (), STAFF),
    ("equipment:sieve-show", ("serial",), STAFF),
    ("equipment:instrument-list", (), STAFF),
    ("equipment:instrument-register", ("kind",), KEEPER),
    ("equipment:instrument-show", ("instrument",), STAFF),
    ("equipment:lot-list", (), STAFF),
    ("equipment:lot-register", (), KEEPER),
    ("equipment:lot-retire", ("lot",), KEEPER),
    ("equipment:nest-list", (), STAFF),
    ("equipment:nest-build", (), KEEPER),
    ("equipment:nest-retire", ("nest",), KEEPER),
    ("equipment:bench-add", (), KEEPER),
    ("equipment:bench-retire", ("bench",), KEEPER),
    ("equipment:item-show", ("serial",), STAFF),
    ("equipment:item-change", ("serial",), KEEPER),
    ("equipment:rule-set", ("serial",), KEEPER),
    ("equipment:item-take-out", ("serial",), KEEPER),
    ("equipment:item-put-back", ("serial",), KEEPER),
    ("equipment:item-withdraw", ("serial",), KEEPER),
    ("equipment:tare-weigh", ("serial",), KEEPER),
    ("equipment:item-label", ("serial",), STAFF),
    ("equipment:file-add", ("serial",), KEEPER),
    ("equipment:file-show", ("instrument", "file"), STAFF),
    ("equipment:check-begin", ("serial",), KEEPER),
    ("equipment:check-record", ("serial", "check_kind"), KEEPER),
    ("equipment:check-show", ("instrument", "check"), STAFF),
    ("equipment:impact-list", (), STAFF),
    ("equipment:impact-open", (), LOOKERS),
    ("equipment:impact-show", ("impact",), STAFF),
    ("equipment:impact-decide", ("impact", "certificate"), MANAGER),
    ("equipment:impact-close", ("impact",), MANAGER),
    ("equipment:impact-pdf", ("impact",), STAFF),
    ("equipment:impact-csv", ("impact", "rows"), STAFF),
    ("procedures:procedure-list", (), STAFF),
    ("procedures:procedure-add", (), MANAGER),
    ("procedures:version-draft", ("procedure",), MANAGER),
    ("procedures:version-show", ("procedure_version",), STAFF),
    ("specifications:specification-list", (), STAFF),
    ("specifications:specification-add", (), MANAGER),
    ("specifications:version-draft", ("specification",), MANAGER),
    ("specifications:version-show", ("specification_version",), STAFF),
    ("specifications:version-end", ("specification_version",), MANAGER),
    ("records:entry-list", (), STAFF),
    ("settings:laboratory-show", (), STAFF),
    ("settings:laboratory-change", (), MANAGER),
    ("settings:person-add", (), MANAGER),
    ("settings:roles-set", ("person",), MANAGER),
    ("settings:person-deactivate", ("person",), MANAGER),
]
POST = [
    ("bench:reading-record", ("run",), TECHNICIAN),
    ("bench:run-submit", ("run",), TECHNICIAN),
    ("procedures:version-release", ("procedure_version",), MANAGER),
    ("specifications:version-release", ("specification_version",), MANAGER),
]
#: A calendar feed is let in by its signed address alone; tests/web/test_equipment_due.py has it.
OPEN_TO_ALL = {"web:sign-in", "web:sign-out", "equipment:due-feed"}
REFUSED = 403
CERTIFIED = [
    {"aperture_um": "300", "passing_pct": "88", "u_pct": "0.5"},
    {"aperture_um": "212", "passing_pct": "30", "u_pct": "0.5"},
]


@pytest.fixture
def things(db):
    """Make one of everything, on one sample of one customer."""
    specification = factories.make_specification()
    material = factories.make_material(specification=specification)
    sample = factories.make_sample(material=material)
    certificate = factories.make_certificate(sample)
    portion = factories.make_portion(sample=sample)
    run = sample.portions.first().runs.get()
    return {
        "customer": sample.customer,
        "party": sample.customer_id,
        "material": material.pk,
        "source": factories.make_source(sample.customer).pk,
        "number": sample.number,
        "label": portion.label,
        "run": run.pk,
        "slot": "dry mass",
        "position": 0,
        "certificate": certificate.pk,
        "serial": run.places.first().sieve.serial,
        "procedure": sample.procedure_version.procedure_id,
        "procedure_version": sample.procedure_version_id,
        "specification": specification.specification_id,
        "specification_version": specification.pk,
        "person": run.technician_id,
        **equipment(),
    }


def equipment():
    """Make a balance that failed its check, with a file, and what else the equipment pages show."""
    balance = factories.make_instrument("balance")
    keeper = factories.keeper()
    check = checks.record_check(
        actor=keeper,
        equipment=balance,
        evidence=checks.WeightsEvidence([(500, 501, Decimal("0.1"))]),
        performed_on=clock.today(),
    )
    kept = attachments.attach_file(
        actor=keeper, equipment=balance, name="report.txt", content=b"Weights of class F1"
    )
    lot = ReferenceLot(name="Beads", lot="7", certificate="7/1", certified=CERTIFIED)
    return {
        "kind": "shaker",
        "check_kind": "visual",
        "instrument": balance.serial,
        "check": check.pk,
        "file": kept.pk,
        "lot": instruments.register_reference_lot(actor=keeper, lot=lot).pk,
        "bench": factories.make_bench().pk,
        "nest": factories.make_nest(factories.make_procedure()).pk,
        "impact": check.impacts.get().pk,
        "rows": "runs",
    }


def person_with(role, things):
    customer = things["customer"] if role is Role.CUSTOMER else None
    return factories.make_person(role, customer=customer)


def asked(client, method, name, keys, things):
    return getattr(client, method)(reverse(name, args=[things[key] for key in keys]))


def test_each_page_lets_in_its_roles_and_refuses_the_others(client, things):
    people = {role: person_with(role, things) for role in Role}
    wrong = []

    for role, person in people.items():
        client.force_login(person)
        for name, keys, allowed in GET:
            status = asked(client, "get", name, keys, things).status_code
            if (status in {200, 302}) != (role in allowed) or status not in {200, 302, REFUSED}:
                wrong.append((role.value, name, status))

    assert wrong == []


def test_each_act_refuses_those_without_its_role(client, things):
    people = {role: person_with(role, things) for role in Role}
    wrong = []

    for role, person in people.items():
        client.force_login(person)
        for name, keys, allowed in POST:
            status = asked(client, "post", name, keys, things).status_code
            if (status == REFUSED) != (role not in allowed):
                wrong.append((role.value, name, status))

    assert wrong == []


def test_nobody_comes_in_without_signing_in(client, things):
    wrong = []

    for method, rows in (("get", GET), ("post", POST)):
        for name, keys, _ in rows:
            answer = asked(client, method, name, keys, things)
            if answer.status_code != 302 or "/sign-in/" not in answer["Location"]:
                wrong.append((name, answer.status_code))

    assert wrong == []


def test_another_customers_things_are_not_found(client, things):
    stranger = factories.make_person(Role.CUSTOMER, customer=factories.make_customer())
    client.force_login(stranger)

    for name, keys, allowed in GET:
        if allowed == EVERYBODY and keys:
            assert asked(client, "get", name, keys, things).status_code == 404, name


def test_every_address_stands_in_the_table():
    named = {
        f"{space}:{name}"
        for space, (_, resolver) in get_resolver("gradation.web.urls").namespace_dict.items()
        for name in resolver.reverse_dict
        if isinstance(name, str)
    }

    assert named == {name for name, _, _ in [*GET, *POST]} | OPEN_TO_ALL
