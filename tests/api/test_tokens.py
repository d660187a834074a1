"""Tokens of client systems: what lets one in, what refuses it, what it leaves in the records."""

from datetime import timedelta
from urllib.parse import quote

import pytest
from django.urls import get_resolver, reverse

from gradation.api.tokens import scope_of
from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import ApiToken, LedgerEntry, Scope
from gradation.policy import Role
from gradation.services import clock, people, tokens
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner():
    factories.make_laboratory()
    return factories.reviewer()


@pytest.fixture
def made(owner):
    return factories.make_token(owner, scopes=[Scope.READ_SAMPLES])


def ask(client, text, name="api:samples", query="", **headers):
    sent = {"HTTP_AUTHORIZATION": f"Bearer {text}"} if text is not None else {}
    return client.get(reverse(name) + query, **sent, **headers)


def refusal(answer):
    assert answer["Content-Type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == answer.status_code
    return answer.status_code, body["type"].rpartition(":")[2]


def test_a_token_reads_what_its_scope_names(client, made):
    answer = ask(client, made.text)

    assert answer.status_code == 200
    assert answer["Cache-Control"] == "no-store"


def test_without_the_scope_it_is_403_and_without_a_token_401(client, made):
    assert refusal(ask(client, made.text, "api:due")) == (403, "scope-missing")
    without = ask(client, None)
    assert without.status_code == 401
    assert without["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "nothing",
        "abcdefghjk." + "A" * 43,
        "abcdefghjk." + "A" * 100_000,
        "abcdefghjk.%00" + "A" * 40,
        "abcdefghjk." + "A" * 43 + " more",
        "١٢٣٤٥٦٧٨٩٠." + "A" * 43,
    ],
)
def test_what_is_no_token_is_401_never_a_fault(client, made, text):
    answer = client.get(
        reverse("api:samples"),
        headers={"authorization": f"Bearer {text}".encode().decode("latin-1")},
    )

    assert answer.status_code == 401


def test_a_wrong_secret_is_401_and_says_no_more_than_an_unknown_token(client, made):
    public, _, secret = made.text.partition(".")
    wrong = ask(client, f"{public}.{secret[:-1]}{'A' if secret[-1] != 'A' else 'B'}")
    unknown = ask(client, f"{'z' * 10}.{secret}")

    assert refusal(wrong) == refusal(unknown) == (401, "token-refused")
    assert wrong.json() == unknown.json()


def test_expired_revoked_and_ownerless_tokens_are_401_at_the_next_request(client, owner, made):
    with clock.at(clock.now() + timedelta(days=31)):
        assert refusal(ask(client, made.text)) == (401, "token-refused")
    other = factories.make_token(owner, scopes=[Scope.READ_SAMPLES])
    assert ask(client, other.text).status_code == 200

    manager = factories.quality_manager()
    tokens.revoke_token(actor=manager, token=other.token, reason="The gateway was sold.")
    assert refusal(ask(client, other.text)) == (401, "token-refused")

    people.deactivate_person(actor=manager, person=owner, reason="Has left.")
    assert refusal(ask(client, made.text)) == (401, "token-refused")


def test_a_role_that_is_taken_away_is_missed_at_the_next_request(client, owner):
    made = factories.make_token(owner, scopes=[Scope.READ_EQUIPMENT])
    assert ask(client, made.text, "api:due").status_code == 200

    people.set_roles(
        actor=factories.quality_manager(), person=owner, roles=[], reason="Works elsewhere."
    )

    assert ask(client, made.text, "api:due").status_code == 403


@pytest.mark.parametrize("name", ["token", "access_token", "API_KEY", "bearer", "x"])
def test_a_token_in_the_address_is_400_also_for_who_is_signed_in(client, owner, made, name):
    query = f"?{name}={quote(made.text)}"

    assert refusal(ask(client, None, query=query)) == (400, "token-in-address")
    client.force_login(owner)
    assert refusal(ask(client, None, query=query)) == (400, "token-in-address")


def test_a_token_changes_nothing_where_it_may_only_read(client, owner):
    factories.make_sieve(600, serial="T-1")
    made = factories.make_token(
        factories.keeper(), scopes=[Scope.READ_EQUIPMENT, Scope.READ_SAMPLES]
    )

    answer = client.post(
        reverse("api:checks", args=["T-1"]),
        {},
        content_type="application/json",
        headers={"authorization": f"Bearer {made.text}"},
    )

    assert refusal(answer) == (403, "scope-missing")


def test_the_session_keeps_its_protection_against_foreign_forms(owner):
    from django.test import Client

    browser = Client(enforce_csrf_checks=True)
    browser.force_login(owner)

    answer = browser.post(reverse("api:gradations"), {}, content_type="application/json")

    assert refusal(answer)[0] == 403
    assert "CSRF" in answer.json()["detail"]


def test_a_token_needs_no_csrf_and_wins_over_the_session(owner):
    from django.test import Client

    made = factories.make_token(owner, scopes=[Scope.READ_GRADATIONS])
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(factories.quality_manager())

    answer = browser.post(
        reverse("api:gradations"),
        {"dry_mass_g": "1"},
        content_type="application/json",
        headers={"authorization": f"Bearer {made.text}"},
    )

    assert answer.status_code == 422


