"""Sessions, codes, links and roles under attack: what was kept, used or taken opens nothing."""

import threading
from datetime import timedelta
from urllib.parse import urljoin, urlsplit

import pytest
from django.core import mail
from django.db import connections
from django.test import Client
from django.urls import reverse

from gradation.errors import Conflict, Invalid, NotAllowed, TooMany
from gradation.models import (
    LedgerEntry,
    PersonSession,
    RecoveryCode,
    SecondFactor,
    User,
)
from gradation.policy import Role
from gradation.services import accounts, clock, identity, people, second_factor
from gradation.services.people import system_account
from tests import factories
from tests.security.at_the_door import RIGHT, WRONG, code_of, is_in, knock, with_factor

pytestmark = pytest.mark.django_db
ARGON2 = ["django.contrib.auth.hashers.Argon2PasswordHasher"]


@pytest.fixture
def person(db):
    factories.make_laboratory()
    return factories.technician()


def in_turn(count, act):
    return [act(number) for number in range(count)]


def test_s16_the_session_has_a_new_name_after_signing_in(client, person):
    client.session.save()
    before = client.session.session_key

    knock(client, person.username, RIGHT)

    assert client.session.session_key != before


def test_s16_a_cookie_kept_from_before_signing_out_opens_nothing(client, person):
    knock(client, person.username, RIGHT)
    kept = client.cookies["sessionid"].value
    client.post(reverse("web:sign-out"))
    thief = Client()
    thief.cookies["sessionid"] = kept

    assert not is_in(thief)
    assert PersonSession.objects.get().end_reason == "signed out"


def test_s16_other_sessions_end_when_the_password_changes(client, person):
    elsewhere = Client()
    knock(elsewhere, person.username, RIGHT)
    knock(client, person.username, RIGHT)
    new = "a wholly new sentence for it"

    client.post(reverse("account:password-set"), {"old": RIGHT, "new": new, "again": new})

    assert is_in(client)
    assert not is_in(elsewhere)


def test_s17_a_session_ends_when_idle_for_half_an_hour(client, person):
    knock(client, person.username, RIGHT)
    began = clock.now()

    with clock.at(began + timedelta(minutes=29)):
        assert is_in(client)
    with clock.at(began + timedelta(minutes=58)):
        assert is_in(client)  # the request at 29 minutes counted
    with clock.at(began + timedelta(minutes=89)):
        assert not is_in(client)


def test_s17_no_session_outlives_twelve_hours(client, person):
    knock(client, person.username, RIGHT)
    began = clock.now()

    for minutes in range(20, 12 * 60, 20):
        with clock.at(began + timedelta(minutes=minutes)):
            assert is_in(client), minutes
    with clock.at(began + timedelta(hours=12, minutes=1)):
        assert not is_in(client)


def test_s17_a_reading_sent_after_the_session_ended_is_kept_in_the_browser(client, person):
    run = factories.make_run(person)
    knock(client, person.username, RIGHT)
    with clock.at(clock.now() + timedelta(hours=1)):
        answer = client.post(reverse("bench:reading-record", args=[run.pk]))

    assert answer.status_code == 401
    assert answer.json()["kind"] == "sign-in"  # upon which the page's script keeps the reading


def test_s19_a_second_factor_is_asked_for_and_a_code_works_once(client, person):
    with_factor(person)
    code = code_of(person)

    first = knock(client, person.username, RIGHT)
    assert first["Location"] == reverse("web:code-give")
    assert not is_in(client)
    assert client.post(first["Location"], {"code": code}).status_code == 302
    assert is_in(client)

    again = Client()
    knock(again, person.username, RIGHT)
    assert again.post(reverse("web:code-give"), {"code": code}).status_code == 403
    assert not is_in(again)


@pytest.mark.parametrize("steps", [-3, 3, 100])
def test_s19_a_code_of_another_time_is_refused(client, person, steps):
    with_factor(person)
    knock(client, person.username, RIGHT)

    answer = client.post(reverse("web:code-give"), {"code": code_of(person, steps=steps)})

    assert answer.status_code == 403
    assert LedgerEntry.objects.filter(action="code refused").count() == 1


