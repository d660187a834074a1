"""Opening a run through the interface: the same refusals as at the bench, none more lenient."""

from datetime import timedelta

import pytest
from django.urls import reverse

from gradation.models import Run
from gradation.services import clock, upkeep
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(client):
    """Sign a technician in."""
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


def send(client, portion, sieves, **more):
    body = {
        "portion": portion.label,
        "bench": factories.make_bench().name,
        "sieves": [sieve.serial for sieve in sieves],
        **more,
    }
    return client.post(reverse("api:runs"), body, content_type="application/json")


def test_run_is_opened_on_the_sieves_named(client, technician):
    portion, sieves = factories.make_portion(technician), factories.make_sieves()

    answer = send(client, portion, sieves)

    assert answer.status_code == 201
    run = Run.objects.get(pk=answer.json()["id"])
    assert [place.sieve for place in run.places.select_related("sieve")] == sieves


def test_sieve_out_of_service_is_refused_with_its_reason(client, technician):
    portion, sieves = factories.make_portion(technician), factories.make_sieves()
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieves[1], reason="Torn at the rim.")

    answer = send(client, portion, sieves)

    assert answer.status_code == 422
    assert "Torn at the rim" in answer.json()["detail"]
    assert answer.json()["errors"][0]["pointer"] == "/sieves"
    assert not Run.objects.exists()


def test_overdue_sieve_and_wrong_frame_and_order_are_refused(client, technician):
    portion, sieves = factories.make_portion(technician), factories.make_sieves()
    yesterday = clock.today() - timedelta(days=1)
    overdue = [*sieves[:-1], factories.make_sieve(150, next_check_on=yesterday)]
    frame = [*sieves[:-1], factories.make_sieve(150, frame_diameter_mm=300)]

    answers = [send(client, portion, each) for each in (overdue, frame, sieves[::-1], sieves[:-1])]

    assert [answer.status_code for answer in answers] == [422] * 4
    assert not Run.objects.exists()


def test_sieve_in_an_open_run_elsewhere_is_told_with_the_bench(client, technician):
    sieves = factories.make_sieves()
    first = factories.make_run(technician, sieves=sieves)

    answer = send(client, factories.make_portion(technician, first.portion.sample), sieves)

    assert answer.status_code == 409
    assert str(first.bench) in answer.json()["detail"]


def test_unknown_serials_and_bench_are_named_together(client, technician):
    portion = factories.make_portion(technician)

    body = {
        "portion": portion.label,
        "bench": "nowhere",
        "sieves": ["S-none"],
        "instruments": ["B-none"],
    }

    answer = client.post(reverse("api:runs"), body, content_type="application/json")

    assert answer.status_code == 422
    pointers = {fault["pointer"] for fault in answer.json()["errors"]}
    assert pointers == {"/sieves", "/instruments", "/bench"}


def test_reviewer_may_not_open_a_run(client, technician):
    portion, sieves = factories.make_portion(technician), factories.make_sieves()
    client.force_login(factories.reviewer())

    assert send(client, portion, sieves).status_code == 403
