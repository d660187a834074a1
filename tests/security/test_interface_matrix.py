"""Every role, and nobody, at every address of the interface, about own and foreign things.

The cells come from the addresses themselves. An address whose values stand in no table here fails.
"""

import inspect
import re

import pytest
from django.test import Client

from gradation.api import urls
from gradation.models import Certificate, Scope
from gradation.policy import Action, Role, may
from tests import factories
from tests.web.things import things as things

WRITES = ("post", "put", "patch", "delete")
#: The contract, its reading and its words: for everybody who is signed in, or for anybody.
ABOUT_THE_INTERFACE = {"openapi", "docs", "docs-area", "problems", "nothing"}
#: What stands in an address: by the first word of the address where a key alone says too little.
BY_FIRST_WORD = {
    ("holds", "pk"): "hold",
    ("customers", "pk"): "party",
    ("sources", "pk"): "source",
    ("materials", "pk"): "material",
    ("dryings", "pk"): "drying",
    ("runs", "pk"): "run",
    ("runs/paper", "pk"): "paper_run",
    ("runs/paper", "scan"): "scan",
    ("certificate-drafts", "pk"): "certificate",
    ("nests", "pk"): "nest",
    ("reference-lots", "pk"): "lot",
    ("control-charts", "pk"): "chart",
    ("chart-points", "pk"): "chart_note",
    ("waiting-readings", "pk"): "waiting",
    ("procedure-versions", "pk"): "procedure_version",
    ("specification-versions", "pk"): "specification_version",
    ("impact-assessments", "pk"): "impact",
    ("competences", "pk"): "competence",
    ("report-forms", "pk"): "report_form",
    ("sheet-forms", "pk"): "sheet_form",
    ("imports", "pk"): "run_import",
    ("webhooks", "pk"): "webhook",
    ("webhooks", "delivery"): "delivery",
    ("equipment", "pk"): "file",
    ("samples", "number"): "number",
    ("portions", "label"): "label",
    ("certificates", "number"): "certificate_number",
    ("blends", "number"): "blend",
    ("studies", "number"): "study",
    ("sieves", "serial"): "serial",
    ("instruments", "serial"): "instrument",
    ("equipment", "serial"): "instrument",
    ("balances", "serial"): "instrument",
    ("benches", "bench"): "bench_name",
    ("check-policies", "code"): "check_code",
    ("exports", "table"): "rows",
    ("exports", "form"): "form",
}
#: Things that belong to a customer; of another customer they are not there.
OF_A_CUSTOMER = {"samples", "portions", "dryings", "runs", "certificates", "certificate-drafts"}
#: What looking needs beyond reading, asked where the table or the list is known.
NEEDS = {"exports": Action.EXPORT_RECORDS, "people": Action.MANAGE_PEOPLE}
#: Addresses that answer a question; here none is asked.
ASKED_OF = {"trends", "comparisons", "waiting-readings"}
OWN, OTHERS = "own", "another customer's"


def routes():
    """Give each address with its view and the keys in it."""
    for route in urls.urlpatterns:
        if route.name not in ABOUT_THE_INTERFACE:
            text = str(route.pattern)
            yield route, text, re.findall(r"<\w+:(\w+)>", text)


def word_of(text):
    """Give the word by which the keys of an address are known."""
    first = text.split("/")[0]
    return f"{first}/paper" if "/paper" in text else first


def address_of(text, things):
    first = word_of(text)
    told = re.sub(r"<\w+:(\w+)>", lambda found: str(things[BY_FIRST_WORD[first, found[1]]]), text)
    return f"/api/v1/{told}"


@pytest.fixture
def named(things):
    """Add the names under which the interface knows things that pages know by key."""
    certificate = Certificate.objects.get(pk=things["certificate"])
    bench = certificate.runs.first().bench
    return things | {"certificate_number": certificate.number, "bench_name": bench.name}


def methods_of(view):
    return [method for method in ("get", *WRITES) if hasattr(view, method)]


def expected(person, view, text, whose):
    """Say which answers to looking are right; leaving one out is a fault."""
    first = text.split("/")[0]
    usual = Action.READ_OWN_SAMPLES if view.is_open else Action.READ_RECORDS
    needed = (view.act.get("GET", usual), NEEDS.get(first, usual))
    if not all(may(person, each) for each in needed):
        return {403}
    is_stranger = person.customer_id is not None and whose == OTHERS
    if is_stranger and "<" in text and first in OF_A_CUSTOMER:
        return {404}
    return {200, 400, 422} if first in ASKED_OF else {200}


