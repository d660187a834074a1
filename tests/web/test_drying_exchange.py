"""The page of a drying and its script: kept by key, told by parts, never under another's name."""

import re
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import DryingMass
from gradation.policy import Role
from gradation.services import dryings
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(client, db):
    factories.make_laboratory()
    person = factories.make_person(Role.TECHNICIAN)
    client.force_login(person)
    return person


@pytest.fixture
def drying(technician):
    return factories.make_drying()


def send(client, drying, number, text, **more):
    sent = {"number": number, "text": text, "key": uuid4(), **more}
    return client.post(reverse("bench:drying-reading", args=[drying.pk]), sent)


def changes(client, drying, mark):
    return client.get(reverse("bench:drying-changes", args=[drying.pk]), {"mark": mark})


def test_a_weighing_is_acknowledged_by_its_key_with_what_it_changes(client, drying):
    key = uuid4()

    told = send(client, drying, 1, "512,3", key=key).json()

    assert (told["kind"], told["key"], told["next"]) == ("kept", str(key), 2)
    assert "One weighing so far" in told["parts"]["drying-said"]
    assert "512.3" in told["parts"]["drying-weighings"]


def test_the_same_key_again_is_acknowledged_and_kept_once(client, drying):
    key = uuid4()

    answers = [send(client, drying, 1, "512.3", key=key).json() for _ in range(2)]

    assert [answer["kind"] for answer in answers] == ["kept", "kept"]
    assert answers[0]["pk"] == answers[1]["pk"]
    assert drying.masses.count() == 1


def test_what_another_person_entered_is_not_kept_under_this_name(client, drying, technician):
    other = factories.make_person(Role.TECHNICIAN)

    answer = send(client, drying, 1, "512.3", person=other.pk)

    assert (answer.status_code, answer.json()["kind"]) == (409, "other-person")
    assert not DryingMass.objects.exists()


def test_a_clash_names_both_values_and_who(client, drying):
    other = factories.make_person(Role.TECHNICIAN, full_name="Odd Lien")
    reading = dryings.MassReading(1, "512.3", uuid4())
    dryings.record_drying_mass(actor=other, drying=drying, reading=reading)

    told = send(client, drying, 1, "512.9").json()

    assert (told["kind"], told["theirs"]["mass"], told["theirs"]["by"]) == (
        "clash",
        "512.3",
        "Odd Lien",
    )
    assert drying.masses.count() == 1


def test_a_correction_replaces_only_the_value_that_was_seen(client, drying):
    seen = send(client, drying, 1, "512.3").json()["pk"]

    blind = send(client, drying, 1, "512.9", reason="Misread.", over=seen - 1)
    kept = send(client, drying, 1, "512.9", reason="Misread.", over=seen)

    assert blind.json()["kind"] == "clash"
    assert kept.json()["kind"] == "kept"
    assert list(drying.masses.values_list("entered_text", "revision")) == [
        ("512.3", 1),
        ("512.9", 2),
    ]


def test_what_is_no_mass_is_refused_with_its_reason(client, drying):
    told = send(client, drying, 1, "S-0142")

    assert (told.status_code, told.json()["kind"]) == (422, "refused")


def test_nothing_new_is_answered_with_nothing_in_few_queries(
    client, drying, django_assert_max_num_queries
):
    mark = send(client, drying, 1, "512.3").json()["mark"]

    with django_assert_max_num_queries(6):
        answer = changes(client, drying, mark)

    assert (answer.status_code, answer.content) == (204, b"")


def test_a_corrected_container_is_news_and_shown_with_the_first_mass(client, drying):
    mark = send(client, drying, 1, "612.3").json()["mark"]

    page = client.post(
        reverse("bench:drying-container", args=[drying.pk]),
        {"container_text": "100,2", "reason": "The tray was not tared."},
        follow=True,
    )

    assert "512.1" in page.content.decode()
    told = changes(client, drying, mark).json()
    assert told["kind"] == "changed"
    for words in ("100.2 g", "was none", "The tray was not tared."):
        assert words in told["parts"]["drying-container"]


def test_a_container_that_leaves_nothing_is_answered_beside_its_field(client, drying):
    send(client, drying, 1, "512.3")

    page = client.post(
        reverse("bench:drying-container", args=[drying.pk]),
        {"container_text": "600", "reason": "Another tray."},
    )

    assert page.status_code == 422
    assert "is not more than the container" in page.content.decode()


def test_the_size_of_the_material_says_that_it_wants_its_unit(client, technician):
    sample = factories.make_sample(technician)

    page = client.get(reverse("intake:portion-prepare", args=[sample.number])).content.decode()

    assert re.search(r"with the unit: 16\s?mm, 600\s?µm", page), page[:400]
