"""What answers carry and what requests cannot do: headers, hosts, forms, faults, files, logs."""

import json
import logging
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from django.urls import get_resolver, reverse

from gradation.models import Incident, LedgerEntry, Sample
from gradation.policy import Role
from gradation.services import attachments
from gradation.services.secret_keeping import encrypted, opened
from labsite import requests as numbered
from labsite.logs import JsonLines
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

    def __init__(self):
        super().__init__()
        self.live = []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        runs = [name for name in given if name.startswith("on") or name == "style"]
        leads = [value for value in given.values() if (value or "").startswith("javascript:")]
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


def test_s26_s45_every_page_carries_its_policy_and_headers(signed_in):
    seen = 0
    for name in html_routes():
        answer = signed_in.get(reverse(name))
        if not answer.get("Content-Type", "").startswith("text/html"):
            continue
        seen += 1
        policy = answer["Content-Security-Policy"]
        for part in ("default-src 'none'", "object-src 'none'", "base-uri 'none'",
                     "frame-ancestors 'none'"):  # fmt: skip
            assert part in policy, (name, part)
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


@pytest.mark.parametrize(
    "name",
    ["a\r\nX-Evil: 1.txt", 'a".txt', "a\u202etxt.exe", "../../etc/passwd", "ü.txt", "a;b.txt"],
)
def test_s30_s35_a_file_name_splits_no_header_and_leaves_no_folder(signed_in, name):
    keeper = factories.keeper()
    balance = factories.make_instrument("balance")
    kept = attachments.attach_file(actor=keeper, equipment=balance, name=name, content=b"words")

    answer = signed_in.get(reverse("equipment:file-show", args=[balance.serial, kept.pk]))

    header = answer["Content-Disposition"]
    assert "\r" not in header
    assert "\n" not in header
    assert "X-Evil" not in answer.headers
    assert "/" not in kept.name
    assert answer["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("content", "is_taken"),
    [
        (b"%PDF-1.7 words", True),
        (b"MZ\x90\x00 a program", False),
        (b"PK\x03\x04" + b"\x00" * 60, False),
        (b"<!doctype html><script>alert(1)</script>", True),
        (b"GIF89a\x00\x01", False),
        (b"x" * 10_000_001, False),
        (b"", False),
    ],
)
def test_s35_files_are_told_by_their_bytes_and_never_shown_as_pages(signed_in, content, is_taken):
    balance = factories.make_instrument("balance")
    sent = SimpleUploadedFile("picture.png", content, "image/png")

    answer = signed_in.post(reverse("equipment:file-add", args=[balance.serial]), {"file": sent})

    assert (answer.status_code == 302) == is_taken
    for kept in balance.attachments.all():
        shown = signed_in.get(reverse("equipment:file-show", args=[balance.serial, kept.pk]))
        assert shown["Content-Type"].split(";")[0] in SAFE_TO_KEEP
        assert shown["X-Content-Type-Options"] == "nosniff"


#: What no browser runs.
SAFE_TO_KEEP = {"application/pdf", "text/plain", "application/octet-stream"}


def lines(record):
    return JsonLines().format(record).splitlines()


def test_s31_a_text_with_line_breaks_makes_one_line_of_the_log():
    evil = 'a\r\n{"level": "info"}\x1b[31m\u2028b'
    record = logging.LogRecord("gradation", logging.WARNING, "x.py", 1, "met %s", (evil,), None)

    written = lines(record)

    assert len(written) == 1
    assert json.loads(written[0])["message"] == f"met {evil}"
    assert "\x1b" not in written[0]


def test_s31_each_request_is_one_line_with_its_number(client, db, caplog):
    with caplog.at_level(logging.INFO, logger="gradation.requests"):
        answer = client.get("/sign-in/?x=%0d%0aevil")

    records = [record for record in caplog.records if record.name == "gradation.requests"]
    said = json.loads(lines(records[0])[0])
    assert len(records) == 1
    assert (said["path"], said["status"]) == ("/sign-in/", 200)
    assert re.fullmatch(r"[0-9a-f]{32}", answer["X-Request-ID"])


def test_s43_former_keys_open_what_they_closed_until_they_are_dropped(settings):
    kept = encrypted("a secret of a generator")
    former, settings.SECRET_KEY = settings.SECRET_KEY, "another key for the suite, guards nothing"

    settings.SECRET_KEY_FALLBACKS = [former]
    assert opened(kept) == "a secret of a generator"
    settings.SECRET_KEY_FALLBACKS = []
    assert opened(kept) is None


def test_s43_a_session_survives_the_change_of_key_until_the_former_is_dropped(signed_in, settings):
    former, settings.SECRET_KEY = settings.SECRET_KEY, "another key for the suite, guards nothing"
    settings.SECRET_KEY_FALLBACKS = [former]
    assert signed_in.get(reverse("account:account-show")).status_code == 200
    thief = Client()
    thief.cookies = signed_in.cookies
    settings.SECRET_KEY = "a third key for the suite, guards nothing at all"
    settings.SECRET_KEY_FALLBACKS = []
    assert thief.get(reverse("account:account-show")).status_code == 302