def asked(client, method, address):
    headers = {"Idempotency-Key": "0" * 32, "If-Match": '"no such state"'}
    if method == "get":
        return client.get(address)
    return getattr(client, method)(address, {}, content_type="application/json", headers=headers)


def test_g9_every_address_of_the_interface_is_classed():
    for route, text, keys in routes():
        first = word_of(text)
        assert hasattr(route.callback, "cls"), text
        assert route.callback.cls.area, f"{text} is of no area: no token opens it"
        for key in keys:
            assert (first, key) in BY_FIRST_WORD, f"say in BY_FIRST_WORD what {key} of {text} is"


def test_g9_pages_and_interface_together_have_at_least_two_thousand_cells():
    from tests.security import test_matrix

    pages = sum(len(list(test_matrix.cells(who))) for who in test_matrix.WHO)
    interface = sum(
        len(methods_of(route.callback.cls)) * (2 if keys else 1) * (len(Role) + 1)
        for route, _, keys in routes()
    )

    assert interface > 1500
    assert pages + interface > 4000


@pytest.mark.django_db
@pytest.mark.parametrize("role", list(Role))
def test_g9_r69_no_role_sees_or_changes_what_is_not_theirs_by_the_interface(role, named):
    own = named["customer"] if role is Role.CUSTOMER else None
    person = factories.make_person(role, customer=own)
    stranger = person
    if role is Role.CUSTOMER:
        stranger = factories.make_person(role, customer=factories.make_customer())
    wrong = []

    for whose, who in ((OWN, person), (OTHERS, stranger)):
        client = Client()
        client.force_login(who)
        for route, text, keys in routes():
            view, address = route.callback.cls, address_of(text, named)
            if whose == OTHERS and (not keys or who is person):
                continue
            for method in methods_of(view):
                status = asked(client, method, address).status_code
                right = (
                    status in expected(who, view, text, whose)
                    if method == "get"
                    else may_act(who, view, method) or 400 <= status < 500
                )
                if not right and not is_not_there(text, method, status):
                    wrong.append((method, text, whose, status))

    assert wrong == []


def may_act(person, view, method):
    """Say whether the use-case behind an act lets this person in, by what its own text requires."""
    if getattr(view, "area_acts", {}).get(method) == "read":
        return True  # computed for the asking; nothing is kept
    told = view.told.get(method.upper())
    service = getattr(told, "service", None)
    if service is None:
        return not {Role.CUSTOMER, Role.AUDITOR} & person.role_names
    source = inspect.getsource(inspect.unwrap(service))
    needed = re.findall(r"require\(actor, Action\.(\w+)\)", source)
    return all(may(person, Action[name]) for name in needed)


def is_not_there(text, method, status):
    """Say whether the address is of a draft, which the issued certificate is no more."""
    return method == "get" and status == 404 and text.startswith("certificate-drafts/")


@pytest.mark.django_db
def test_g9_nobody_and_no_dead_token_gets_in_by_any_address(named):
    made = factories.make_token(factories.quality_manager(), scopes=list(Scope))
    dead = made.text[:-1] + ("x" if made.text[-1] != "x" else "y")
    wrong = []

    for headers in ({}, {"Authorization": f"Bearer {dead}"}):
        client = Client(headers=headers)
        for route, text, _ in routes():
            for method in methods_of(route.callback.cls):
                status = asked(client, method, address_of(text, named)).status_code
                if status != 401:
                    wrong.append((method, text, status))

    assert wrong == []


@pytest.mark.django_db
@pytest.mark.parametrize("area", ["samples", "equipment"])
def test_g9_s23_a_token_opens_its_area_for_looking_and_nothing_else(area, named):
    made = factories.make_token(factories.quality_manager(), scopes=[Scope(f"read {area}")])
    client, wrong = Client(headers={"Authorization": f"Bearer {made.text}"}), []

    for route, text, _ in routes():
        view = route.callback.cls
        for method in methods_of(view):
            status = asked(client, method, address_of(text, named)).status_code
            is_inside = view.area == area and method == "get"
            if (status == 403) == is_inside:
                wrong.append((method, text, view.area, status))

    assert wrong == []
