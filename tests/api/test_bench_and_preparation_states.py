"""Whoever gives a bench up, or corrects a container or a shaking, means the state that was read."""

import json
from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.models import Bench, Shaking
from gradation.services import balance_readings, dryings, shakings
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client):
    """Post as a person; with the tag that an address gave, or the one given."""

    def post(person, address, body, *, tag=None):
        client.force_login(person)
        headers = {"Idempotency-Key": str(uuid4())}
        if tag is not None:
            headers["If-Match"] = tag
        answer = client.post(
            address, json.dumps(body), content_type="application/json", headers=headers
        )
        return answer.status_code, answer.json()

    return post


def tag_at(client, person, address):
    client.force_login(person)
    return client.get(address).headers["ETag"]


def shaken(minutes):
    return shakings.Shaken(key=uuid4(), minutes=Decimal(minutes))


def test_g5_shaking_is_corrected_in_the_state_that_was_read(client, send):
    technician = factories.technician()
    run = factories.make_run(actor=technician)
    shakings.record_shaking(actor=technician, run=run, shaken=shaken(10))
    at = f"/api/v1/runs/{run.pk}/shakings"
    seen = tag_at(client, technician, at)

    def corrected(minutes, tag):
        body = {"key": str(uuid4()), "number": 1, "minutes": minutes, "reason": "misread"}
        return send(technician, f"{at}/correct", body, tag=tag)

    assert corrected("11.0", None)[0] == 428
    code, told = corrected("12.0", seen)
    assert (code, told["id"]) == (200, run.pk)
    assert corrected("15.0", seen)[0] == 412  # somebody corrected it meanwhile
    assert corrected("15.0", tag_at(client, technician, at))[0] == 200
    minutes = Shaking.objects.order_by("revision").values_list("minutes", flat=True)
    assert list(minutes) == [10, 12, 15]


def test_g5_container_is_corrected_in_the_state_that_was_read(client, send):
    technician = factories.technician()
    oven = dryings.Oven(
        factories.make_instrument("oven", set_temperature_c=Decimal(110)),
        container_text="120.0",
        limit_pct=Decimal("0.1"),
        limit_source="laboratory rule",
    )
    drying = dryings.begin_drying(
        actor=technician, portion=factories.make_portion(technician), oven=oven
    )
    at = f"/api/v1/dryings/{drying.pk}"
    seen = tag_at(client, technician, at)

    def corrected(container_g, tag):
        body = {"container_g": container_g, "reason": "another dish"}
        return send(technician, f"{at}/container", body, tag=tag)

    assert corrected("121.0", None)[0] == 428
    assert corrected("121.0", seen)[0] == 200
    assert corrected("122.0", seen)[0] == 412
    drying.refresh_from_db()
    assert drying.container_g == 121


def test_g5_bench_is_given_up_in_the_state_that_was_read(client, send):
    keeper, technician = factories.keeper(), factories.technician()
    bench = factories.make_bench()
    at = f"/api/v1/benches/{bench.name}"
    seen = tag_at(client, keeper, at)
    run = factories.make_run(actor=technician)
    balance_readings.name_place(
        actor=technician, bench=bench, field=balance_readings.Field(run=run, slot="dry mass")
    )

    def given_up(tag):
        return send(keeper, f"{at}/retire", {"reason": "Room closed."}, tag=tag)

    assert given_up(None)[0] == 428
    assert given_up(seen)[0] == 412  # somebody began to work there
    assert Bench.objects.get(pk=bench.pk).is_active
    code, told = given_up(tag_at(client, keeper, at))
    assert (code, told["is_active"]) == (200, False)
