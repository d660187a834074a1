"""Comparisons and blends over the interface: measurements as text, faults with their pointers."""

import pytest
from django.urls import reverse

from gradation.models import BlendRecord
from gradation.policy import Role
from gradation.science.computing import compute
from tests import factories
from tests.curve_runs import add_run, make_pile

pytestmark = pytest.mark.django_db
APERTURES_UM = (4750, 600, 75)


@pytest.fixture
def person(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER))
    return client


@pytest.fixture
def coarse():
    return make_pile("Coarse", APERTURES_UM, (30, 10, 0))


@pytest.fixture
def asked(coarse):
    fine = make_pile("Fine", APERTURES_UM, (100, 60, 10))
    band = factories.make_specification([(4750, "55", "75"), (75, "2", "8")])
    return {
        "specification": band.pk,
        "stockpiles": [{"curve": f"latest:{coarse.pk}:1"}, {"curve": f"latest:{fine.pk}:1"}],
    }


def post(client, data):
    return client.post(reverse("api:blends"), data, content_type="application/json")


def test_a_blend_is_worked_out_and_nothing_kept(person, asked):
    answer = post(person, asked)

    body = answer.json()
    assert answer.status_code == 200
    assert [pile["share_pct"] for pile in body["stockpiles"]] == ["50.0000", "50.0000"]
    assert body["margin_pct"] == "3.0000"
    assert body["sieves"][0]["passing_pct"] == "65.0000"
    assert compute(body["inputs"])["sentence"] == body["sentence"]
    assert not BlendRecord.objects.exists()


def test_a_kept_blend_is_read_again_under_its_number(person, asked):
    kept = post(person, asked | {"keep": True, "title": "Trial mix"})

    assert kept.status_code == 201
    again = person.get(reverse("api:blend", args=[kept.json()["number"]])).json()
    assert again == kept.json()


def pointers(answer):
    assert answer.status_code == 422, answer.content
    return {error["pointer"]: error["detail"] for error in answer.json()["errors"]}


def test_faults_point_at_what_was_sent(person, asked):
    first, second = asked["stockpiles"]
    wrong = [
        ({"stockpiles": [{"curve": "latest:999999:1"}, second]}, "/stockpiles/0/curve"),
        ({"stockpiles": [{"curve": "nothing"}, second]}, "/stockpiles/0/curve"),
        ({"stockpiles": [first]}, "/stockpiles"),
        ({"stockpiles": [first | {"share_min_pct": "70"}, second | {"share_min_pct": "60"}]},
         "/stockpiles"),
        ({"specification": 999999}, "/specification"),
        ({"goal": "target"}, "/target"),
        ({"keep": True}, "/title"),
    ]  # fmt: skip

    for change, pointer in wrong:
        assert pointer in pointers(post(person, asked | change)), change
    assert not BlendRecord.objects.exists()


def test_a_misspelt_field_is_refused(person, asked):
    answer = post(person, asked | {"stockpile": []})

    assert answer.status_code == 400
    assert "Not asked for" in answer.content.decode()


def test_runs_samples_and_means_are_compared(person, coarse):
    run = add_run(coarse, (40, 20, 4))
    query = {
        "runs": str(run),
        "samples": run.portion.sample.number,
        "means": f"{coarse.pk}:5",
        "reference": f"latest:{coarse.pk}:5",
    }

    body = person.get(reverse("api:comparisons"), query).json()

    # 30 and 40 %: mean 35, standard deviation 10 / sqrt(2)
    mean = body["curves"][2]
    assert (mean["passing_pct"][0], mean["standard_deviation_pct"][0]) == ("35.0000", "7.0711")
    assert body["sieves"][0]["curves"][0]["difference_pct"] == "5.0000"
    assert body["curves"][0]["passing_reported_pct"] == ["40", "20", "4"]


def test_what_is_not_there_is_named_in_a_comparison(person, coarse):
    wrong = [
        ({}, "/runs"),
        ({"runs": "26-9999-1/1"}, "/runs"),
        ({"means": f"{coarse.pk}:0"}, "/means"),
        ({"samples": "26-9999"}, "/sample:26-9999"),
    ]

    for query, pointer in wrong:
        assert pointer in pointers(person.get(reverse("api:comparisons"), query)), query


def test_customers_and_strangers_see_neither(client, asked):
    addresses = [reverse("api:comparisons"), reverse("api:blend", args=["B26-0001"])]
    strangers = [client.get(address).status_code for address in addresses]
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=factories.make_customer()))

    assert set(strangers) <= {401, 403}
    assert {client.get(address).status_code for address in addresses} == {403}
    assert post(client, asked).status_code == 403


def test_who_may_not_keep_may_still_work_it_out(client, asked):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))

    assert post(client, asked).status_code == 200
    assert post(client, asked | {"keep": True, "title": "Trial"}).status_code == 403
