"""Trends through the interface: figures as text with their unit, nothing flagged left out."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from gradation.models import ControlChart
from gradation.policy import Role
from gradation.services import control_charts
from tests import factories
from tests.many_runs import FIRST, make_series, pattern_of

pytestmark = pytest.mark.django_db

KEY = "passing_600"
QUIET = [40, 41] * 10


@pytest.fixture
def pattern(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))
    run = pattern_of(factories.make_material(factories.make_procedure(), name="Sand 0/2"))
    run.figures.all().delete()
    return run


def ask(client, **asked):
    given = {"material": "Sand 0/2", "characteristic": "passing", "aperture_um": "600", **asked}
    return client.get(reverse("api:trends"), {k: v for k, v in given.items() if v is not None})


def test_trend_gives_figures_as_text_with_the_unit_in_the_name(client, pattern):
    """Mean of the moving ranges 1, so sigma 1 / 1.128379 = 0.8862 (NIST handbook 6.3.2.2)."""
    runs = make_series(pattern, {KEY: QUIET})

    found = ask(client, rules="three_sigma").json()

    (group,) = found["groups"]
    assert (found["characteristic"], found["unit"]) == (KEY, "%")
    assert group["limits"]["centre_pct"] == "40.5000"
    assert group["limits"]["sigma_pct"] == "0.8862"
    assert group["limits"]["are_frozen"] is False
    assert group["points"][0]["value_pct"] == "40.0000"
    assert group["points"][0]["run"] == str(runs[0])
    assert group["points"][1]["spread_pct"] == "1.0000"


def test_flagged_point_names_its_rules(client, pattern):
    make_series(pattern, {KEY: [*QUIET, 50]})

    (group,) = ask(client, rules="three_sigma").json()["groups"]

    named = ["beyond_three_sigma", "moving_range_beyond_limit"]
    assert group["points"][20]["out_of_the_ordinary"] == named
    assert group["flagged_count"] == 1


def test_long_trend_is_thinned_but_for_what_is_flagged(client, pattern):
    values = [40 + n % 2 for n in range(3000)]
    values[1500] = 90
    make_series(pattern, {KEY: values})

    (thin,) = ask(client, rules="three_sigma").json()["groups"]
    (whole,) = ask(client, rules="three_sigma", points="all").json()["groups"]

    assert thin["point_count"] == whole["point_count"] == len(whole["points"]) == 3000
    assert len(thin["points"]) < 2100
    assert 1501 in [point["number"] for point in thin["points"]]


def test_size_is_given_in_micrometres(client, pattern):
    make_series(pattern, {"d50": [800, 810, 805]})

    found = ask(client, characteristic="d50", aperture_um=None).json()

    assert found["groups"][0]["points"][0]["value_um"] == "800.0000"


def test_groups_and_days_narrow_it(client, pattern):
    bench = factories.make_bench(name="East")
    make_series(pattern, {KEY: [40, 41, 40]}, bench_id=bench.pk)
    make_series(pattern, {KEY: [60, 61, 60]}, first=FIRST + timedelta(days=30))

    until = (FIRST + timedelta(days=9)).date().isoformat()
    found = ask(client, group="bench", until=until).json()

    assert [group["group"] for group in found["groups"]] == ["East"]


def test_kept_chart_is_given_with_its_frozen_limits(client, pattern):
    make_series(pattern, {KEY: QUIET})
    manager, day = factories.quality_manager(), FIRST.date()
    chart = control_charts.open_chart(
        actor=manager,
        chart=ControlChart(
            name="Sand", material=pattern.portion.sample.material, characteristic=KEY,
            answers_from=date(2100, 1, 1),
        ),
    )  # fmt: skip
    period = control_charts.BasePeriod(day, day + timedelta(days=1))
    control_charts.freeze_limits(actor=manager, chart=chart, period=period, reason="Good days.")

    found = client.get(reverse("api:trends"), {"chart": chart.pk}).json()
    (listed,) = client.get(reverse("api:control-charts")).json()["results"]

    assert found["groups"][0]["limits"]["are_frozen"] is True
    assert (listed["name"], listed["points_to_answer"]) == ("Sand", 0)
    assert listed["frozen_limits"][0]["centre_pct"] == "40.5000"


@pytest.mark.parametrize(
    ("asked", "status", "pointer"),
    [
        ({"material": "Moon dust"}, 422, "/material"),
        ({"material": None}, 422, "/material"),
        ({"aperture_um": None}, 422, "/aperture_um"),
        ({"characteristic": None}, 422, "/characteristic"),
        ({"since": "2026-02-01", "until": "2026-01-01"}, 422, "/since"),
        ({"characteristic": "luck"}, 400, "/characteristic"),
        ({"since": "soon"}, 400, "/since"),
        ({"colour": "blue"}, 400, "/colour"),
        ({"chart": "999999"}, 404, None),
    ],
)
def test_what_cannot_be_asked_is_refused_with_its_field(client, pattern, asked, status, pointer):
    answer = ask(client, **asked)

    assert answer.status_code == status
    assert answer["Content-Type"].startswith("application/problem+json")
    if pointer:
        assert pointer in [each["pointer"] for each in answer.json()["errors"]]


def test_trend_that_cannot_be_judged_says_why(client, pattern):
    make_series(pattern, {KEY: [40]})

    (group,) = ask(client).json()["groups"]

    assert "too few values" in group["not_judged"]
    assert group["points"] == []


def test_customers_get_no_trend(client, pattern):
    customer = factories.make_customer()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=customer))

    assert ask(client).status_code == 403
    assert client.get(reverse("api:control-charts")).status_code == 403
