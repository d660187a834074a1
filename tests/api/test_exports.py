"""Exports by the interface: with a token's scope, filtered, with a digest of the file."""

import base64
import csv
import hashlib
import io

import pytest

from gradation.models import LedgerEntry, Scope
from gradation.policy import Role
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def bearer():
    factories.make_laboratory()
    owner = factories.make_person(Role.AUDITOR)
    made = factories.make_token(owner, scopes=[Scope.READ_EXPORTS])
    return {"HTTP_AUTHORIZATION": f"Bearer {made.text}"}


def test_a_token_takes_one_customers_samples(client, bearer):
    sample = factories.make_sample(lot="7 A")
    factories.make_sample()

    answer = client.get("/api/v1/exports/samples.csv", {"customer": sample.customer.name}, **bearer)
    data = b"".join(answer.streaming_content)

    assert [row["lot"] for row in csv.DictReader(io.StringIO(data.decode()))] == ["7 A"]
    digest = base64.b64encode(hashlib.sha256(data).digest()).decode()
    assert answer["Repr-Digest"] == f"sha-256=:{digest}:"
    entry = LedgerEntry.objects.get(action="records exported")
    assert entry.door.startswith("token ")


def test_the_columns_are_told(client, bearer):
    answer = client.get("/api/v1/exports/results-long/columns", **bearer)

    told = {column["column"]: column for column in answer.json()["results"]}
    assert told["aperture_um"]["unit"] == "µm"
    assert told["recorded_on_paper_on"]["type"] == "day"


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("people.csv", {}),
        ("samples.exe", {}),
        ("samples.csv", {"since": "2026-03-02T00:00Z", "until": "2026-03-01T00:00Z"}),
        ("samples.csv", {"customer": "Nobody"}),
        ("people/columns", {}),
    ],
)
def test_what_there_is_not_is_refused_and_leaves_no_entry(client, bearer, path, query):
    answer = client.get(f"/api/v1/exports/{path}", query, **bearer)

    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    assert not LedgerEntry.objects.filter(action="records exported").exists()


def test_a_filter_that_there_is_not_is_refused(client, bearer):
    answer = client.get("/api/v1/exports/samples.csv", {"lot": "7"}, **bearer)

    assert answer.status_code == 400
    assert answer.json()["type"].endswith(":bad-filter")


def test_another_scope_or_role_takes_nothing_out(client, bearer):
    technician = factories.technician()
    theirs = factories.make_token(technician, scopes=[Scope.READ_EXPORTS]).text
    other = factories.make_token(technician, scopes=[Scope.READ_SAMPLES]).text

    for text in (theirs, other):
        for path in ("samples.csv", "samples/columns"):
            answer = client.get(f"/api/v1/exports/{path}", HTTP_AUTHORIZATION=f"Bearer {text}")
            assert answer.status_code == 403
