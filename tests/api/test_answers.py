"""The interface: same reads and calculations as the screens, refusals as problem documents."""

import hashlib

import pytest
from django.urls import reverse

from gradation.policy import Role
from tests import factories

pytestmark = pytest.mark.django_db

WORKSHEET = {
    "dry_mass_g": "500",
    "fractions": [
        {"aperture_um": 600, "mass_g": "200,0"},
        {"aperture_um": 300, "mass_g": "250.0"},
    ],
    "pan_g": "50",
}


@pytest.fixture
def reader(client):
    """Sign a reviewer in."""
    client.force_login(factories.reviewer())
    return client


def post(client, body):
    return client.post(reverse("api:gradations"), body, content_type="application/json")


def test_worksheet_is_computed_and_nothing_is_kept(reader, django_assert_max_num_queries):
    with django_assert_max_num_queries(5):
        answer = post(reader, WORKSHEET)

    # 200 and 250 g of 500 g: hand working.
    assert [row["passing_reported"] for row in answer.json()["table"]] == ["60", "10"]


def test_bad_worksheet_is_refused_with_a_pointer_for_each_fault(reader):
    bad = {**WORKSHEET, "fractions": [{"aperture_um": 600, "mass_g": "1.2.3"}], "pan_g": "-1"}

    answer = post(reader, bad)

    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    pointers = [fault["pointer"] for fault in answer.json()["errors"]]
    assert pointers == ["/fractions/0/mass_g", "/pan_g"]


@pytest.mark.parametrize("body", ["[", "[]", "null", '"text"', "{}", '{"fractions": 3}'])
def test_what_is_no_worksheet_is_refused_never_a_fault_of_the_server(reader, body):
    answer = post(reader, body)

    assert answer.status_code in {400, 422}
    assert answer.json()["detail"]


def test_stranger_is_sent_away(client):
    assert post(client, WORKSHEET).status_code == 401
    assert client.get(reverse("api:samples")).status_code == 401


def test_sample_list_gives_pages_by_key(reader):
    samples = [factories.make_sample() for _ in range(2)]

    answer = reader.get(reverse("api:samples")).json()

    assert [row["number"] for row in answer["results"]] == [
        samples[1].number,
        samples[0].number,
    ]
    assert answer["older_than"] is None


@pytest.mark.parametrize("query", ["?limit=5", "?before=x", "?before=-1", "?customer__name=a"])
def test_filter_that_is_not_offered_is_refused(reader, query):
    assert reader.get(reverse("api:samples") + query).status_code == 400


def test_customer_gets_the_same_answer_for_absent_and_not_theirs(client):
    mine = factories.make_customer()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=mine))
    foreign = factories.make_certificate()
    own = factories.make_sample(customer=mine)

    asked = [
        reverse("api:sample", args=[foreign.sample.number]),
        reverse("api:run", args=[foreign.runs.get().pk]),
        reverse("api:certificate", args=[foreign.number]),
        reverse("api:certificate-pdf", args=[foreign.number]),
        reverse("api:sample", args=["99-9999"]),
    ]

    assert [client.get(url).status_code for url in asked] == [404] * 5
    assert client.get(reverse("api:sample", args=[own.number])).status_code == 200


def test_file_is_the_one_that_was_issued(reader):
    certificate = factories.make_certificate()

    answer = reader.get(reverse("api:certificate-pdf", args=[certificate.number]))

    assert hashlib.sha256(answer.content).hexdigest() == certificate.pdf_sha256
    assert answer["Content-Disposition"] == f'attachment; filename="{certificate.number}.pdf"'


@pytest.mark.parametrize("method", ["patch", "delete"])
def test_other_methods_change_nothing(reader, method):
    sample = factories.make_sample()

    answer = getattr(reader, method)(reverse("api:sample", args=[sample.number]))

    assert answer.status_code == 405