def test_the_secret_is_kept_nowhere(made):
    secret = made.text.partition(".")[2]
    token = ApiToken.objects.get()
    entry = LedgerEntry.objects.get(subject_type="apitoken")

    assert secret not in str(vars(token)) + str(vars(entry)) + repr(made)
    assert token.secret_digest not in str(vars(entry))
    assert len(token.secret_digest) == 64


def test_a_digest_of_another_key_opens_nothing_and_a_former_key_opens_once_more(
    client, made, settings
):
    former = settings.SECRET_KEY
    settings.SECRET_KEY = "another key of the same installation, made by chance"
    assert ask(client, made.text).status_code == 401

    settings.SECRET_KEY_FALLBACKS = [former]
    assert ask(client, made.text).status_code == 200
    settings.SECRET_KEY_FALLBACKS = []
    assert ask(client, made.text).status_code == 200  # its digest was renewed


def test_last_use_is_written_at_most_once_a_minute(client, made, django_assert_num_queries):
    start = clock.now()
    seen = []
    for seconds in (0, 30, 59, 61):
        with clock.at(start + timedelta(seconds=seconds)):
            ask(client, made.text)
        seen.append(ApiToken.objects.get().last_used_at)

    assert seen == [start, start, start, start + timedelta(seconds=61)]


def test_what_a_system_does_stands_in_the_ledger_as_it_acting_for_its_owner(client):
    keeper = factories.keeper()
    made = factories.make_token(keeper, scopes=[Scope.WRITE_EQUIPMENT])
    factories.make_sieve(600, serial="T-2")

    answer = client.post(
        reverse("api:checks", args=["T-2"]),
        {
            "kind": "visual",
            "performed_on": clock.today().isoformat(),
            "evidence": {"items": {"mesh taut": True}},
        },
        content_type="application/json",
        headers={"authorization": f"Bearer {made.text}"},
        REMOTE_ADDR="192.0.2.7",
    )

    assert answer.status_code == 201, answer.content
    entry = LedgerEntry.objects.filter(subject_type="check").get()
    assert (entry.actor, entry.door) == (keeper, f"token {made.token.public_id}")
    assert entry.address == "192.0.2.7"
    assert entry.request_id


def test_only_quality_managers_make_and_revoke_and_a_reason_is_kept(owner):
    wanted = tokens.Wanted("x", owner, [Scope.READ_RUNS], 1)
    with pytest.raises(NotAllowed):
        tokens.create_token(actor=factories.signatory(), wanted=wanted)
    manager = factories.quality_manager()
    made = tokens.create_token(actor=manager, wanted=wanted)
    with pytest.raises(NotAllowed):
        tokens.revoke_token(actor=owner, token=made.token, reason="x")
    with pytest.raises(Invalid, match="Say why"):
        tokens.revoke_token(actor=manager, token=made.token, reason=" ")
    tokens.revoke_token(actor=manager, token=made.token, reason="Lost.")
    with pytest.raises(Conflict, match="already revoked"):
        tokens.revoke_token(actor=manager, token=made.token, reason="Lost.")
    entries = LedgerEntry.objects.filter(subject_type="apitoken").order_by("id")
    assert [(entry.action, entry.reason) for entry in entries] == [
        ("token made", ""),
        ("token revoked", "Lost."),
    ]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"scopes": []}, "scopes"),
        ({"scopes": ["everything"]}, "scopes"),
        ({"valid_days": 0}, "valid_days"),
        ({"valid_days": 731}, "valid_days"),
        ({"name": "  "}, "name"),
    ],
)
def test_a_token_without_bounds_is_not_made(owner, changed, field):
    with pytest.raises(Invalid) as refused:
        factories.make_token(owner, **changed)

    assert [fault.field for fault in refused.value.faults] == [field]
    assert not ApiToken.objects.exists()


def test_nobody_acts_for_a_closed_account(owner):
    people.deactivate_person(actor=factories.quality_manager(), person=owner, reason="Left.")
    owner.refresh_from_db()

    with pytest.raises(Invalid, match="closed"):
        factories.make_token(owner)


def test_every_address_of_the_interface_names_the_scope_that_it_needs(rf):
    methods = ("GET", "POST", "PUT", "PATCH", "DELETE")
    unnamed = [
        (pattern.name, method)
        for pattern in get_resolver("gradation.api.urls").url_patterns
        for method in methods
        if (view := getattr(pattern.callback, "view_class", None))  # the others are pages
        and view.area != "interface"  # the contract is for every token
        and hasattr(view, method.lower())
        and scope_of(rf.generic(method, "/"), view) is None
    ]

    assert unnamed == []


def test_a_customers_token_shows_their_own_samples_only(client):
    mine = factories.make_customer()
    person = factories.make_person(Role.CUSTOMER, customer=mine)
    own, _ = factories.make_sample(customer=mine), factories.make_sample()
    made = factories.make_token(person, scopes=[Scope.READ_SAMPLES])

    shown = ask(client, made.text).json()["results"]

    assert [row["number"] for row in shown] == [own.number]
