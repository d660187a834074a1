"""The equipment endpoints: read by staff, checks recorded with a verdict that is computed."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from gradation.models import Check, Sieve
from gradation.policy import Role
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper(client):
    """Sign the equipment keeper in."""
    factories.make_laboratory()
    client.force_login(factories.keeper())
    return client


def at(name, *args):
    return reverse(f"api:{name}", args=args)


ADDRESSES = [
    ("sieves", ()),
    ("sieve", ("serial",)),
    ("instruments", ()),
    ("instrument", ("balance",)),
    ("checks", ("serial",)),
    ("nests", ()),
    ("due", ()),
]


@pytest.mark.parametrize("role", Role)
def test_staff_read_and_customers_do_not(client, role):
    factories.make_laboratory()
    keys = {
        "serial": factories.make_sieve().serial,
        "balance": factories.make_instrument("balance").serial,
    }
    customer = factories.make_customer() if role is Role.CUSTOMER else None
    client.force_login(factories.make_person(role, customer=customer))

    asked = [client.get(at(name, *(keys[key] for key in args))) for name, args in ADDRESSES]

    expected = 403 if role is Role.CUSTOMER else 200
    assert {answer.status_code for answer in asked} == {expected}


def test_strangers_are_sent_away(client):
    for name, args in ADDRESSES:
        assert client.get(at(name, *args)).status_code == 401


def test_a_sieve_says_what_its_card_says(keeper):
    sieve = factories.make_sieve(600, place="Cabinet 2", edition="astm_e11_17")

    body = keeper.get(at("sieve", sieve.serial)).json()

    assert (body["serial"], body["aperture_um"]) == (sieve.serial, "600.00")
    assert (body["place"], body["state"]) == ("Cabinet 2", "in service")


def test_sieves_come_in_pages_by_key(keeper):
    made = [factories.make_sieve() for _ in range(52)]

    first = keeper.get(at("sieves")).json()
    second = keeper.get(at("sieves"), {"before": first["older_than"]}).json()

    serials = [row["serial"] for row in [*first["results"], *second["results"]]]
    assert serials == [sieve.serial for sieve in reversed(made)]
    assert second["older_than"] is None


@pytest.mark.parametrize(
    ("name", "args"), [("sieve", ("no-such",)), ("instrument", ("no-such",)), ("checks", ("x",))]
)
def test_what_is_not_there_is_a_problem_document(keeper, name, args):
    answer = keeper.get(at(name, *args))

    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("query", ["?limit=5", "?before=x", "?before=-1"])
def test_a_filter_that_is_not_offered_is_refused(keeper, query):
    assert keeper.get(at("sieves") + query).status_code == 400


def test_the_due_list_begins_with_what_is_overdue(keeper):
    today = timezone.now().date()
    later = factories.make_sieve(next_check_on=today + timedelta(days=300))
    late = factories.make_sieve(next_check_on=today - timedelta(days=1))

    rows = keeper.get(at("due")).json()["results"]

    assert [row["serial"] for row in rows] == [late.serial, later.serial]
    assert [row["due"] for row in rows] == ["overdue", "in date"]


def test_a_nest_says_why_it_is_not_fit(keeper):
    nest = factories.make_nest(factories.make_procedure())
    sieve = nest.places.first().sieve
    Sieve.objects.filter(pk=sieve.pk).update(next_check_on=timezone.now().date() - timedelta(1))

    (row,) = keeper.get(at("nests")).json()["results"]

    assert row["is_fit"] is False
    assert sieve.serial in " ".join(row["reasons"])


def post(client, sieve, body):
    return client.post(at("checks", sieve.serial), body, content_type="application/json")


def measured(warp, weft, **more):
    today = timezone.now().date().isoformat()
    evidence = {"warp_um": warp, "weft_um": weft}
    return {"kind": "aperture", "performed_on": today, "evidence": evidence, **more}


def test_a_check_is_recorded_and_its_verdict_computed(keeper):
    sieve = factories.make_sieve(600, edition="astm_e11_17")

    good = post(keeper, sieve, measured(["599,5", 600.5], [600, "601"]))
    bad = post(keeper, sieve, measured([640, 641], [640, 642]))  # Y is 21.1 µm (ASTM E11-17)

    assert (good.status_code, good.json()["passed"]) == (201, True)
    assert bad.json()["passed"] is False
    assert Sieve.objects.get().state == "out of service"


def test_a_verdict_cannot_be_sent(keeper):
    sieve = factories.make_sieve(600)

    answer = post(keeper, sieve, measured([600, 601], [600, 601], passed=True))

    assert answer.status_code == 400
    assert not Check.objects.exists()


@pytest.mark.parametrize(
    ("evidence", "pointer"),
    [
        ({"warp_um": [600], "weft_um": "600"}, "/evidence/weft_um"),
        ({"warp_um": [600, "6O1"], "weft_um": [600]}, "/evidence/warp_um"),
        ({"warp_um": [600]}, "/evidence/weft_um"),
        ({"warp_um": [600], "weft_um": [600], "mean_um": 600}, "/evidence/mean_um"),
        ({"warp_um": [True], "weft_um": [600]}, "/evidence/warp_um"),
        ({"warp_um": [600], "weft_um": [600], "limits": {}}, "/evidence/limits"),
    ],
)
def test_evidence_that_cannot_be_taken_is_pointed_at(keeper, evidence, pointer):
    sieve = factories.make_sieve(600)

    answer = post(keeper, sieve, measured([], []) | {"evidence": evidence})

    assert answer.status_code == 422
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]
    assert not Check.objects.exists()


@pytest.mark.parametrize("body", ["[", "[]", "null", "{}", '{"kind": "visual", "evidence": 3}'])
def test_what_is_no_check_is_refused_never_a_fault_of_the_server(keeper, body):
    assert post(keeper, factories.make_sieve(), body).status_code in {400, 422}


def test_only_keepers_record_checks(client):
    factories.make_laboratory()
    sieve = factories.make_sieve(600)
    client.force_login(factories.technician())

    assert post(client, sieve, measured([600, 601], [600, 601])).status_code == 403
