"""Specifications and verdicts for other systems: drafts, two persons, what if."""

import pytest
from django.urls import reverse

from gradation.models import SpecificationVersion
from gradation.policy import Role
from tests import factories

DRAFT = {
    "code": "NS-77",
    "title": "Bedding sand",
    "effective_from": "2026-01-01",
    "decision_rule": "guard_band",
    "confidence": "0.9",
    "lines": [
        {"sieve": "4 mm", "minimum": "85", "maximum": "99", "target": "92"},
        {"kind": "between", "sieve": "500 µm", "finer_sieve": "250 µm", "maximum": "45"},
        {"kind": "characteristic", "characteristic": "fineness_modulus", "minimum": "2.3"},
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

    made = post(client, "specifications", DRAFT)
    read = client.get(f"/api/v1/specification-versions/{made.json()['id']}").json()

    assert made.status_code == 201
    assert (read["state"], read["decision_rule"], read["confidence"]) == (
        "draft",
        "guard_band",
        "0.9",
    )
    assert read["lines"][0] == {"kind": "passing", "inclusive": "yes", **DRAFT["lines"][0]}
    again = post(client, "specifications", {k: v for k, v in read.items() if k not in TOLD})
    assert again.json()["lines"] == read["lines"]
    assert again.json()["version"] == 2


TOLD = {"replaces", "drafted_by", "proposed_by", "approved_by"}


def test_every_fault_is_named_and_nothing_is_kept(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    lines = [{"sieve": "4 mm", "maximum": "x"}, {"sieve": "2", "maximum": "5"}]

    unread = post(client, "specifications", DRAFT | {"lines": lines, "lot_size": "many"})
    crossed = post(
        client,
        "specifications",
        DRAFT | {"lines": [{"sieve": "4 mm", "minimum": "9", "maximum": "5"}]},
    )

    assert unread.status_code == crossed.status_code == 422
    assert set(pointers(unread)) == {"/lines/0/maximum", "/lines/1/sieve", "/lot_size"}
    assert set(pointers(crossed)) == {"/lines/0/maximum"}
    assert not SpecificationVersion.objects.exists()


@pytest.mark.parametrize("sent", [[], '"text"', {"lines": "none"}, {"lines": [1]}, {}])
def test_what_is_no_specification_is_refused(client, as_role, sent):
    as_role(Role.QUALITY_MANAGER)

    assert post(client, "specifications", sent).status_code == 422


def test_two_persons_propose_and_approve(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    key = post(client, "specifications", DRAFT).json()["id"]

    proposed = post(client, f"specification-versions/{key}/propose")
    own = post(client, f"specification-versions/{key}/approve")
    as_role(Role.SIGNATORY)
    approved = post(client, f"specification-versions/{key}/approve", {"confirmation": "copy 2"})
    twice = post(client, f"specification-versions/{key}/approve")

    assert proposed.json()["state"] == "proposed"
    assert own.status_code == 403
    assert approved.json()["state"] == "released"
    assert twice.status_code == 409


def test_technician_reads_and_does_not_write(client, as_role):
    as_role(Role.TECHNICIAN)

    assert client.get("/api/v1/specifications").status_code == 200
    assert post(client, "specifications", DRAFT).status_code == 403


def test_customer_reads_neither_specifications_nor_verdicts(client, as_role):
    run = factories.make_accepted_run()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=run.portion.sample.customer))

    assert client.get("/api/v1/specifications").status_code == 403
    assert client.get(f"/api/v1/runs/{run.pk}/verdict").status_code == 403


def test_verdict_names_what_decides_and_what_would_be(client, as_role):
    specification = factories.make_specification()
    material = factories.make_material(specification=specification)
    run = factories.make_accepted_run(sample=factories.make_sample(material=material))
    as_role(Role.REVIEWER)

    plain = client.get(f"/api/v1/runs/{run.pk}/verdict").json()
    moved = client.get(
        f"/api/v1/runs/{run.pk}/verdict", {"mass_of": "300", "mass_change_g": "-30"}
    ).json()
    refused = client.get(f"/api/v1/runs/{run.pk}/verdict", {"error_um": "5"})
    strange = client.get(f"/api/v1/runs/{run.pk}/verdict", {"colour": "red"})

    # By hand: margins 98 - 95 = 3 at 4.75 mm, 16 - 5 = 11 at 300 µm; 30 g of 500 g are 6 %.
    assert plain["decides"]["name"] == "4.75 mm"
    assert [line["margin"] for line in plain["assessment"]["lines"]] == ["3", "11"]
    assert moved["assessment"]["lines"][1]["reported_if_so"] == "22"
    assert plain["moved"] is None
    assert (refused.status_code, strange.status_code) == (422, 400)
    assert set(pointers(refused)) == {"/sieve"}


#: On 300 µm of 500 g: passing 16 % and 24 %.
COARSE = ("10", "75", "100", "125", "110", "60", "20")
FINE = ("10", "75", "100", "95", "100", "90", "30")


def test_verdict_of_a_sample_brings_its_determinations_and_its_lot_together(client, db):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.REVIEWER))
    limits = factories.make_specification([(300, "0", "22")], lot_rule="mean", lot_size=2)
    sand = factories.make_material(factories.make_procedure(determinations=2), limits)
    sample = factories.make_sample(material=sand, lot="7")
    for masses in (COARSE, FINE):
        factories.make_accepted_run(sample=sample, masses_g=masses)

    found = client.get(reverse("api:sample-verdict", args=[sample.number])).json()

    # By hand: (16 + 24) / 2 = 20 %, at most 22: within, though the second alone is outside.
    assert (found["reports"], len(found["runs"]), found["is_complete"]) == ("mean", 2, True)
    assert found["assessment"]["outcome"] == "conforms"
    assert found["assessment"]["lines"][0]["reported"] == "20"
    assert found["sentence"].startswith("Within ")
    assert found["lot_rule"] == "the mean of 2 results of a lot"
    assert found["lot"]["outcome"] == "not_determined"
    assert found["lot"]["lines"][0]["reason"] == "1 of 2 results so far."
