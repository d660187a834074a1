"""Procedures for other systems: read, draft, propose, release by another, the library."""

import pytest

from gradation.models import ProcedureVersion
from gradation.policy import Role
from tests import factories

DRAFT = {
    "code": "NP-77",
    "title": "Sieving of bedding sand",
    "standard_reference": "EN 933-1",
    "edition": "2012",
    "basis": "initial_dry",
    "loss_limit_pct": "1",
    "wash": True,
    "guard_aperture_um": "1 mm",
    "shaking_interval_s": 10,
    "shaking_minutes": "8.5",
    "apertures": [
        {"size": "8 mm", "optional": True},
        {"size": "4 mm", "split": True},
        "500 µm",
        {"size": "333 µm", "odd_size": True},
    ],
}


@pytest.fixture
def as_role(client, db):
    factories.make_laboratory()

    def sign_in(*roles):
        person = factories.make_person(*roles)
        client.force_login(person)
        return person

    return sign_in


def post(client, place, data=None):
    # Any state is meant: what a stale one gives stands in test_contract.py.
    meant = {"If-Match": "*"} if "versions/" in place else {}
    return client.post(
        f"/api/v1/{place}", data or {}, content_type="application/json", headers=meant
    )


def pointers(answer):
    return {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}


def test_draft_is_read_back_as_it_was_sent(client, as_role):
    as_role(Role.QUALITY_MANAGER)

    made = post(client, "procedures", DRAFT)
    read = client.get(f"/api/v1/procedure-versions/{made.json()['id']}").json()

    assert made.status_code == 201
    sent = {name: value for name, value in DRAFT.items() if name != "apertures"}
    assert {name: read[name] for name in sent} == sent
    assert read["state"] == "draft"
    assert read["apertures"] == [
        {"size": "8 mm", "optional": True},
        {"size": "4 mm", "split": True},
        {"size": "500 µm"},
        {"size": "333 µm", "odd_size": True},
    ]


def test_every_fault_is_named_with_its_place(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    wrong = {**DRAFT, "loss_limit_pct": "much", "colour": "red", "basis": "moist"}

    answer = post(client, "procedures", {**wrong, "apertures": ["8 mm", "wide"]})

    assert answer.status_code == 422
    assert {"/loss_limit_pct", "/colour", "/basis", "/apertures/1"} <= pointers(answer).keys()
    assert ProcedureVersion.objects.count() == 0


def test_a_draft_from_the_library_takes_what_is_sent_beside_it(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    sent = {"library": "en_1235", "code": "NP-80", "loss_limit_pct": "1", "loss_rule": ""}

    made = post(client, "procedures", sent).json()

    assert (made["library_key"], made["loss_limit_pct"]) == ("en_1235", "1")
    assert made["title"] == "Test sieving of solid fertiliser"
    assert made["apertures"][0] == {"size": "5.6 mm"}
    assert pointers(post(client, "procedures", {"library": "none", "code": "X"})).keys() == {
        "/library"
    }


def test_proposed_and_released_by_two_persons(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    pk = post(client, "procedures", DRAFT).json()["id"]
    proposed = post(client, f"procedure-versions/{pk}/propose")
    own = post(client, f"procedure-versions/{pk}/approve")
    as_role(Role.SIGNATORY)
    released = post(client, f"procedure-versions/{pk}/approve", {"confirmation": "Copy 2"})

    assert proposed.json()["state"] == "proposed"
    assert own.status_code == 403
    assert released.json()["state"] == "released"


def test_technicians_read_and_do_not_draft(client, as_role):
    as_role(Role.TECHNICIAN)
    factories.make_procedure()

    listed = client.get("/api/v1/procedures").json()["results"]
    library = client.get("/api/v1/procedure-library").json()["results"]

    assert listed[0]["versions"][0]["state"] == "released"
    assert all(figure["source"] for kept in library for figure in kept["figures"].values())
    assert post(client, "procedures", DRAFT).status_code == 403