def test_s19_codes_are_not_guessed(client, person):
    with_factor(person)
    knock(client, person.username, RIGHT)

    statuses = in_turn(
        7, lambda n: client.post(reverse("web:code-give"), {"code": f"{n:06d}"}).status_code
    )

    assert statuses[:5] == [403] * 5
    assert statuses[5:] == [429] * 2


def test_s19_a_recovery_code_opens_once(client, person):
    codes = with_factor(person)
    knock(client, person.username, RIGHT)

    assert client.post(reverse("web:code-give"), {"code": codes[3].upper()}).status_code == 302

    again = Client()
    knock(again, person.username, RIGHT)
    assert again.post(reverse("web:code-give"), {"code": codes[3]}).status_code == 403


def test_s19_signatories_set_a_factor_up_first_where_the_laboratory_asks(client, db):
    factories.make_laboratory(second_factor_required=True)
    signatory = factories.signatory()

    knock(client, signatory.username, RIGHT)

    home = client.get(reverse("web:home"))
    assert home["Location"] == reverse("account:factor-set-up")
    with pytest.raises(Conflict, match="second factor"):
        identity.confirm_identity(actor=signatory, password=RIGHT)
    with_factor(signatory)
    identity.confirm_identity(actor=signatory, password=RIGHT, code=code_of(signatory))


