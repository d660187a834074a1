"""What the bench's script is answered: kept, refused for good, or asked again; and what is new."""

import re
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from gradation.models import Weighing
from gradation.policy import Role
from gradation.web.exchange import FORM
from tests import factories

SCRIPT = Path(__file__).resolve().parents[2] / "static" / "js" / "bench_sync.js"
FRAME_QUERIES = 4  # session, person, laboratory, roles: as for every page
MOST_QUERIES_WHEN_NOTHING_CHANGED = 3


@pytest.fixture
def run(db):
    return factories.make_run()


@pytest.fixture
def bench(client, run):
    client.force_login(run.technician)
    return client


def record(client, run, text="500", slot="dry mass", position=0, **more):
    headers = more.pop("headers", {})
    sent = {"slot": slot, "position": position, "text": text, "key": uuid4(), **more}
    return client.post(reverse("bench:reading-record", args=[run.pk]), sent, headers=headers)


def changes(client, run, **known):
    return client.get(reverse("bench:run-changes", args=[run.pk]), known)


def test_a_reading_is_acknowledged_by_its_key_with_what_it_changes(bench, run):
    key = uuid4()

    told = record(bench, run, key=key, observed_at="2026-11-24T14:02:11.250Z").json()

    assert (told["kind"], told["key"]) == ("kept", str(key))
    assert {"live", "cell-dry-mass-0"} <= told["parts"].keys()
    assert told["news"] == []
    kept = Weighing.objects.get()
    assert told["last"] == kept.pk
    assert kept.observed_at.isoformat() == "2026-11-24T14:02:11.250000+00:00"
    assert kept.made_at > kept.observed_at


def test_a_clients_clock_that_makes_no_sense_does_not_cost_the_reading(bench, run):
    answer = record(bench, run, observed_at="yesterday, about noon")

    assert answer.json()["kind"] == "kept"
    assert Weighing.objects.get().observed_at is None


def test_a_clash_names_both_values_and_who_and_when(client, bench, run):
    record(bench, run, "101.0", "fraction", 3)
    second = factories.make_person(Role.TECHNICIAN, full_name="Tobin Aske")
    client.force_login(second)

    answer = record(client, run, "103.0", "fraction", 3)

    assert answer.status_code == 409
    told = answer.json()
    assert (told["kind"], told["where"]) == ("clash", "fraction-3")
    assert told["theirs"]["mass"] == "101.0"
    assert told["theirs"]["by"] == str(run.technician)
    assert re.fullmatch(r"\d\d:\d\d", told["theirs"]["at"])


def test_a_correction_replaces_only_the_value_that_was_seen(bench, run):
    first = record(bench, run, "101.0", "fraction", 3).json()["pk"]
    record(bench, run, "102.0", "fraction", 3, reason="misread", over=first)

    late = record(bench, run, "103.0", "fraction", 3, reason="misread too", over=first)

    assert (late.status_code, late.json()["kind"]) == (409, "clash")
    assert late.json()["theirs"]["mass"] == "102.0"
    assert [row.entered_text for row in run.weighings.order_by("pk")] == ["101.0", "102.0"]


def test_a_reading_of_one_person_is_not_kept_under_anothers_name(bench, run):
    answer = record(bench, run, person=run.technician.pk + 1)

    assert (answer.status_code, answer.json()["kind"]) == (409, "other-person")
    assert not run.weighings.exists()


def test_a_reading_that_is_kept_already_is_acknowledged_to_whoever_sends_it_again(bench, run):
    key = uuid4()
    record(bench, run, key=key, person=run.technician.pk)
    bench.force_login(factories.technician())

    answer = record(bench, run, key=key, person=run.technician.pk)

    assert (answer.status_code, answer.json()["kind"]) == (200, "kept")
    assert run.weighings.get().made_by == run.technician


def test_who_is_not_signed_in_hears_where_to_sign_in(client, run):
    answer = record(client, run)

    assert (answer.status_code, answer.json()["kind"]) == (401, "sign-in")
    assert answer.json()["url"] == reverse("web:sign-in")


