"""The production settings for real: gunicorn, PostgreSQL, and requests as a proxy sends them."""

import http.client
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests import tables

ROOT = Path(__file__).resolve().parents[2]
HOST = "lab.example.org"
STARTS_WITHIN_S = 60
SHIPPED = ("gradation", "labsite", "static", "templates")
SIGN_IN = "/sign-in/"
PASSWORD = "a long sentence for one test"


@pytest.fixture(scope="module")
def site(tmp_path_factory, postgres_url):
    """Install a copy of what is shipped, as the image does, and serve it."""
    home = tmp_path_factory.mktemp("installation")
    for name in SHIPPED:
        shutil.copytree(ROOT / name, home / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "manage.py", home)
    port = _free_port()
    variables = {
        **{key: value for key, value in os.environ.items() if not key.startswith("GRADATION_")},
        "DJANGO_SETTINGS_MODULE": "labsite.settings.production",
        "GRADATION_BASE_URL": f"https://{HOST}",
        "GRADATION_SECRET_KEY": "".join(chr(97 + 7 * i % 26) for i in range(64)),
        "DATABASE_URL": postgres_url,
        "GRADATION_TRUSTED_PROXIES": "127.0.0.2",  # we can call from this address, or another
        "GRADATION_LISTEN": f"127.0.0.1:{port}",
        "GRADATION_WEB_PROCESSES": "2",
    }
    tables.put_at(postgres_url)
    manage = [sys.executable, "manage.py"]
    for arguments in (["migrate", "--noinput"], ["collectstatic", "--noinput"]):
        subprocess.run([*manage, *arguments], cwd=home, env=variables, check=True)
    log = (home / "server.log").open("w")
    server = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "--config", "python:labsite.serving", "labsite.wsgi"],
        cwd=home, env=variables, stdout=log, stderr=subprocess.STDOUT,
    )  # fmt: skip
    try:
        _wait_for(port, server, home / "server.log")
        yield SimpleNamespace(port=port, home=home, manage=manage, variables=variables)
    finally:
        server.terminate()
        server.wait(timeout=30)
        log.close()


def _free_port():
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


def _wait_for(port, server, log):
    deadline = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline and server.poll() is None:
        try:
            if _ask(port, "/health/ready").status == 200:
                return
        except OSError:
            pass
        time.sleep(0.1)  # there is no event to wait for before the first answer
    pytest.fail(f"the server did not start:\n{log.read_text()}")


def _ask(port, path, *, source="127.0.0.2", method="GET", body=None, **headers):
    """Ask as a proxy does, or with another source as a stranger."""
    connection = http.client.HTTPConnection(
        "127.0.0.1", port, timeout=30, source_address=(source, 0)
    )
    sent = {"Host": HOST, "X-Forwarded-Proto": "https"}
    sent |= {name.replace("_", "-"): value for name, value in headers.items()}
    connection.request(method, path, body=body, headers=sent)
    answer = connection.getresponse()
    answer.text = answer.read().decode("utf-8", errors="replace")
    connection.close()
    return answer


def test_every_answer_carries_the_protecting_headers(site):
    answer = _ask(site.port, SIGN_IN)

    assert answer.status == 200
    year_s = 365 * 24 * 3600
    hsts = answer.headers["Strict-Transport-Security"]
    assert int(re.match(r"max-age=(\d+)", hsts)[1]) >= year_s
    assert "includeSubDomains" in hsts
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_pages_may_run_only_our_own_scripts_and_styles(site):
    policy = _ask(site.port, SIGN_IN).headers["Content-Security-Policy"]

    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_cookies_belong_to_this_host_and_to_tls_only(site):
    cookies = _ask(site.port, SIGN_IN).headers.get_all("Set-Cookie")

    for cookie in cookies:
        assert cookie.startswith("__Host-")
        for attribute in ("Secure", "HttpOnly", "Path=/", "SameSite="):
            assert attribute in cookie
        assert "Domain=" not in cookie


def test_a_forged_host_is_refused(site):
    assert _ask(site.port, SIGN_IN, Host="evil.example").status == 400


def test_a_stranger_who_says_that_the_proxy_used_tls_is_sent_to_tls(site):
    believed = _ask(site.port, SIGN_IN)
    stranger = _ask(site.port, SIGN_IN, source="127.0.0.3")

    assert believed.status == 200
    assert stranger.status == 301
    assert stranger.headers["Location"] == f"https://{HOST}{SIGN_IN}"


@pytest.mark.parametrize("address", ["/health/live", "/health/ready"])
def test_health_is_told_by_the_inner_address_without_tls(site, address):
    answer = _ask(site.port, address, source="127.0.0.3", Host="127.0.0.1", X_Forwarded_Proto="")

    assert answer.status == 200


def test_static_files_are_compressed_and_cached_for_ever_under_their_digest(site):
    page = _ask(site.port, SIGN_IN).text
    sheet = re.search(r'href="(/static/[^"]+\.[0-9a-f]{12}\.css)"', page)[1]

    answer = _ask(site.port, sheet, Accept_Encoding="br")

    assert answer.status == 200
    assert answer.headers["Content-Encoding"] == "br"
    assert "immutable" in answer.headers["Cache-Control"]


@pytest.mark.parametrize("path", ["/.git/config", "/.env", "/static/", "/labsite/serving.py"])
def test_nothing_but_pages_and_static_files_is_served(site, path):
    answer = _ask(site.port, path)

    assert answer.status in {302, 404}
    assert "SECRET" not in answer.text


def test_a_person_signs_in_through_the_proxy_and_pages_stay_out_of_caches(site):
    _add_person(site, "bench.keeper")
    form = _ask(site.port, SIGN_IN)
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', form.text)[1]

    signed_in = _ask(
        site.port, SIGN_IN, method="POST",
        body=f"csrfmiddlewaretoken={token}&username=bench.keeper&password={PASSWORD}".replace(
            " ", "+"
        ),
        Cookie=_cookies(form), Origin=f"https://{HOST}", Referer=f"https://{HOST}{SIGN_IN}",
        Content_Type="application/x-www-form-urlencoded",
    )  # fmt: skip
    page = _ask(site.port, "/samples/", Cookie=_cookies(signed_in))

    assert signed_in.status == 302, signed_in.text
    assert "no-store" in page.headers["Cache-Control"]


def _add_person(site, username):
    code = (
        "from gradation.models import User;"
        f"User.objects.create_user('{username}', password='{PASSWORD}')"
    )
    subprocess.run(
        [*site.manage, "shell", "-c", code], cwd=site.home, env=site.variables, check=True
    )


def _cookies(answer):
    return "; ".join(cookie.split(";")[0] for cookie in answer.headers.get_all("Set-Cookie") or ())