@pytest.mark.django_db(transaction=True)
def test_s49_twenty_uses_of_one_code_at_once_succeed_once():
    factories.make_laboratory()
    person = factories.technician()
    with_factor(person)
    code, taken, lock = code_of(person), [], threading.Lock()

    def at_once():
        from gradation.services.factor_codes import take_code

        found = take_code(User.objects.get(pk=person.pk), code)
        connections.close_all()
        with lock:
            taken.append(found)

    threads = [threading.Thread(target=at_once) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(taken) == [False] * 19 + [True]


def test_s20_acts_on_the_account_want_the_password_typed_lately(client, person):
    knock(client, person.username, RIGHT)
    with clock.at(clock.now() + timedelta(minutes=11)):
        looked = client.get(reverse("account:email-set"))
        sent = client.post(reverse("account:email-set"), {"email": "thief@example.org"})

        assert looked["Location"].startswith(reverse("account:identity-confirm"))
        assert sent.status_code == 403
        client.post(looked["Location"], {"password": RIGHT})
        sent = client.post(reverse("account:email-set"), {"email": "mine@example.org"})

    person.refresh_from_db()
    assert sent.status_code == 302
    assert person.email == "mine@example.org"


@pytest.mark.parametrize(
    "name",
    ["account:factor-drop", "account:recovery-renew", "account:factor-set-up", "account:email-set"],
)
def test_s20_each_such_act_is_refused_without_a_fresh_password(client, person, name):
    knock(client, person.username, RIGHT)

    with clock.at(clock.now() + timedelta(minutes=11)):
        assert client.post(reverse(name), {"code": "1", "reason": "x"}).status_code == 403


def link_for(person):
    path = accounts.make_reset_path(person, "/sign-in/reset/{who}/{token}/")
    new = {"new": "an entirely other sentence", "again": "an entirely other sentence"}
    return path, new


def test_s21_a_reset_link_works_once(client, person):
    path, new = link_for(person)

    assert client.post(path, new).status_code == 302
    assert client.post(path, new).status_code == 403
    assert knock(client, person.username, new["new"]).status_code == 302


def test_s21_a_reset_link_is_dead_after_an_hour(client, person, monkeypatch):
    from django.contrib.auth.tokens import PasswordResetTokenGenerator

    path, new = link_for(person)
    real = PasswordResetTokenGenerator._now
    later = timedelta(hours=1, seconds=1)
    monkeypatch.setattr(PasswordResetTokenGenerator, "_now", lambda self: real(self) + later)

    assert client.post(path, new).status_code == 403


@pytest.mark.parametrize("path", ["/sign-in/reset/MQ/abc-def/", "/sign-in/reset/!!/x/"])
def test_s21_an_invented_link_is_dead(client, person, path):
    new = {"new": "an entirely other sentence", "again": "an entirely other sentence"}

    assert client.post(path, new).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_s21_the_link_leads_to_the_configured_address_and_a_forged_host_is_refused(settings):
    settings.BASE_URL = "https://lab.example.org"
    factories.make_laboratory()
    factories.make_person(Role.TECHNICIAN, username="owner", email="owner@example.org")

    forged = Client().post(
        reverse("web:reset-ask"), {"username": "owner"}, headers={"host": "evil.example"}
    )
    asked = Client().post(
        reverse("web:reset-ask"),
        {"username": "owner"},
        headers={"x-forwarded-host": "evil.example"},
    )

    assert (forged.status_code, asked.status_code) == (400, 200)
    assert len(mail.outbox) == 1
    assert "https://lab.example.org/sign-in/reset/" in mail.outbox[0].body
    assert "evil" not in mail.outbox[0].body


def test_s22_a_stolen_database_holds_no_secret_that_opens_anything(person):
    codes = with_factor(person)
    from gradation.services.factor_codes import secret_of

    secret = secret_of(SecondFactor.objects.get(person=person))
    kept = str(
        [
            *User.objects.values(),
            *SecondFactor.objects.values(),
            *RecoveryCode.objects.values(),
            *LedgerEntry.objects.values(),
        ]
    )

    assert secret not in kept
    assert RIGHT not in kept
    assert not any(code in kept or code.replace("-", "") in kept for code in codes)


def test_r99_s22_passwords_are_kept_by_a_slow_hash():
    from labsite.settings import base

    assert base.PASSWORD_HASHERS[0] == ARGON2[0]


def test_s08_a_closed_account_is_out_at_its_next_request(client, person):
    knock(client, person.username, RIGHT)
    people.deactivate_person(actor=factories.quality_manager(), person=person, reason="left")

    assert not is_in(client)
    assert client.get("/api/v1/samples").status_code in {401, 403}


def test_s08_a_role_that_was_taken_is_missed_at_the_next_request(client, person):
    knock(client, person.username, RIGHT)
    assert client.get(reverse("intake:sample-log")).status_code == 200

    people.set_roles(
        actor=factories.quality_manager(), person=person, roles=[Role.AUDITOR], reason="moved"
    )

    assert client.get(reverse("intake:sample-log")).status_code == 403


def test_s34_only_pages_of_this_site_are_gone_on_to(person):
    for elsewhere in (
        "https://evil.example/", "//evil.example", "///evil.example", "\\\\evil.example",
        "/\\evil.example", "http:evil.example", "javascript:alert(1)", "\t//evil.example",
        "https:///evil.example", "%2f%2fevil.example",
    ):  # fmt: skip
        answer = knock(Client(), person.username, RIGHT, goes_to=elsewhere)
        goes_to = urljoin("http://testserver/sign-in/", answer["Location"].replace("\\", "/"))
        assert urlsplit(goes_to).netloc == "testserver", elsewhere
    inside = knock(Client(), person.username, RIGHT, goes_to="/bench/")
    assert inside["Location"] == "/bench/"


def test_r49_r63_a_leavers_name_and_address_are_never_given_out_again(person):
    manager = factories.quality_manager()
    leaver = factories.make_person(Role.TECHNICIAN, username="leaver", email="leaver@example.org")
    people.deactivate_person(actor=manager, person=leaver, reason="left")

    for values in ({"username": "leaver"}, {"username": "new", "email": "Leaver@example.org"}):
        with pytest.raises(Invalid):
            people.add_person(
                actor=manager,
                person=User(full_name="Somebody New", **values),
                password=RIGHT,
                roles=[Role.TECHNICIAN],
            )


def test_r64_a_signature_needs_the_password_each_time(person):
    with pytest.raises(NotAllowed, match="not yours"):
        identity.confirm_identity(actor=person, password="")


def test_r65_a_password_that_a_manager_chose_signs_nothing(client, person):
    added = people.add_person(
        actor=factories.quality_manager(),
        person=User(username="added", full_name="Added Person"),
        password=RIGHT,
        roles=[Role.SIGNATORY],
    )

    with pytest.raises(Conflict, match="Somebody else knows"):
        identity.confirm_identity(actor=added, password=RIGHT)

    knock(client, "added", RIGHT)
    assert client.get(reverse("web:home"))["Location"] == reverse("account:password-set")
    new = "my own sentence from now on"
    client.post(reverse("account:password-set"), {"old": RIGHT, "new": new, "again": new})
    identity.confirm_identity(actor=User.objects.get(username="added"), password=new)


@pytest.mark.django_db(transaction=True)
def test_r66_five_refused_signatures_are_told_at_once():
    factories.make_laboratory()
    factories.make_person(Role.QUALITY_MANAGER, email="quality@example.org")
    signatory = factories.signatory()

    for _ in range(5):
        with pytest.raises(NotAllowed):
            identity.confirm_identity(actor=signatory, password=WRONG)

    entries = LedgerEntry.objects.filter(action="signature refused")
    assert [entry.after["in a row"] for entry in entries] == [1, 2, 3, 4, 5]
    assert [message.to for message in mail.outbox] == [["quality@example.org"]]
    with pytest.raises(TooMany):
        identity.confirm_identity(actor=signatory, password=RIGHT)


def test_r99_a_lost_factor_is_dead_at_once_and_its_replacement_is_recorded(client, person):
    with_factor(person)
    code = code_of(person)
    second_factor.revoke_factor(
        actor=factories.quality_manager(), person=person, reason="phone lost"
    )

    with_factor(person)
    knock(client, person.username, RIGHT)
    assert client.post(reverse("web:code-give"), {"code": code}).status_code == 403
    actions = list(
        LedgerEntry.objects.filter(subject_type="secondfactor").values_list("action", flat=True)
    )
    assert actions == [
        "second factor begun", "second factor set up", "second factor revoked",
        "second factor begun", "second factor set up",
    ]  # fmt: skip


def test_a_session_is_ended_by_the_manager_and_by_its_owner(client, person):
    manager = factories.quality_manager()
    knock(client, person.username, RIGHT)
    office = Client()
    knock(office, manager.username, RIGHT)
    session = PersonSession.objects.get(person=person)

    office.post(reverse("settings:session-end", args=[session.pk]))

    assert not is_in(client)
    assert is_in(office)


def test_nobody_ends_anothers_session_as_an_owner(client, person):
    other = factories.technician()
    knock(Client(), other.username, RIGHT)
    session = PersonSession.objects.get(person=other)
    knock(client, person.username, RIGHT)

    assert client.post(reverse("account:session-end", args=[session.pk])).status_code == 404
    session.refresh_from_db()
    assert session.ended_at is None


def test_nobody_opens_the_account_of_the_installation_itself(person):
    manager, system = factories.quality_manager(), system_account()

    with pytest.raises(Conflict, match="own account"):
        accounts.open_password(actor=manager, person=system, path="/{who}/{token}/", reason="x")
    with pytest.raises(Conflict, match="own account"):
        people.set_roles(actor=manager, person=system, roles=[], reason="x")
    path = accounts.make_reset_path(system, "/sign-in/reset/{who}/{token}/")
    new = {"new": "an entirely other sentence", "again": "an entirely other sentence"}
    assert Client().post(path, new).status_code == 403


def test_s16_the_session_has_a_new_name_after_the_password_was_typed_again(
    client, person, settings
):
    knock(client, person.username, RIGHT)
    former = client.session.session_key
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = former

    client.post(reverse("account:identity-confirm"), {"password": RIGHT})

    assert client.session.session_key != former
    assert is_in(client)
    assert not is_in(thief)
    session = PersonSession.objects.get(person=person)
    assert session.session_key == client.session.session_key
    assert LedgerEntry.objects.filter(action="identity confirmed").count() == 1


def test_s20_ending_a_session_wants_the_password_typed_lately(client, person):
    knock(client, person.username, RIGHT)
    session = PersonSession.objects.get(person=person)

    with clock.at(clock.now() + timedelta(minutes=11)):
        late = client.post(reverse("account:session-end", args=[session.pk]))

    session.refresh_from_db()
    assert late.status_code == 403
    assert session.ended_at is None


def test_s20_a_new_password_wants_the_present_one(client, person):
    knock(client, person.username, RIGHT)
    new = {"new": "an entirely other sentence", "again": "an entirely other sentence"}

    client.post(reverse("account:password-set"), {"old": WRONG, **new})
    person.refresh_from_db()

    assert person.check_password(RIGHT)
    with pytest.raises(NotAllowed):
        accounts.change_password(actor=person, old=WRONG, new=new["new"])


def test_s21_a_reset_link_lets_nobody_past_the_second_factor(client, person):
    with_factor(person)
    path, new = link_for(person)

    client.post(path, new)
    after_reset = is_in(client)
    knock(client, person.username, new["new"])

    assert not after_reset
    assert not is_in(client)  # the code is still to come
