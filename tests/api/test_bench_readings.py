"""The door for balances: every line answered for, none lost, none taken twice."""

import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connections
from django.urls import reverse

from gradation.models import BalanceReading, LedgerEntry, Scope, Weighing
from gradation.services import balance_readings, clock, upkeep
from gradation.services.balance_readings import Field
from tests import factories

pytestmark = pytest.mark.django_db
Outcome = BalanceReading.Outcome


@pytest.fixture
def link(db):
    bench = factories.make_bench(name="Sieve room / east")
    return factories.make_balance_link(factories.make_instrument("balance", serial="B-7"), bench)


@pytest.fixture
def made(link):
    return factories.make_token(factories.keeper())


@pytest.fixture
def run(link):
    return factories.make_run(bench=link.bench)


def name(link, run, position=1):
    field = Field(run, "fraction", position)
    balance_readings.name_place(actor=run.technician, bench=link.bench, field=field)


def line(text="12.34 g", **values):
    return {"balance": "B-7", "line": text, "key": str(uuid4()), **values}


def post(client, made, body, bench="Sieve room / east"):
    return client.post(
        reverse("api:bench-readings", args=[bench]),
        body,
        content_type="application/json",
        headers={"authorization": f"Bearer {made.text}"},
    )


def test_a_line_is_placed_and_the_token_stands_beside_it(client, made, link, run):
    name(link, run)

    answer = post(client, made, line())

    weighing = Weighing.objects.get()
    assert answer.status_code == 201
    assert answer.json() | {"key": ""} == {
        "key": "", "outcome": "placed", "code": "", "reason": "", "mass_g": "12.34",
        "run": run.pk, "weighing": weighing.pk, "drying": None, "drying_mass": None,
    }  # fmt: skip
    reading = BalanceReading.objects.get()
    assert reading.token == made.token
    entry = LedgerEntry.objects.get(action="balance reading placed")
    assert (entry.actor, entry.door) == (made.token.owner, f"token {made.token.public_id}")
    kept = LedgerEntry.objects.get(action="reading recorded")
    assert kept.request_id == entry.request_id


def test_a_repeated_line_is_answered_alike_and_kept_once(client, made, link, run):
    name(link, run)
    sent = line()

    first, again = post(client, made, sent), post(client, made, sent)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert BalanceReading.objects.count() == Weighing.objects.count() == 1


def test_a_line_that_finds_no_field_is_accepted_and_waits(client, made):
    answer = post(client, made, line())

    assert answer.status_code == 202
    assert (answer.json()["outcome"], answer.json()["code"]) == ("waiting", "no-place")


@pytest.mark.parametrize(
    ("sent", "status", "code"),
    [
        ({"line": "12.3"}, 422, "unstable"),
        ({"line": "OL"}, 422, "overloaded"),
        ({"line": "\\xff"}, 422, "unreadable"),
        ({"balance": "B-8"}, 409, "unknown-balance"),
    ],
)
def test_a_refused_line_is_a_problem_and_is_kept(client, made, sent, status, code):
    answer = post(client, made, line(**sent))

    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == f"urn:gradation:problem:{code}"
    assert answer.json()["reading"]["outcome"] == "refused"
    assert BalanceReading.objects.get().code == code


def test_an_unknown_or_given_up_bench_is_409(client, made, link):
    assert post(client, made, line(), bench="Kitchen").status_code == 409
    upkeep.retire_bench(actor=factories.keeper(), bench=link.bench, reason="Room closed.")

    assert post(client, made, line()).status_code == 409


def test_a_balance_out_of_service_is_409(client, made, link):
    upkeep.take_out_of_service(actor=factories.keeper(), item=link.balance, reason="Dropped.")

    assert post(client, made, line()).status_code == 409


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"key": "1"}, "key"),
        ({"key": None}, "key"),
        ({"line": 7.5}, None),
        ({"line": ""}, "line"),
        ({"line": "1" * 201}, "line"),
        ({"line": "1\x00 g"}, "line"),
        ({"line": {"a": 1}}, "line"),
        ({"balance": ["B-7"]}, "balance"),
        ({"balance": "B" * 41}, "balance"),
        ({"observed_at": "yesterday"}, "observed_at"),
        ({"observed_at": "NaN"}, "observed_at"),
    ],
)
def test_what_has_no_form_is_400_with_its_field_and_never_a_fault(client, made, sent, field):
    answer = post(client, made, line(**sent))

    if field is None:
        assert answer.status_code < 500
        return
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [f"/{field}"]


