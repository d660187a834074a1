"""Findings through the interface: the same list, the same answers, stable codes."""

from datetime import timedelta

import pytest
from django.urls import reverse

from gradation.models import Run, Severity
from gradation.policy import Role
from gradation.services import clock, people, run_checks
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(client):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


@pytest.fixture
def lossy(technician):
    run = factories.make_run(technician)
    factories.weigh(run, dry_mass_g="510")
    return run


def told(client, run, **query):
    answer = client.get(reverse("api:run-findings", args=[run.pk]), query)
    return {each["code"]: each for each in answer.json()["findings"]}


def send(client, run, **body):
    address = reverse("api:run-findings", args=[run.pk])
    return client.post(address, body, content_type="application/json")


def test_findings_are_told_with_their_keys_and_places(client, lossy):
    loss = told(client, lossy)["loss-over-limit"]

    assert (loss["number"], loss["severity"], loss["is_open"]) == (14, "reason", True)
    assert (loss["place"], loss["answer"]) == ("pan-0", None)
    assert "10 g are missing" in loss["sentence"]


def test_reason_is_given_by_the_key(client, lossy):
    key = told(client, lossy)["loss-over-limit"]["key"]

    answered = send(client, lossy, key=key, reason="Spill seen.")

    assert answered.status_code == 201
    loss = told(client, lossy)["loss-over-limit"]
    assert (loss["is_open"], loss["answer"]["reason"]) == (False, "Spill seen.")


@pytest.mark.parametrize(
    ("role", "body", "status", "code"),
    [
        (Role.TECHNICIAN, {"reason": " "}, 422, "invalid"),
        (Role.TECHNICIAN, {"key": "0" * 16}, 409, "no-longer-found"),
        (Role.AUDITOR, {}, 403, "not-yours"),
    ],
)
def test_refusals_are_problem_documents(client, lossy, role, body, status, code):
    key = told(client, lossy)["loss-over-limit"]["key"]
    client.force_login(factories.make_person(role))

    answer = send(client, lossy, **{"key": key, "reason": "Spill seen.", **body})

    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert answer.json()["type"] == f"urn:gradation:problem:{code}"


def test_unknown_stage_is_refused_and_a_customer_sees_nothing(client, lossy):
    address = reverse("api:run-findings", args=[lossy.pk])
    assert client.get(address, {"stage": "later"}).status_code == 400

    client.force_login(factories.make_person(Role.CUSTOMER, customer=lossy.portion.sample.customer))
    assert client.get(address).status_code == 403


def test_refused_opening_names_the_check_and_where_its_reason_goes(client, technician):
    run_checks.set_check_policy(
        actor=people.system_account(),
        code="equipment-unfit",
        choice=run_checks.Choice(Severity.REASON, None),
        reason="Small laboratory.",
    )
    overdue = factories.make_sieve(150, next_check_on=clock.today() - timedelta(days=1))
    body = {
        "portion": factories.make_portion(technician).label,
        "bench": factories.make_bench().name,
        "sieves": [sieve.serial for sieve in (*factories.make_sieves()[:-1], overdue)],
    }

    refused = client.post(reverse("api:runs"), body, content_type="application/json")
    (error,) = refused.json()["errors"]
    key = error["pointer"].removeprefix("/reason-")
    body["reasons"] = {key: "Keeper away."}
    opened = client.post(reverse("api:runs"), body, content_type="application/json")

    assert (refused.status_code, error["code"]) == (422, "equipment-unfit")
    assert opened.status_code == 201
    assert "Keeper away." in Run.objects.get().deviations


def test_review_list_is_told_after_the_hand_over(client, lossy):
    factories.answer_findings(lossy, "Spill seen.")
    run = factories.hand_over(lossy)

    loss = told(client, run)["loss-over-limit"]

    assert loss["answer"]["reason"] == "Spill seen."
