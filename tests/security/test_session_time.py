"""How long a session lasts, what prolongs it, and what its pages are told (ASVS 7.3, 14.3)."""

from datetime import timedelta

import pytest
from django.urls import reverse

from gradation.services import clock
from tests import factories
from tests.security.at_the_door import RIGHT, is_in, knock

pytestmark = pytest.mark.django_db


@pytest.fixture
def person(db):
    factories.make_laboratory()
    return factories.technician()


def end_of_half_an_hour(client, name, args=()):
    """Ask one address in the 29th minute; say whether the session is there two minutes later."""
    began = clock.now()
    with clock.at(began + timedelta(minutes=29)):
        assert client.get(reverse(name, args=args)).status_code < 300
    with clock.at(began + timedelta(minutes=31)):
        return is_in(client)


@pytest.mark.parametrize(
    "name",
    ["bench:run-changes", "bench:drying-changes", "bench:person-show", "web:session-show"],
)
def test_s17_what_a_page_asks_by_itself_prolongs_nothing(client, person, name):
    about = {
        "bench:run-changes": factories.make_run,
        "bench:drying-changes": lambda _: factories.make_drying(),
    }
    args = [about[name](person).pk] if name in about else []
    knock(client, person.username, RIGHT)

    assert not end_of_half_an_hour(client, name, args)


@pytest.mark.parametrize("name", ["web:session-stay", "account:account-show"])
def test_s17_what_a_person_asks_prolongs_the_session(client, person, name):
    knock(client, person.username, RIGHT)

    assert end_of_half_an_hour(client, name)


def test_s17_a_page_is_told_how_long_its_session_lasts(client, person):
    with clock.at(clock.now().replace(microsecond=0)):
        began = clock.now()
        knock(client, person.username, RIGHT)

    def told(after, name="web:session-show"):
        with clock.at(began + after):
            said = client.get(reverse(name)).json()
        assert said["person"] == person.pk
        return said["left_s"], said["longest_s"]

    # 30 minutes without a request, 12 hours at most; a limit is passed one second later.
    half_hour, half_day = 30 * 60 + 1, 12 * 3600 + 1
    assert told(timedelta(0)) == (half_hour, half_day)
    assert told(timedelta(minutes=10)) == (half_hour - 600, half_day - 600)
    for minutes in range(20, 701, 20):
        told(timedelta(minutes=minutes), "web:session-stay")
    assert told(timedelta(minutes=710)) == (601, 601)  # the longest time comes first now
    with clock.at(began + timedelta(minutes=720, seconds=1)):
        assert client.get(reverse("web:session-show")).json()["kind"] == "sign-in"


@pytest.mark.parametrize("idle_s", [60, 1800])
def test_s17_who_asks_again_and_again_is_never_idle(client, person, settings, idle_s):
    settings.SESSION_IDLE_S = idle_s
    knock(client, person.username, RIGHT)
    began = clock.now()

    for n in range(1, 7):
        with clock.at(began + timedelta(seconds=n * idle_s * 0.49)):
            assert is_in(client), n


def test_s17_signing_out_clears_pages_kept_for_going_back_and_nothing_stored(client, person):
    knock(client, person.username, RIGHT)

    answer = client.post(reverse("web:sign-out"))

    assert answer["Clear-Site-Data"] == '"cache"'  # "storage" would take readings that wait