@pytest.mark.parametrize(
    "text", ["1e400 g", "NaN g", "Infinity g", "9" * 70 + " g", "١٢ g", "0." + "1" * 60 + " g"]
)
def test_a_number_that_is_none_is_refused_and_kept(client, made, text):
    answer = post(client, made, line(text))

    assert answer.status_code == 422
    assert BalanceReading.objects.get().raw_text == text


@pytest.mark.parametrize(
    ("observed_at", "sent_at"),
    [
        ("0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"),
        ("9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z"),
        ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"),
    ],
)
def test_an_impossible_clock_is_no_fault(client, made, observed_at, sent_at):
    answer = post(client, made, line(observed_at=observed_at, sent_at=sent_at))

    assert answer.status_code in {202, 400}


@pytest.mark.parametrize(
    "body",
    ["[", '"x"', "null", "7", "[[]]", "[null]", '[{"key": 1}]', '{"key": 1e999, "line": Infinity}'],
)
def test_a_body_of_another_form_is_answered_never_a_fault(client, made, body):
    answer = post(client, made, body)

    assert answer.status_code in {200, 400}
    if answer.status_code == 200:
        assert [one["outcome"] for one in answer.json()["results"]] == ["not kept"]


def test_a_list_is_answered_line_by_line(client, made, link, run):
    name(link, run)
    good, clash, unstable = line("1.0 g"), line("2.0 g"), line("3.0")
    reused = {**good, "line": "9.0 g"}

    answer = post(client, made, [good, clash, unstable, {"key": "x"}, reused])

    results = answer.json()["results"]
    assert answer.status_code == 200
    assert [(one["outcome"], one["status"]) for one in results] == [
        ("placed", 201), ("waiting", 202), ("refused", 422), ("not kept", 400), ("not kept", 409),
    ]  # fmt: skip
    assert [one["key"] for one in results[:3]] == [it["key"] for it in (good, clash, unstable)]


def test_more_than_a_hundred_at_once_are_sent_in_parts(client, made):
    assert post(client, made, [line() for _ in range(101)]).status_code == 422
    assert not BalanceReading.objects.exists()


def test_a_token_without_the_scope_or_of_another_bench_is_403(client, made, link):
    reads = factories.make_token(factories.keeper(), scopes=[Scope.READ_BENCH_READINGS])
    elsewhere = factories.make_token(factories.keeper(), bench=factories.make_bench())
    powerless = factories.make_token(factories.reviewer())

    assert [post(client, token, line()).status_code for token in (reads, elsewhere, powerless)] == [
        403
    ] * 3
    assert not BalanceReading.objects.exists()


def test_a_bench_says_its_field_its_balances_and_what_waits(client, made, link, run):
    headers = {"authorization": f"Bearer {made.text}"}
    post(client, made, line())
    empty = client.get(reverse("api:bench", args=[link.bench.pk]), headers=headers).json()
    name(link, run, position=3)

    told = client.get(reverse("api:bench", args=[link.bench.name]), headers=headers).json()

    assert (empty["place"], empty["waiting"]) == (None, 1)
    assert told["name"] == link.bench.name
    assert told["place"]["position"] == 3
    assert told["place"]["person"] == str(run.technician)
    assert [(it["serial"], it["form"]) for it in told["balances"]] == [("B-7", "number_unit")]


@pytest.mark.django_db(transaction=True)
def test_one_key_from_eight_sides_at_once_is_one_reading(live_server, client):
    factories.make_laboratory()
    link = factories.make_balance_link(factories.make_instrument("balance", serial="B-7"))
    run = factories.make_run(bench=link.bench)
    name(link, run)
    sent = line()
    made = factories.make_token(factories.keeper())
    statuses = []

    def send():
        from django.test import Client

        answer = post(Client(), made, sent, bench=link.bench.name)
        statuses.append(answer.status_code)
        connections.close_all()

    threads = [threading.Thread(target=send) for _ in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()

    assert sorted(statuses) == [200] * 7 + [201]
    assert BalanceReading.objects.count() == Weighing.objects.count() == 1


def test_a_reading_that_waited_for_the_network_says_when_it_was_weighed(client, made, link, run):
    name(link, run)
    now = clock.now()
    late = {"observed_at": (now - timedelta(hours=2)).isoformat(), "sent_at": now.isoformat()}

    answer = post(client, made, line(**late))

    assert (answer.status_code, answer.json()["code"]) == (202, "weighed-earlier")
