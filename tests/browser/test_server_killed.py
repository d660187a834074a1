"""The server dies by SIGKILL between two readings; what it acknowledged is there, once."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection
from playwright.sync_api import expect

from tests import factories
from tests.browser.steps import field, is_kept, laboratory_at_work, line, sign_in, type_reading

ROOT = Path(__file__).resolve().parents[2]
STARTS_WITHIN_S = 90
KEPT = ("ENGINE", "NAME", "USER", "PASSWORD", "HOST", "PORT", "OPTIONS")


class Server:
    """A real server on the database of the test, in a process group of its own."""

    def __init__(self, log):
        with socket.socket() as trial:
            trial.bind(("127.0.0.1", 0))
            self.port = trial.getsockname()[1]
        self.log, self.process = log, None

    def start(self):
        database = {name: connection.settings_dict[name] for name in KEPT}
        settings = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "tests.browser.killed_settings",
            "KILLED_SITE_DATABASE": json.dumps(database, default=str),
        }
        command = [sys.executable, "-m", "gunicorn", "labsite.wsgi", "--threads", "4"]
        command += ["--bind", f"127.0.0.1:{self.port}", "--worker-class", "gthread"]
        with self.log.open("ab") as written:
            self.process = subprocess.Popen(
                command, cwd=ROOT, env=settings, stdout=written, stderr=written,
                start_new_session=True,
            )  # fmt: skip
        self._wait()

    def kill(self):
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def _wait(self):
        deadline = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < deadline and self.process.poll() is None:
            try:
                asked = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
                asked.request("GET", "/sign-in/")
                if asked.getresponse().status == http.client.OK:
                    return
            except OSError:
                time.sleep(0.1)  # there is no event to wait for before the first answer
        pytest.fail(f"the server did not start:\n{self.log.read_text()}")


@pytest.fixture
def server(tmp_path):
    """Serve; whatever is left at the end is killed too."""
    served = Server(tmp_path / "server.log")
    served.start()
    yield served
    if served.process.poll() is None:
        served.kill()


@pytest.mark.django_db(transaction=True)
def test_r37_f22_a_server_killed_between_two_readings_loses_and_doubles_nothing(browser, server):
    place = laboratory_at_work()
    sample = factories.make_sample(place.technician, place.material)
    run = factories.make_run(place.technician, sample, bench=place.bench)
    context = browser.new_context(base_url=f"http://127.0.0.1:{server.port}")
    page = context.new_page()
    sign_in(page, place.technician)
    page.goto(f"/bench/runs/{run.pk}/")
    type_reading(page, "dry-mass-0", "500.0")
    is_kept(page, "dry-mass-0", "500.0")

    server.kill()
    type_reading(page, "fraction-1", "10")
    type_reading(page, "fraction-2", "75")
    expect(line(page)).to_contain_text("2 readings wait in this browser")
    expect(field(page, "fraction-3")).to_be_focused()
    assert [row.entered_text for row in run.weighings.all()] == ["500.0"]
    server.start()

    is_kept(page, "fraction-2", "75")
    is_kept(page, "fraction-1", "10")
    expect(page.locator("#passing-fraction-2")).to_have_text("83")
    told = run.weighings.order_by("pk").values_list("entered_text", flat=True)
    assert list(told) == ["500.0", "10", "75"]
    context.close()
