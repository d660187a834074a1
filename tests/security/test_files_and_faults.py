"""Files, logs, keys, hosts and faults: what comes from outside stays what it is."""

import json
import logging
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from django.urls import reverse

from gradation.models import Incident
from gradation.policy import Role
from gradation.services import attachments
from gradation.services.secret_keeping import encrypted, opened
from labsite import requests as numbered
from labsite.logs import JsonLines
from tests import factories

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def signed_in(client, db):
    factories.make_laboratory()
    person = factories.make_person(Role.TECHNICIAN, Role.QUALITY_MANAGER, Role.EQUIPMENT_KEEPER)
    client.force_login(person)
    return client


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
        "gradation.web.views.records.history_page",
        lambda *_, **__: (_ for _ in ()).throw(RuntimeError("SELECT secret FROM /gradation/x.py")),
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

    monkeypatch.setattr("gradation.api.samples.samples_visible_to", broken)
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


def test_s38_the_printer_is_of_a_version_without_the_known_faults():
    pinned = re.search(
        r"^weasyprint==(\d+)\.", (ROOT / "requirements.lock").read_text(), re.MULTILINE
    )
    drawn = [
        file.read_text(encoding="utf-8")
        for file in (ROOT / "gradation" / "documents").rglob("*.py")
    ]

    # CVE-2025-68616 is mended in 68.0, CVE-2026-49452 in 69.0, CVE-2026-55073 in 70.0; hints of
    # HTML attributes, by which the second came in, stay off.
    assert int(pinned[1]) >= 70
    assert not any("presentational_hints" in text for text in drawn)


def test_s41_the_shipped_settings_pass_djangos_own_check():
    told = (ROOT / "tests/deploy/test_environment_variables.py").read_text()

    assert "test_check_deploy_finds_nothing_in_the_shipped_settings" in told
    assert "DEBUG = False" in (ROOT / "labsite/settings/production.py").read_text()


def test_f17_s42_an_unsafe_start_names_the_setting_and_the_remedy():
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env={"DJANGO_SETTINGS_MODULE": "labsite.settings.production", "PATH": "",
             "GRADATION_BASE_URL": "https://lab.example.org", "GRADATION_SECRET_KEY": "short"},
    )  # fmt: skip

    assert done.returncode == 1
    assert "GRADATION_SECRET_KEY is too weak" in done.stderr
    assert "Make one with" in done.stderr


def test_r87_an_incident_is_closed_only_with_its_cause(signed_in):
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
