"""Studies over the interface: worked out, kept, read again; faults with their pointers."""

from decimal import Decimal

import pytest
from django.urls import reverse

from gradation.models import Study, StudyFollowUp
from gradation.policy import Role
from gradation.science.computing import compute
from tests import factories

pytestmark = pytest.mark.django_db

ROUND = {
    "kind": "round",
    "title": "Round 7",
    "figure": "passing_600",
    "study": {"own": "52.0", "assigned": "50", "deviation": "0.8"},
}
METHODS = {
    "kind": "methods",
    "title": "Dry and wet",
    "figure": "loss",
    "valid_for": "Sand, 1 to 5 %",
    "study": {
        "first_method": "dry",
        "second_method": "wet",
        "pairs": [
            {"sample": str(i), "first": str(i), "second": str(2 * i + 1)} for i in range(1, 6)
        ],
    },
}


@pytest.fixture
def person(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER))
    return client


def post(client, data):
    return client.post(reverse("api:studies"), data, content_type="application/json")


def test_study_is_worked_out_and_nothing_kept(person):
    answer = post(person, ROUND)

    body = answer.json()
    assert answer.status_code == 200
    assert body["figures"]["own"]["z"] == {"score": "2.5", "verdict": "questionable"}
    assert compute(body["inputs"]["requests"]["z"])["scores"] == [2.5]
    assert not Study.objects.exists()
    line = post(person, METHODS).json()["figures"]["methods"]["deming"]
    assert float(line["slope"]["value"]) == pytest.approx(2.0)


def test_kept_study_is_read_again_and_listed(person):
    kept = post(person, ROUND | {"keep": True})

    assert kept.status_code == 201
    number = kept.json()["number"]
    assert kept.json()["follow_up"]["is_open"]
    assert person.get(reverse("api:study", args=[number])).json() == kept.json()
    assert [row["number"] for row in person.get(reverse("api:studies")).json()["results"]] == [
        number
    ]
    assert StudyFollowUp.objects.count() == 1


def test_precision_and_benches_by_the_interface(person):
    cells = [
        {"participant": who, "level": "sand", "results": results}
        for who, results in (("A", ["1", "2"]), ("B", ["2", "3"]), ("C", ["2", "2"]))
    ]
    body = {"kind": "precision", "figure": "loss", "study": {"cells": cells}}
    answer = post(person, body)
    assert answer.status_code == 200
    # s_r^2 = (0.5 + 0.5 + 0) / 3
    found = answer.json()["figures"]["used"]["levels"][0]["precision"]
    assert float(found["repeatability_sd"]) == pytest.approx((1 / 3) ** 0.5)


def test_our_run_against_what_another_laboratory_reported(person):
    run = factories.make_accepted_run()
    ours = run.results.get().curve
    side = {
        "name": "Skerry",
        "reported": [{"aperture_um": f"{um}", "passing_pct": [f"{pct:.4f}"]} for um, pct in ours],
    }
    study = {"first": {"runs": [run.pk]}, "second": side}

    answer = post(person, {"kind": "benches", "study": study})

    assert answer.status_code == 200, answer.json()
    points = answer.json()["figures"]["points"]
    assert [float(point["aperture_um"]) for point in points] == [float(um) for um, _ in ours]
    assert {point["rest"] for point in points} == {"division not known"}
    gone = {"kind": "benches", "study": {"first": {"runs": [999_999]}, "second": side}}
    assert post(person, gone).json()["errors"][0]["pointer"] == "/first_runs"


def test_measured_apertures_of_the_other_laboratory_explain_part_of_a_difference(person):
    run = factories.make_accepted_run()
    ours = run.results.get().curve
    rows = [
        {"aperture_um": f"{um}", "passing_pct": [f"{pct:.4f}"], "measured_um": f"{um}"}
        for um, pct in ours
    ]
    study = {"first": {"runs": [run.pk]}, "second": {"name": "Skerry", "reported": rows}}

    answer = post(person, {"kind": "benches", "study": study})
    far = [rows[0] | {"measured_um": "1.5"}, *rows[1:]]
    wrong = study | {"second": {"name": "Skerry", "reported": far}}
    refused = post(person, {"kind": "benches", "study": wrong})

    assert answer.status_code == 200, answer.json()
    (kept,) = answer.json()["inputs"]["second"]["measured_um"]
    assert [Decimal(str(um)) for um in kept] == [Decimal(str(um)) for um, _ in ours]
    assert refused.status_code == 400
    assert "no measured aperture" in refused.json()["errors"][0]["detail"]


def test_faults_point_at_what_was_sent_and_nothing_is_kept(person):
    wrong = [
        (ROUND | {"kind": "weather"}, "/kind"),
        (ROUND | {"study": {"own": "x"}}, "/study/own"),
        (ROUND | {"figure": "colour"}, "/figure"),
        (ROUND | {"material": "Nobody's sand"}, "/material"),
        (ROUND | {"study": {"own": "5"}}, "/assigned"),
        (METHODS | {"valid_for": ""}, "/valid_for"),
        (ROUND | {"keep": True, "title": ""}, "/title"),
    ]

    for data, pointer in wrong:
        answer = post(person, data)
        assert answer.status_code in {400, 422}, data
        assert pointer in {each["pointer"] for each in answer.json()["errors"]}, answer.json()
    assert not Study.objects.exists()


def test_who_may_not_keep_is_refused(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))

    assert post(client, ROUND).status_code == 200
    assert post(client, ROUND | {"keep": True}).status_code == 403
    assert not Study.objects.exists()
