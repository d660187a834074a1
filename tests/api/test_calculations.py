"""The stateless endpoint takes and gives what the command does."""

from __future__ import annotations

import pytest
from django.urls import reverse

from gradation.science.computing import compute
from tests import factories
from tests.builders import worksheet_data
from tests.science.calculation_samples import SAMPLES, sample

pytestmark = pytest.mark.django_db


@pytest.fixture
def reader(client):
    """Sign a reviewer in."""
    client.force_login(factories.reviewer())
    return client


def post(client, body):
    return client.post(reverse("api:gradations"), body, content_type="application/json")


@pytest.mark.parametrize("name", SAMPLES)
def test_every_calculation_is_answered_as_by_the_command(reader, name):
    answer = post(reader, sample(name))

    assert answer.status_code == 200
    assert answer.json() == compute(sample(name))


def test_worksheet_may_ask_for_more_than_the_table(reader):
    body = worksheet_data(uncertainty={"balance": {"readability_g": "0.1"}})

    assert post(reader, body).json()["uncertainty"]["rows"]


def test_faults_of_a_calculation_have_pointers(reader):
    answer = post(reader, {"calculation": "precision_limits", "sd": ["x"], "colour": 1})

    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/colour", "/sd/0"]


def test_refusal_of_a_calculation_is_no_fault_of_the_server(reader):
    answer = post(reader, {"calculation": "repeated_observations", "observations": [[1]]})

    assert answer.status_code == 422
    assert "two repetitions" in answer.json()["errors"][0]["detail"]
