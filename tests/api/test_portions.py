"""Portions and dryings through the interface: the same use-cases as at the bench."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import TestPortion
from gradation.queries.halves import halves_drawn
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(client):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


@pytest.fixture
def sample(technician):
    procedure = factories.make_procedure(constant_mass_pct=Decimal("0.1"))
    return factories.make_sample(technician, factories.make_material(procedure))


def post(client, name, body, *args):
    return client.post(reverse(f"api:{name}", args=args), body, content_type="application/json")


def test_portions_are_divided_and_the_halves_given_back(client, sample):
    divider = factories.make_instrument("divider")
    body = {
        "sample": sample.number,
        "way": "riffle divider",
        "divider": divider.serial,
        "passes": 3,
        "count": 2,
        "masses_g": ["512.5", None],
    }

    answer = post(client, "portions", body)

    assert answer.status_code == 201
    made = answer.json()
    assert [each["label"] for each in made] == [f"{sample.number}-A", f"{sample.number}-B"]
    assert made[1]["halves_drawn"] == " ".join(halves_drawn(sample.number, 1, 3))
    assert made[0]["mass_taken_g"] == "512.5000"
    listed = client.get(reverse("api:portions"), {"sample": sample.number}).json()["results"]
    assert [each["label"] for each in listed] == [f"{sample.number}-B", f"{sample.number}-A"]


def test_a_division_is_refused_as_at_the_bench(client, sample):
    body = {"sample": sample.number, "way": "riffle divider", "passes": 2}

    missing = post(client, "portions", body)
    unknown = post(client, "portions", {**body, "divider": "R-none"})

    assert [each.status_code for each in (missing, unknown)] == [422, 422]
    assert missing.json()["errors"][0]["pointer"] == "/divider"
    assert unknown.json()["errors"][0]["code"] == "unknown-serial"
    assert not TestPortion.objects.exists()


def test_a_portion_is_dried_to_constant_mass(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    oven = factories.make_instrument("oven", set_temperature_c=Decimal(110))
    one = reverse("api:portion", args=[portion.label])
    assert client.get(one).json()["drying"]["is_constant"] is False

    begun = post(client, "dryings", {"oven": oven.serial, "moist_g": "520"}, portion.label)
    assert begun.status_code == 201
    pk = begun.json()["id"]
    for number, text in enumerate(("500.9", "500,5"), start=1):
        key = str(uuid4())
        body = {"number": number, "mass_g": text, "key": key}
        answers = [post(client, "drying-masses", body, pk) for _ in "ab"]
        assert [answer.status_code for answer in answers] == [201, 201]

    shown = client.get(reverse("api:drying", args=[pk])).json()
    assert [mass["mass_g"] for mass in shown["masses"]] == ["500.9", "500.5"]
    assert shown["is_constant"] is True
    assert post(client, "drying-end", {}, pk).json()["ended_at"]
    assert client.get(one).json()["drying"]["is_constant"] is True


def test_a_correction_carries_its_reason(client, technician, sample):
    drying = factories.make_drying(factories.make_portion(technician, sample))
    post(client, "drying-masses", {"number": 1, "mass_g": "50", "key": str(uuid4())}, drying.pk)
    body = {"number": 1, "mass_g": "500", "key": str(uuid4())}

    clash = post(client, "drying-masses", body, drying.pk)
    corrected = post(client, "drying-masses", {**body, "reason": "A nought short."}, drying.pk)

    assert clash.status_code == 409
    assert corrected.json()["masses"][0]["revision"] == 2


def test_reviewers_look_and_do_not_touch(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    client.force_login(factories.reviewer())

    assert client.get(reverse("api:dryings", args=[portion.label])).status_code == 200
    oven = factories.make_instrument("oven", set_temperature_c=Decimal(110))
    assert post(client, "dryings", {"oven": oven.serial}, portion.label).status_code == 403
