"""Every address of the site against every role, in one table.

A page not named here fails `test_every_address_stands_in_the_table`.
"""

import pytest
from django.urls import get_resolver, reverse

from gradation.policy import Role
from tests import factories

STAFF = {role for role in Role if role is not Role.CUSTOMER}
EVERYBODY = set(Role)
TECHNICIAN, REVIEWER, SIGNATORY = {Role.TECHNICIAN}, {Role.REVIEWER}, {Role.SIGNATORY}
KEEPER, MANAGER = {Role.EQUIPMENT_KEEPER}, {Role.QUALITY_MANAGER}
PARTIES = TECHNICIAN | MANAGER
DRAFTERS = REVIEWER | SIGNATORY

#: Address, what it is asked with, who may come in; the others are refused.
GET = [
    ("web:home", (), EVERYBODY),
    ("web:find", (), EVERYBODY),
    ("intake:sample-list", (), EVERYBODY),
    ("intake:sample-log", (), PARTIES),
    ("intake:sample-show", ("number",), EVERYBODY),
    ("intake:sample-change", ("number",), PARTIES),
    ("intake:sample-history", ("number",), EVERYBODY),
    ("intake:portion-prepare", ("number",), TECHNICIAN),
    ("intake:sample-cancel", ("number",), PARTIES),
    ("intake:sample-close", ("number",), PARTIES),
    ("intake:sample-dispose", ("number",), PARTIES),
    ("intake:customer-list", (), STAFF),
    ("intake:customer-add", (), PARTIES),
    ("intake:source-add", (), PARTIES),
    ("intake:material-add", (), PARTIES),
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
    ("equipment:sieve-list", (), STAFF),
    ("equipment:sieve-register", (), KEEPER),
    ("equipment:sieve-show", ("serial",), STAFF),
    ("equipment:check-record", ("serial",), KEEPER),
    ("equipment:sieve-take-out", ("serial",), KEEPER),
    ("equipment:sieve-put-back", ("serial",), KEEPER),
    ("equipment:sieve-withdraw", ("serial",), KEEPER),
    ("equipment:nest-list", (), STAFF),
    ("equipment:nest-build", (), KEEPER),
    ("equipment:bench-add", (), KEEPER),
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
OPEN_TO_ALL = {"web:sign-in", "web:sign-out"}
REFUSED = 403


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
