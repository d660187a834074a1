"""What every address of the interface keeps to: keys, states, filters, pages, fields, limits."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.urls import reverse

from gradation.api.documentation import contract, problem_types
from gradation.api.equipment import DueList
from gradation.models import (
    ApiToken,
    Certificate,
    InterfaceKey,
    LedgerEntry,
    Run,
    Sample,
    Scope,
)
from gradation.policy import Role
from gradation.services import clock, interface_calls, interface_keys
from tests import factories

pytestmark = pytest.mark.django_db
SNAPSHOT = Path(__file__).with_name("openapi.json")
JSON = "application/json"
#: Use-cases that no address of the interface calls; see test_everything_is_offered.py.
BEYOND_THE_INTERFACE = {
    *("accounts", "archive_file", "archive_writing", "backup", "history_export", "identity"),
    *("maintenance", "second_factor", "set_up", "sign_in", "webhooks"),
}


@pytest.fixture
def technician(client):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


@pytest.fixture
def delivery():
    return {
        "customer": factories.make_customer().name,
        "material": factories.make_material().name,
        "condition": "Sealed bag.",
    }


def post(client, place, body=None, **headers):
    return client.post(f"/api/v1/{place}", body or {}, content_type=JSON, headers=headers)


def kind(answer):
    return answer.status_code, answer.json()["type"].rpartition(":")[2]


# The contract as a file.


def test_contract_is_the_one_that_was_agreed():
    """A change of the contract shows in the file that others read: renew it, and look at it."""
    drawn = json.loads(json.dumps(contract(), default=str))

    assert drawn == json.loads(SNAPSHOT.read_text(encoding="utf-8")), (
        "The contract changed. Look at what changes for others, then renew the file: "
        "python -m tests.api.renew_contract"
    )


def test_contract_speaks_of_fields_and_operations_not_of_the_code():
    drawn = contract()
    fields = {
        name
        for form in drawn["components"]["schemas"].values()
        for name in form.get("properties", {})
    }
    operations = [act for acts in drawn["paths"].values() for act in acts.values()]
    words = " ".join(f"{act['summary']} {act.get('description', '')}" for act in operations)

    named = set(re.findall(r"`([a-z]+(?:_[a-z]+)+)`", words))

    assert named - fields == set()
    assert "`Conflict`" not in words
    assert {act["summary"] for act in operations} >= {
        "List samples, the newest first, a page at a time.",
        "Give the sample, with the tag of its state.",
    }


def test_contract_is_served_to_every_token_and_shown_without_the_internet(client):
    factories.make_laboratory()
    made = factories.make_token(factories.reviewer(), scopes=[Scope.READ_SAMPLES])
    served = client.get(reverse("api:openapi"), headers={"Authorization": f"Bearer {made.text}"})
    client.force_login(factories.reviewer())
    pages = [
        client.get(reverse("api:docs")),
        client.get(reverse("api:docs-area", args=["samples"])),
        client.get(reverse("api:problems")),
    ]

    assert served.json()["openapi"] == "3.1.0"
    assert "If-Match" in pages[1].text
    for page in pages:
        assert page.status_code == 200
        assert not re.search(r'(src|href)="(https?:)?//', page.text)
        assert "<style" not in page.text
        assert "<script>" not in page.text


def test_pages_of_the_contract_show_names_as_code_not_between_backticks(client):
    factories.make_laboratory()
    client.force_login(factories.reviewer())
    areas = {
        operation["tags"][0]
        for methods in contract()["paths"].values()
        for operation in methods.values()
    }

    pages = [client.get(reverse("api:docs-area", args=[area])).text for area in sorted(areas)]
    pages += [client.get(reverse(name)).text for name in ("api:docs", "api:problems")]

    assert [re.findall("`[^`]*`", page) for page in pages] == [[]] * len(pages)
    assert sum("<code" in page for page in pages) > len(areas) / 2


def test_every_refusal_has_its_type_on_the_page():
    named = {row["code"] for row in problem_types()}
    pattern = re.compile(
        r'(?:Conflict|NotFound|NotAllowed)\([^()]*(?:\([^()]*\)[^()]*)*code="([a-z-]+)"'
    )
    raised = set()
    for file in Path("gradation").rglob("*.py"):
        if file.stem in BEYOND_THE_INTERFACE or "web" in file.parts:
            continue
        text = file.read_text(encoding="utf-8")
        raised |= set(pattern.findall(text)) | set(re.findall(r'default_code = "([a-z-]+)"', text))

    assert len(raised) > 40
    assert raised - named == set()


# Keys of requests.


def test_p10_f25_same_request_under_the_same_key_is_answered_alike_and_done_once(
    client, technician, delivery
):
    first = post(client, "samples", delivery, **{"Idempotency-Key": "order-17"})
    again = post(client, "samples", delivery, **{"Idempotency-Key": "order-17"})

    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert (first["ETag"], again["Idempotency-Replayed"]) == (again["ETag"], "true")
    assert Sample.objects.count() == 1
    assert LedgerEntry.objects.filter(action="sample logged").count() == 1


def test_another_body_or_address_under_the_key_is_refused(client, technician, delivery):
    post(client, "samples", delivery, **{"Idempotency-Key": "k"})
    changed = post(client, "samples", {**delivery, "lot": "7"}, **{"Idempotency-Key": "k"})
    elsewhere = post(client, "customers", {"name": "New"}, **{"Idempotency-Key": "k"})

    assert kind(changed) == kind(elsewhere) == (422, "key-used-otherwise")
    assert Sample.objects.count() == 1


def test_nothing_is_kept_of_a_refused_request(client, technician, delivery):
    sent = {**delivery, "material": "Unheard of"}

    refused = post(client, "samples", sent, **{"Idempotency-Key": "k"})
    factories.make_material(name="Unheard of")
    taken = post(client, "samples", sent, **{"Idempotency-Key": "k"})

    assert (refused.status_code, taken.status_code) == (422, 201)


def test_act_without_a_key_is_refused_before_anything_is_done(client, technician, delivery):
    answer = post(client, "samples", delivery, **{"Idempotency-Key": None})
    unreadable = post(client, "samples", delivery, **{"Idempotency-Key": "x" * 256})

    assert kind(answer) == (400, "idempotency-key-missing")
    assert kind(unreadable) == (400, "idempotency-key-unreadable")
    assert not Sample.objects.exists()


def test_s50_another_persons_key_shows_nothing(client, technician, delivery):
    own = post(client, "samples", {**delivery, "lot": "secret"}, **{"Idempotency-Key": "k"})
    client.force_login(factories.make_person(Role.AUDITOR))

    answer = post(client, "samples", {**delivery, "lot": "secret"}, **{"Idempotency-Key": "k"})

    assert own.status_code == 201
    assert kind(answer) == (403, "not-allowed")
    assert "secret" not in answer.text
    assert "Idempotency-Replayed" not in answer


def test_answers_are_forgotten_after_thirty_days(client, technician, delivery):
    post(client, "samples", delivery)
    kept = interface_keys.forget_old_keys()
    with clock.at(clock.now() + interface_keys.KEPT_FOR * 1.01):
        gone = interface_keys.forget_old_keys()

    assert (kept, gone, InterfaceKey.objects.count()) == (0, 1, 0)


# States that are meant.


def test_p12_f04_g05_change_needs_the_state_it_means(client, technician):
    sample = factories.make_sample()
    place = f"samples/{sample.number}"
    tag = client.get(f"/api/v1/{place}")["ETag"]

    absent = post(client, f"{place}/cancel", {"reason": "Broken bag."})
    done = post(client, f"{place}/cancel", {"reason": "Broken bag."}, **{"If-Match": tag})
    stale = post(client, f"{place}/close", {"reason": "Old."}, **{"If-Match": tag})

    assert kind(absent) == (428, "if-match-missing")
    assert (done.status_code, done.json()["state"]) == (200, "cancelled")
    assert kind(stale) == (412, "changed-meanwhile")
    assert done["ETag"] == client.get(f"/api/v1/{place}")["ETag"] != tag


def test_what_is_unchanged_is_not_sent_again(client, technician):
    place = f"/api/v1/samples/{factories.make_sample().number}"
    tag = client.get(place)["ETag"]

    assert client.get(place, headers={"If-None-Match": tag}).status_code == 304


# Lists.


def test_pages_follow_the_link_and_narrow_to_the_fields_asked_for(client, technician):
    samples = [factories.make_sample() for _ in range(3)]

    first = client.get("/api/v1/samples?size=2&fields=number,lot")
    link = re.match(r"<http://testserver(.*)>; rel=\"next\"", first["Link"])
    second = client.get(link[1])

    assert [list(row) for row in first.json()["results"]] == [["number", "lot"]] * 2
    assert [row["number"] for row in second.json()["results"]] == [samples[0].number]
    assert "Link" not in second


def test_changed_since_gives_what_has_a_later_entry(client, technician):
    old, touched = factories.make_sample(), factories.make_sample()
    later = clock.now().isoformat()
    factories.make_portion(technician, touched)

    shown = client.get("/api/v1/samples", {"changed_since": later, "fields": "number"}).json()

    assert old.number != touched.number
    assert shown["results"] == [{"number": touched.number}]


@pytest.mark.parametrize("rows", [1, 6])
def test_list_of_runs_costs_the_same_however_many_there_are(
    client, technician, rows, django_assert_max_num_queries
):
    for _ in range(rows):
        factories.make_run(technician)
    with django_assert_max_num_queries(5):  # session, person, roles, runs
        shown = client.get("/api/v1/runs").json()["results"]

    assert len(shown) == rows
    run = Run.objects.order_by("pk").last()
    one = client.get(f"/api/v1/runs/{run.pk}").json()
    assert shown[0] == {name: one[name] for name in shown[0]}


@pytest.mark.parametrize(
    "query",
    [
        "customer__user__password=x",
        "_connector=OR",
        "state__in=open",
        "order=number",
        "fields=password",
        "state=unheard-of",
        "size=0",
        "size=201",
        "before=NaN",
        "state=logged&state=logged",
        "search=%00",
        "changed_since=soon",
    ],
)
def test_s27_only_offered_filters_are_taken(client, technician, query):
    factories.make_sample()

    assert client.get(f"/api/v1/samples?{query}").status_code == 400


def test_s2_s3_customer_gets_their_own_only_whatever_is_asked(client):
    mine = factories.make_customer()
    person = factories.make_person(Role.CUSTOMER, customer=mine)
    certificate, own = factories.make_certificate(), factories.make_sample(customer=mine)
    foreign, run = certificate.sample, certificate.runs.get()
    client.force_login(person)
    hidden = [
        f"samples/{foreign.number}",
        f"samples/{foreign.number}/history",
        f"samples/{foreign.number}/determinations",
        f"runs/{run.pk}",
        f"certificates/{certificate.number}",
        f"certificates/{certificate.number}/pdf",
        f"certificates/{certificate.number}/verify",
        f"portions/{run.portion.label}",
    ]

    assert [client.get(f"/api/v1/{place}").status_code for place in hidden] == [404] * 8
    listed = client.get("/api/v1/samples").json()["results"]
    assert [row["number"] for row in listed] == [own.number]
    assert client.get("/api/v1/runs").json()["results"] == []
    assert client.get("/api/v1/certificates").json()["results"] == []


# Bodies.


def test_s4_relation_that_is_not_there_changes_nothing(client, technician, delivery):
    other = factories.make_source(factories.make_customer())
    answer = post(client, "samples", {**delivery, "source_name": other.name})

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/source_name"
    assert not Sample.objects.exists()


@pytest.mark.parametrize("field", ["number", "state", "received_by", "version", "id"])
def test_s5_fields_that_nobody_may_send_are_refused(client, technician, delivery, field):
    answer = post(client, "samples", {**delivery, field: "x"})

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == f"/{field}"


@pytest.mark.parametrize("method", ["get", "head"])
def test_s9_reading_changes_nothing(client, technician, method):
    sample = factories.make_sample()
    overriding = {"X-HTTP-Method-Override": "POST"}

    answer = getattr(client, method)(f"/api/v1/samples/{sample.number}/cancel", headers=overriding)

    assert answer.status_code == 405
    sample.refresh_from_db()
    assert sample.state == Sample.State.LOGGED


@pytest.mark.parametrize(
    "mass",
    ["NaN", "Infinity", "1e400", "1" * 1000, "١٢٣", "-5", [], {}, True],
    ids=lambda value: str(value)[:12],
)
def test_s32_what_is_no_mass_is_refused_with_its_field(client, technician, delivery, mass):
    answer = post(client, "samples", {**delivery, "mass_received_g": mass})

    if mass == "١٢٣":  # read as the digits they are, never as something else
        assert answer.status_code in {201, 400}
        return
    assert answer.status_code in {400, 422}
    assert answer.json()["errors"][0]["pointer"] == "/mass_received_g"


@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e400", "1" * 5000])
def test_s32_number_that_cannot_be_kept_is_refused_before_work(client, technician, number):
    answer = client.post("/api/v1/samples", f'{{"mass_received_g": {number}}}', content_type=JSON)

    assert kind(answer) == (400, "no-number")


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('{"lot": "1", "lot": "2"}', (400, "name-twice")),
        ("[" * 10_000, (400, "too-deep")),
        ('{"lot": ' + "[" * 30 + "]" * 30 + "}", (400, "too-deep")),
        ("{", (400, "no-json")),
        (b"\xff\xfe", (400, "no-json")),
    ],
    ids=["name twice", "10,000 deep", "30 deep", "half", "not text"],
)
def test_s33_body_that_is_not_sound_is_refused(client, technician, body, expected):
    assert kind(client.post("/api/v1/samples", body, content_type=JSON)) == expected


def test_s33_body_one_byte_past_the_limit_is_refused(client, technician, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    within, past = ('{"lot": "' + "x" * size + '"}' for size in (989, 990))

    assert len(past) == 1001
    assert client.post("/api/v1/samples", within, content_type=JSON).status_code == 400
    assert kind(client.post("/api/v1/samples", past, content_type=JSON)) == (413, "body-too-large")


# Tokens and limits.


def test_s23_token_that_does_not_reach_is_refused_by_kind(client, technician, delivery):
    made = factories.make_token(technician, scopes=[Scope.READ_SAMPLES])
    client.logout()
    bearer = {"Authorization": f"Bearer {made.text}"}

    write = post(client, "samples", delivery, **bearer)
    in_address = client.get(f"/api/v1/samples?token={made.text}")
    ApiToken.objects.update(revoked_at=clock.now(), revoke_reason="Lost.")
    revoked = client.get("/api/v1/samples", headers=bearer)

    assert kind(write) == (403, "scope-missing")
    assert kind(in_address) == (400, "token-in-address")
    assert kind(revoked) == (401, "token-refused")
    assert not Sample.objects.exists()


def test_what_a_system_does_stands_in_the_records_as_its_own(client, technician, delivery):
    made = factories.make_token(technician, scopes=[Scope.WRITE_SAMPLES])
    client.logout()

    answer = post(client, "samples", delivery, Authorization=f"Bearer {made.text}")

    entry = LedgerEntry.objects.get(action="sample logged")
    assert answer.status_code == 201
    assert (entry.actor, entry.door) == (technician, f"token {made.token.public_id}")


def test_who_asks_too_often_is_told_when_to_come_again(client, technician, settings):
    settings.INTERFACE_CALLS_PER_MINUTE = 3
    interface_calls.forget_counts()

    answers = [client.get("/api/v1/samples") for _ in range(4)]

    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert 1 <= int(answers[-1]["Retry-After"]) <= 60


def test_calls_are_counted_over_all_workers():
    interface_calls.forget_counts()
    waits = []
    for _ in range(4):  # each as a worker of its own, that knows the database only
        waits.append(interface_calls.count_call("user 1", 3, 600.0))
        interface_calls.forget_counts()

    assert waits == [0, 0, 0, 60]


def test_what_is_to_go_says_so_with_every_answer(client, technician, monkeypatch):
    days = datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 2, 1, 12, tzinfo=UTC)
    monkeypatch.setattr(DueList, "told", {"GET": replace(DueList.told["GET"], sunset=days)})

    answer = client.get("/api/v1/due")

    # RFC 9745 section 2.1: @ and seconds since 1970; RFC 8594 section 3: an HTTP-date.
    assert answer["Deprecation"] == "@1798761600"
    assert answer["Sunset"] == "Tue, 01 Feb 2028 12:00:00 GMT"
    assert "Sunset" not in client.get("/api/v1/samples")


def test_signing_is_left_to_a_person(client):
    certificate = factories.make_certificate()
    client.force_login(factories.signatory())

    answer = post(client, f"certificates/{certificate.number}/withdraw", {"reason": "Wrong."})

    assert kind(answer) == (403, "signing-needs-a-person")
    assert Certificate.objects.get().state == Certificate.State.ISSUED


def test_bulk_answers_each_in_its_place(client, technician, delivery):
    items = [delivery, {**delivery, "material": "Unheard of"}, {"lot": "x"}, delivery]

    answer = post(client, "samples/bulk", {"items": items}).json()

    assert [row["status"] for row in answer["results"]] == [201, 422, 400, 201]
    assert answer["results"][1]["problem"]["errors"][0]["pointer"] == "/material"
    assert (answer["done"], answer["refused"], Sample.objects.count()) == (2, 2, 2)
