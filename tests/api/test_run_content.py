"""Readings and shakings through the interface: the use-cases of the bench, under a client key."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import Shaking
from tests import factories
from tests.services.run_steps import Slot, open_run, record


@pytest.fixture
def technician(client, db):
    person = factories.technician()
    client.force_login(person)
    return person


def send(client, name, run, **body):
    at = reverse(f"api:{name}", args=[run.pk])
    return client.post(at, {"key": str(uuid4()), **body}, content_type="application/json")


def test_reading_is_kept_at_the_sieve_of_a_size_once(client, technician):
    run = open_run(technician)
    body = {"key": str(uuid4()), "slot": "fraction", "aperture_um": "600", "text": "12,30"}

    first, again = (
        send(client, "run-weighings", run, **body),
        send(client, "run-weighings", run, **body),
    )

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    kept = run.weighings.get()
    assert (kept.position, str(kept.mass_as_entered), kept.source) == (3, "12.30", "api")
    assert first.json()["mass_g"] == "12.30"


def test_increment_and_correction_are_listed_with_what_counts(client, technician):
    run = open_run(technician)
    send(client, "run-weighings", run, slot="fraction", position=1, text="100")
    send(client, "run-weighings", run, slot="fraction", position=1, increment=2, text="50")
    send(
        client, "run-weighings", run,
        slot="fraction", position=1, increment=2, text="52", reason="digit",
    )  # fmt: skip

    rows = client.get(reverse("api:run-weighings", args=[run.pk])).json()["results"]

    told = [(row["increment"], row["revision"], row["mass_g"], row["current"]) for row in rows]
    assert told == [(1, 1, "100", True), (2, 1, "50", False), (2, 2, "52", True)]


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({"slot": "fraction", "aperture_um": "63", "text": "1"}, 422, "/aperture_um"),
        ({"slot": "passing at split", "position": 1, "text": "1"}, 422, "/slot"),
        ({"slot": "fraction", "position": 1, "text": "1.2.3"}, 422, "/text"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(client, technician, body, status, pointer):
    answer = send(client, "run-weighings", open_run(technician), **body)

    assert answer.status_code == status
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_second_value_for_a_place_is_a_conflict(client, technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, 10, 1)

    answer = send(client, "run-weighings", run, slot="fraction", position=1, text="11")

    assert answer.status_code == 409


def test_shaking_is_kept_and_compared_with_the_plan(client, technician):
    run = open_run(
        technician,
        shaking_motion="Vertical throw",
        shaking_minutes=Decimal(10),
        shaking_amplitude_mm=Decimal("1.5"),
        shaking_frequency_hz=Decimal(50),
    )
    settings = {"minutes": "15", "amplitude_mm": "1.5", "frequency_hz": "50"}
    assert send(client, "run-shakings", run, **settings).json()["errors"][0]["pointer"] == "/note"

    answer = send(client, "run-shakings", run, **settings, note="damp")

    assert answer.status_code == 201
    assert answer.json()["as_planned"] is False
    assert Shaking.objects.get().note == "damp"
    listed = client.get(reverse("api:run-shakings", args=[run.pk])).json()["results"]
    assert [row["minutes"] for row in listed] == ["15.0"]


def test_a_reviewer_sends_no_readings(client, technician):
    run = open_run(technician)
    client.force_login(factories.reviewer())

    answer = send(client, "run-weighings", run, slot="fraction", position=1, text="1")

    assert answer.status_code == 403