@pytest.mark.parametrize("host", ["evil.example", "testserver.evil.example", "testserver@evil", ""])
def test_s44_a_forged_host_is_refused(client, db, host):
    assert client.get("/sign-in/", headers={"host": host or "evil"}).status_code == 400


@pytest.mark.parametrize(
    ("peer", "said", "believed"),
    [
        ("192.0.2.7", "203.0.113.9", "192.0.2.7"),  # a stranger's word
        ("10.0.0.2", "203.0.113.9", "203.0.113.9"),
        ("10.0.0.2", "198.51.100.1, 203.0.113.9", "203.0.113.9"),  # what came before is a claim
        ("10.0.0.2", "203.0.113.9, 10.0.0.3", "203.0.113.9"),  # two proxies of ours
        ("10.0.0.2", "nonsense", "10.0.0.2"),
        ("10.0.0.2", "", "10.0.0.2"),
    ],
)
def test_s44_only_the_proxy_says_where_a_request_comes_from(settings, peer, said, believed):
    settings.TRUSTED_PROXIES = ["10.0.0.0/24"]
    request = RequestFactory().get("/", REMOTE_ADDR=peer, HTTP_X_FORWARDED_FOR=said)

    assert numbered.caller(request) == believed


SECRETS_OF_A_FAULT = re.compile(r"Traceback|/gradation/|\.py|SELECT|psycopg|sqlite|Django|5\.2")


def test_s46_a_fault_tells_its_number_and_nothing_else(db, monkeypatch):
    factories.make_laboratory()
    browser = Client(raise_request_exception=False)
    browser.force_login(factories.quality_manager())
    monkeypatch.setattr(
        "gradation.queries.history.recent_entries",
        lambda *_: (_ for _ in ()).throw(RuntimeError("SELECT secret FROM /gradation/x.py")),
    )
    monkeypatch.setattr(
        "gradation.web.views.records.recent_entries",
        lambda *_: (_ for _ in ()).throw(RuntimeError("SELECT secret FROM /gradation/x.py")),
    )

    answer = browser.get(reverse("records:entry-list"))

    text = answer.content.decode()
    assert answer.status_code == 500
    assert answer["X-Request-ID"] in text
    assert not SECRETS_OF_A_FAULT.search(text)
    incident = Incident.objects.get()
    assert (incident.request_id, incident.kind) == (answer["X-Request-ID"], "RuntimeError")


def test_s46_the_interface_tells_a_fault_as_a_problem(db, monkeypatch):
    factories.make_laboratory()
    browser = Client(raise_request_exception=False)
    browser.force_login(factories.make_person(Role.AUDITOR))

    def broken(*_, **__):
        raise RuntimeError("SELECT secret")

    monkeypatch.setattr("gradation.queries.samples.samples_visible_to", broken)
    answer = browser.get("/api/v1/samples")

    assert answer.status_code == 500
    assert answer["Content-Type"].startswith("application/problem+json")
    assert answer.json()["request_id"] == answer["X-Request-ID"]
    assert not SECRETS_OF_A_FAULT.search(answer.content.decode())


def test_s48_every_part_is_pinned_by_its_hash():
    for name in ("requirements.lock", "tests/requirements.lock"):
        entries = re.split(r"\n(?=[a-z0-9])", (ROOT / name).read_text().strip())
        assert entries
        assert [entry for entry in entries if "--hash=sha256:" not in entry] == []


def test_s41_the_shipped_settings_pass_djangos_own_check():
    told = (ROOT / "tests/deploy/test_environment_variables.py").read_text()

    assert "test_check_deploy_finds_nothing_in_the_shipped_settings" in told
    assert "DEBUG = False" in (ROOT / "labsite/settings/production.py").read_text()


def test_s42_an_unsafe_start_names_the_setting_and_the_remedy():
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env={"DJANGO_SETTINGS_MODULE": "labsite.settings.production", "PATH": "",
             "GRADATION_BASE_URL": "https://lab.example.org", "GRADATION_SECRET_KEY": "short"},
    )  # fmt: skip

    assert done.returncode == 1
    assert "GRADATION_SECRET_KEY is too weak" in done.stderr
    assert "Make one with" in done.stderr


def test_an_incident_is_closed_only_with_its_cause(signed_in):
    from gradation.services import incidents
    from gradation.services.people import system_account

    met = incidents.Met(ValueError("x"), "1" * 32, "GET", "bench/", None)
    incident = incidents.record_incident(actor=system_account(), met=met)
    address = reverse("settings:incident-close", args=[incident.pk])

    without = signed_in.post(address, {"cause": " "})
    closed = signed_in.post(address, {"cause": "A sieve without serial.", "correction": "Mended."})

    incident.refresh_from_db()
    assert (without.status_code, closed.status_code) == (422, 302)
    assert incident.cause == "A sieve without serial."
    assert signed_in.post(address, {"cause": "Again"}).status_code == 422
