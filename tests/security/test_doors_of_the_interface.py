"""The doors of the interface and of files: nobody signed in, tokens, names from outside, cells."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from gradation.documents.csv_text import csv_text, safe_cell
from gradation.models import Sample
from gradation.policy import Role
from gradation.services import clock, tokens
from tests import factories

#: Where nobody has to be signed in, each because of what it is for.
PUBLIC = {
    "/sign-in/",
    "/sign-in/code/",
    "/sign-in/reset/",
    "/set-up/",
    "/favicon.ico",  # the way to a picture that lies open
    "/sign-out/",  # answers 405 to looking, and to nobody it does nothing
}
#: Addresses whose own secret, made by chance, lets in: a reset link, a calendar, a verification.
BY_SECRET = re.compile(r"^/(sign-in/reset/|equipment/due/|verify/|certificates/verify)")
TRIED = {"int": "1", "str": "x", "slug": "x", "path": "x", "serial": "x", "uuid": "0" * 32}


def addresses(patterns=None, before="/"):
    """Give an address for every route of the site, made up where a value stands in it."""
    for entry in get_resolver().url_patterns if patterns is None else patterns:
        route = re.sub(
            r"<(?:(\w+):)?\w+>", lambda found: TRIED.get(found[1] or "str", "x"), str(entry.pattern)
        )
        if isinstance(entry, URLResolver):
            yield from addresses(entry.url_patterns, before + route)
        elif isinstance(entry, URLPattern):
            yield before + route


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete"])
def test_r96_s01_nobody_gets_in_by_any_route(client, method):
    factories.make_laboratory()
    let_in = []

    for address in addresses():
        if address in PUBLIC or BY_SECRET.match(address):
            continue
        answer = getattr(client, method)(address)
        sent_away = answer.status_code == 302 and "/sign-in/" in answer.get("Location", "")
        if not sent_away and answer.status_code not in {401, 403, 404, 405}:
            let_in.append((method, address, answer.status_code))

    assert let_in == []
    assert len(list(addresses())) > 150


@pytest.mark.django_db
def test_s04_a_customer_points_nothing_at_anothers_things(client):
    theirs = factories.make_sample()
    mine = factories.make_customer()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=mine))
    pointed = {"sample": theirs.number, "customer": theirs.customer_id, "portion": "x"}

    for name in ("api:portions", "api:runs", "api:blends", "api:studies"):
        answer = client.post(reverse(name), pointed, content_type="application/json")
        assert answer.status_code in {400, 403, 404, 405, 422}, name

    assert theirs.portions.count() == 0
    assert Sample.objects.get(pk=theirs.pk).customer_id == theirs.customer_id


@pytest.mark.django_db
def test_s23_a_token_is_good_for_its_scope_its_time_and_its_header_only(client):
    factories.make_laboratory()
    manager = factories.quality_manager()
    owner = factories.make_person(Role.TECHNICIAN)
    wanted = tokens.Wanted("script", owner, ["read samples"], 30)
    made = tokens.create_token(actor=manager, wanted=wanted)
    header = {"authorization": f"Bearer {made.text}"}

    assert client.get("/api/v1/samples", headers=header).status_code == 200
    written = client.post("/api/v1/portions", {}, content_type="application/json", headers=header)
    assert written.status_code == 403
    assert client.get(f"/api/v1/samples?token={made.text}").status_code == 400
    with clock.at(clock.now() + timedelta(days=31)):
        assert client.get("/api/v1/samples", headers=header).status_code == 401
    tokens.revoke_token(actor=manager, token=made.token, reason="given up")
    assert client.get("/api/v1/samples", headers=header).status_code == 401


@pytest.mark.django_db
@pytest.mark.parametrize(
    "query",
    [
        "customer__name=x", "_connector=OR", "_negated=1", "search__regex=.*", "order_by=password",
        "before=1%20OR%201=1", "before=-1", "before=99999999999999999999", "state[]=x",
    ],
)  # fmt: skip
def test_s27_names_from_outside_reach_no_query(client, query):
    factories.make_laboratory()
    sample = factories.make_sample()
    client.force_login(factories.technician())

    asked = client.get(f"/api/v1/samples?{query}")
    page = client.get(reverse("intake:sample-list") + f"?{query}")

    assert asked.status_code in {400, 422}
    assert page.status_code == 200  # a page knows its own few names and looks at no other
    assert Sample.objects.filter(pk=sample.pk).exists()


FORMULAS = [
    "=1+1", "+1+1", "-1+1", "@SUM(1)", "\t=1", "\r=1", "\n=1", " =1+1", "\u00a0=1+1", "\u3000=1",
    "\uff1d1+1", "\uff0b1", "\uff0d1+1", "\uff20SUM", "words\n=1+1", "words\r\n@x", "\u200b=1",
    "=cmd|' /C calc'!A0", "=HYPERLINK(\"http://x\")", "\ufeff=1",
]  # fmt: skip


@pytest.mark.parametrize("text", FORMULAS)
def test_s29_no_cell_is_run_by_a_spreadsheet(text):
    written = csv_text(["a"], [[text]])

    (_, (cell,)) = csv.reader(io.StringIO(written, newline=""))
    assert cell.startswith("'")
    assert cell[1:] == text


@pytest.mark.parametrize("number", ["-0.42", "12", "-7", "0.5"])
def test_s29_numbers_stay_numbers(number):
    assert safe_cell(number) == number


@pytest.mark.django_db
def test_s45_answers_to_a_signed_in_person_stay_out_of_caches(client):
    factories.make_laboratory()
    client.force_login(factories.technician())

    for address in ("/intake/", "/api/v1/samples", "/records/", "/intake/samples/26-9999/"):
        answer = client.get(address)
        assert "no-store" in answer["Cache-Control"], address
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Referrer-Policy"] == "same-origin"