def test_f30_a_page_of_another_form_is_asked_to_reload_and_keeps_what_was_typed(bench, run):
    answer = record(bench, run, headers={"X-Bench-Form": "0"})

    assert (answer.status_code, answer.json()["kind"]) == (409, "reload")
    assert not run.weighings.exists()


def test_script_and_server_ask_in_the_same_form():
    assert re.search(r'const EXCHANGE = "(\w+)"', SCRIPT.read_text())[1] == FORM


@pytest.mark.parametrize("missing", ["key", "slot"])
def test_what_is_no_reading_at_all_is_refused_for_good(bench, run, missing):
    answer = record(bench, run, **{missing: ""})

    assert (answer.status_code, answer.json()["kind"]) == (400, "malformed")


def test_nothing_new_costs_next_to_nothing(bench, run):
    last = record(bench, run).json()["last"]
    known = {"since": last, "version": run.version}

    with CaptureQueriesContext(connection) as queries:
        answer = changes(bench, run, **known)

    assert (answer.status_code, answer.content) == (204, b"")
    assert len(queries) <= FRAME_QUERIES + MOST_QUERIES_WHEN_NOTHING_CHANGED


def test_what_is_new_is_told_with_the_value_before(bench, run):
    first = record(bench, run, "101.0", "fraction", 3).json()["last"]
    record(bench, run, "10", "fraction", 1)
    record(bench, run, "103.0", "fraction", 3, reason="misread", over=first)

    told = changes(bench, run, since=first, version=run.version).json()

    new = [(row["where"], row["was"], row["mass"]) for row in told["news"]]
    assert new == [("fraction-1", "", "10"), ("fraction-3", "101.0", "103.0")]
    assert "cell-fraction-1" in told["parts"]
    assert "cell-fraction-2" not in told["parts"]


def test_a_run_that_changed_its_state_is_news(bench, run):
    factories.weigh(run)
    last = Weighing.objects.order_by("-pk").first().pk

    told = changes(bench, run, since=last, version=run.version + 1).json()

    assert (told["kind"], told["state"], told["version"]) == ("changed", "open", run.version)


@pytest.mark.parametrize("since", ["-1", "none", "9" * 30])
def test_a_page_that_does_not_know_what_it_knows_is_told_everything(bench, run, since):
    record(bench, run)

    assert [row["mass"] for row in changes(bench, run, since=since).json()["news"]] == ["500"]


def test_the_one_who_is_signed_in_gets_a_token(bench, run):
    told = bench.get(reverse("bench:person-show")).json()

    assert told["person"] == {"pk": run.technician.pk, "name": str(run.technician)}
    assert told["token"]


def code(client, text):
    return client.get(reverse("bench:code-find"), {"q": text}).json()


def test_a_code_is_told_by_what_it_names(bench, run):
    sieve = run.places.first().sieve
    portion = run.portion

    assert (code(bench, sieve.serial)["kind"], code(bench, sieve.serial)["what"]) == (
        "equipment",
        "sieve",
    )
    assert code(bench, portion.label)["kind"] == "portion"
    only = code(bench, portion.sample.number)
    assert (only["kind"], only["key"]) == ("portion", portion.label)
    factories.make_portion(run.technician, portion.sample)
    assert code(bench, portion.sample.number)["kind"] == "sample"
    assert code(bench, run.bench.name.lower())["kind"] == "bench"
    assert code(bench, "QX-70071") == {
        "kind": "unknown",
        "message": "QX-70071 is on no label of this laboratory.",
    }


def test_g12_a_reading_costs_no_more_queries_late_in_a_run_and_beside_other_benches(bench, run):
    """The second reading, and the last ones while three more benches work. The first reading after
    a procedure was added reads the procedures anew; it is not counted."""
    costs = {}
    for position in range(1, 7):
        if position == 3:
            for _ in range(3):
                factories.weigh(factories.make_run())
        with CaptureQueriesContext(connection) as queries:
            answer = record(bench, run, "10.0", "fraction", position)
        assert answer.json()["kind"] == "kept"
        costs[position] = len(queries)

    assert costs[2] == costs[4] == costs[5], costs
