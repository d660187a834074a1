"""What answers carry and what requests cannot do: headers, hosts, forms, faults, files, logs."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.test import Client
from django.urls import get_resolver, reverse

from gradation.models import LedgerEntry, Sample
from gradation.policy import Role
from tests import factories

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]
#: Short pieces of script as attackers write them; each must come back as text.
PAYLOADS = [
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "<svg/onload=alert(1)>",
    "\"><script>alert(1)</script>", "'><img src=x onerror=alert(1)>", "javascript:alert(1)",
    "</title><script>alert(1)</script>", "</textarea><script>alert(1)</script>",
    "<iframe src=javascript:alert(1)>", "<body onload=alert(1)>",
    "<a href='javascript:alert(1)'>x", "<math><mi xlink:href='data:x,<script>alert(1)</script>'>",
    "<details open ontoggle=alert(1)>", "<input autofocus onfocus=alert(1)>",
    "<video><source onerror=alert(1)>", "<marquee onstart=a()>",
    "<object data=javascript:alert(1)>", "<embed src=javascript:alert(1)>",
    "<base href=//evil.example>", "<link rel=stylesheet href=//evil.example>",
    "<meta http-equiv=refresh content=0>", "<style>@import '//evil.example'</style>",
    "<form action=//evil.example><button>", "&lt;script&gt;", "\\u003cscript\\u003ealert(1)",
    "%3Cscript%3Ealert(1)%3C/script%3E", "<ScRiPt>alert(1)</sCrIpT>", "<scr<script>ipt>alert(1)",
    "<<script>alert(1)//<</script>", "<script\n>alert(1)</script\n>",
    "<img src=`x` onerror=alert(1)>", "<!--><script>alert(1)</script>",
    "<![CDATA[<script>x</script>]]>", "\u202e<script>alert(1)</script>",
    "<p style=background:url(//evil.example)>", "${alert(1)}",
    "{{constructor.constructor('alert(1)')()}}", "<xss onclick=alert(1)>", "';alert(1)//",
    "\"};alert(1);//",
]  # fmt: skip


@pytest.fixture
def signed_in(client, db):
    factories.make_laboratory()
    person = factories.make_person(Role.TECHNICIAN, Role.QUALITY_MANAGER, Role.EQUIPMENT_KEEPER)
    client.force_login(person)
    return client


def test_s02_anothers_sample_is_not_found_and_the_try_is_recorded(client, db):
    factories.make_laboratory()
    theirs = factories.make_sample()
    stranger = factories.make_person(Role.CUSTOMER, customer=factories.make_customer())
    client.force_login(stranger)

    answer = client.get(reverse("intake:sample-show", args=[theirs.number]))
    absent = client.get(reverse("intake:sample-show", args=["26-9999"]))

    assert answer.status_code == absent.status_code == 404
    entry = LedgerEntry.objects.filter(action="turned away").first()
    assert (entry.actor_id, entry.after["path"]) == (
        stranger.pk,
        f"/intake/samples/{theirs.number}/",
    )


def test_s03_lists_and_search_hold_a_customers_own_rows_only(client, db):
    factories.make_laboratory()
    mine, theirs = factories.make_customer(), factories.make_customer()
    own = factories.make_sample(customer=mine, lot="LOT-OWN")
    other = factories.make_sample(customer=theirs, lot="LOT-OTHER")
    factories.make_certificate(other)
    client.force_login(factories.make_person(Role.CUSTOMER, customer=mine))

    for address in (
        reverse("intake:sample-list"),
        reverse("intake:sample-list") + "?q=LOT",
        reverse("account:samples-show"),
        reverse("certificates:certificate-list"),
        "/api/v1/samples",
    ):
        text = client.get(address).content.decode()
        assert other.number not in text, address
        assert "LOT-OTHER" not in text, address
    assert own.number in client.get(reverse("account:samples-show")).content.decode()
    assert client.get(reverse("web:find") + f"?q={other.number}")["Location"].startswith(
        "/intake/?"
    )


def test_s05_fields_that_nobody_asked_for_change_nothing(signed_in):
    sample = factories.make_sample()
    given = {
        "lot": "L-9", "customer": sample.customer_id, "material": sample.material_id,
        "condition": "dry", "sampled_by": "customer", "mass_received_g": "1200", "reason": "typed",
        "number": "26-7777", "state": "closed", "version": "99", "created_at": "2001-01-01",
    }  # fmt: skip

    signed_in.post(reverse("intake:sample-change", args=[sample.number]), given)

    now = Sample.objects.get(pk=sample.pk)
    assert (now.number, now.state) == (sample.number, sample.state)


def test_s06_a_technician_cannot_review_issue_or_set(client, db):
    certificate = factories.make_certificate()
    client.force_login(factories.technician())
    run = certificate.runs.get()

    for name, key in (
        ("review:run-review", run.pk),
        ("certificates:certificate-issue", certificate.pk),
        ("certificates:certificate-withdraw", certificate.pk),
        ("certificates:signature-give-up", certificate.pk),
        ("settings:roles-set", run.technician_id),
    ):
        assert client.post(reverse(name, args=[key]), {"reason": "x"}).status_code == 403, name
    assert client.post(reverse("settings:laboratory-change")).status_code == 403


def test_s07_the_other_doors_of_a_certificate_say_the_same(client, db):
    certificate = factories.make_certificate()
    client.force_login(factories.make_person(Role.CUSTOMER, customer=factories.make_customer()))

    for name in ("certificate-show", "certificate-preview", "certificate-pdf"):
        address = reverse(f"certificates:{name}", args=[certificate.pk])
        assert client.get(address).status_code == 404, name
    for address in (f"/api/v1/certificates/{certificate.number}",):
        assert client.get(address).status_code == 404
        assert client.get(f"{address}/pdf").status_code == 404


#: Acts that only POST may do, with what they are about.
ONLY_POST = [
    "web:sign-out", "settings:mail-try", "account:recovery-renew",
]  # fmt: skip


@pytest.mark.parametrize("name", ONLY_POST)
@pytest.mark.parametrize("method", ["get", "head"])
def test_s09_looking_changes_nothing(signed_in, name, method):
    before = LedgerEntry.objects.count()

    assert getattr(signed_in, method)(reverse(name)).status_code == 405
    assert LedgerEntry.objects.count() == before


def test_s09_a_header_or_field_does_not_turn_one_method_into_another(signed_in):
    sample = factories.make_sample()
    address = reverse("intake:sample-cancel", args=[sample.number])

    signed_in.get(
        address, {"_method": "POST", "reason": "x"}, headers={"x-http-method-override": "POST"}
    )
    posted = signed_in.post("/api/v1/samples", headers={"x-http-method-override": "DELETE"})

    assert Sample.objects.get(pk=sample.pk).state == sample.state
    assert posted.status_code != 204
    assert Sample.objects.filter(pk=sample.pk).exists()


def test_s18_cookies_are_for_this_host_tls_and_no_script():
    text = (ROOT / "labsite/settings/production.py").read_text()

    assert 'SESSION_COOKIE_NAME = "__Host-' in text
    assert 'CSRF_COOKIE_NAME = "__Host-' in text
    assert "SESSION_COOKIE_SECURE = True" in text
    assert "CSRF_COOKIE_SECURE = True" in text


def test_s18_the_bench_and_device_cookies_are_closed_to_scripts(client, db):
    factories.make_laboratory()
    person = factories.technician()

    client.post(
        reverse("web:sign-in"), {"username": person.username, "password": factories.PASSWORD}
    )

    for cookie in client.cookies.values():
        assert cookie["httponly"], cookie.key
        assert cookie["samesite"] in {"Lax", "Strict"}, cookie.key


@pytest.mark.parametrize("origin", ["https://evil.example", "null"])
def test_s24_a_form_sent_from_elsewhere_is_refused(db, origin):
    factories.make_laboratory()
    person = factories.technician()
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(person)

    without = browser.post(reverse("intake:sample-log"), {"lot": "x"})
    browser.get(reverse("intake:sample-list"))
    token = {
        "csrfmiddlewaretoken": browser.cookies[
            "gradation_csrf" if "gradation_csrf" in browser.cookies else "csrftoken"
        ].value
    }
    foreign = browser.post(reverse("intake:sample-list"), token, headers={"origin": origin})
    at_door = Client(enforce_csrf_checks=True).post(reverse("web:sign-in"), {"username": "a"})

    assert (without.status_code, foreign.status_code, at_door.status_code) == (403, 403, 403)


def test_s24_no_other_site_is_let_read_an_answer(signed_in):
    answer = signed_in.get("/api/v1/samples", headers={"origin": "https://evil.example"})

    assert not [name for name in answer.headers if name.lower().startswith("access-control")]


def test_s25_scripts_in_any_text_come_back_as_text(signed_in):
    sample = factories.make_sample()
    for payload in PAYLOADS:
        Sample.objects.filter(pk=sample.pk).update(lot=payload[:60], condition=payload[:120])
        pages = [
            signed_in.get(reverse("intake:sample-show", args=[sample.number])),
            signed_in.get(reverse("intake:sample-list") + "?q=" + payload[:20]),
            signed_in.get(reverse("intake:sample-change", args=[sample.number])),
        ]
        for page in pages:
            text = page.content.decode()
            assert page.status_code == 200
            assert not live_markup(text), payload
        body = signed_in.get(f"/api/v1/samples/{sample.number}")
        assert body["Content-Type"].startswith("application/json")


class Seen(HTMLParser):
    """Reads a page as a browser does and keeps what would run or load something."""

    FOREIGN = {"iframe", "object", "embed", "base", "math", "marquee", "video", "style", "xss"}

    LEADING = ("href", "src", "action", "formaction", "data", "xlink:href")

    def __init__(self):
        super().__init__()
        self.live = []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        runs = [name for name in given if name.startswith("on") or name == "style"]
        leads = [name for name in self.LEADING if (given.get(name) or "").startswith("javascript:")]
        if runs or leads or tag in self.FOREIGN or (tag == "script" and "src" not in given):
            self.live.append((tag, attrs))


def live_markup(text):
    """Find what a browser would run that our own templates never write."""
    seen = Seen()
    seen.feed(text)
    return seen.live


def test_s25_the_look_for_live_markup_finds_it():
    assert live_markup("<p><img src=x onerror=alert(1)></p>")
    assert live_markup("<script>alert(1)</script>")
    assert not live_markup("<p>&lt;script&gt;</p><script src='a.js'></script>")


def html_routes():
    """Give every address of the pages that needs nothing in it."""
    for space, (_, resolver) in get_resolver("gradation.web.urls").namespace_dict.items():
        for name, entries in resolver.reverse_dict.lists():
            if isinstance(name, str) and any(not entry[0][0][1] for entry in entries):
                yield f"{space}:{name}"


#: Pages that another of our own pages shows in a frame.
FRAMED = {"certificates:form-preview"}


def test_s26_s45_every_page_carries_its_policy_and_headers(signed_in):
    seen = 0
    for name in html_routes():
        answer = signed_in.get(reverse(name))
        if not answer.get("Content-Type", "").startswith("text/html"):
            continue
        seen += 1
        policy = answer["Content-Security-Policy"]
        framed_by = "'self'" if name in FRAMED else "'none'"
        for part in ("default-src 'none'", "object-src 'none'", "base-uri 'none'",
                     f"frame-ancestors {framed_by}"):  # fmt: skip
            assert part in policy, (name, part)
        assert answer["X-Frame-Options"] == ("SAMEORIGIN" if name in FRAMED else "DENY")
        assert "unsafe" not in policy
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Referrer-Policy"] == "same-origin"
        assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
        assert "no-store" in answer["Cache-Control"], name
    assert seen > 40


def test_s26_no_template_has_script_or_style_of_its_own():
    for template in sorted((ROOT / "templates").rglob("*.html")):
        if "documents" in template.parts:
            continue  # printed, not shown: tests/documents has them
        text = template.read_text()
        assert not re.search(r"<script(?![^>]*(src=|type=\"application/json\"))", text), template
        assert not re.search(r"\son[a-z]+=\"|\sstyle=\"|<style", text), template


@pytest.mark.parametrize(
    "text", ["{{ 7|add:7 }}", "{% load static %}", "${7*7}", "#{7*7}", "%(x)s"]
)
def test_s28_template_words_in_a_text_are_printed_as_they_are(signed_in, text):
    sample = factories.make_sample(lot=text)

    page = signed_in.get(reverse("intake:sample-show", args=[sample.number])).content.decode()

    assert text.replace("'", "&#x27;") in page
