"""A real Chromium for the browser tests."""

import os
import shutil
import threading
import time
from functools import partial

import pytest
from django.core.signals import request_finished, request_started

from labsite.bootstrap import suite, system
from tests.own_thread import in_own_thread

PATIENCE_MS = 20_000  # of a busy machine: it costs time only where a test fails


class Underway:
    """Counts the requests that the copy of the site is answering."""

    def __init__(self):
        self._lock = threading.Lock()
        self._count = 0
        request_started.connect(self._begin)
        request_finished.connect(self._end)

    def _begin(self, **_):
        with self._lock:
            self._count += 1

    def _end(self, **_):
        with self._lock:
            self._count -= 1

    def forget(self):
        """Begin anew: requests of a test client that closed no answer are none of the site's."""
        with self._lock:
            self._count = 0

    def wait(self, patience_s=PATIENCE_MS / 1000):
        """Wait until nothing was being answered for a moment."""
        until = time.monotonic() + patience_s
        calm = 0
        while calm < 3 and time.monotonic() < until:
            calm = calm + 1 if self._count <= 0 else 0
            time.sleep(0.02)


@pytest.fixture(scope="session")
def underway():
    """Count what the copy of the site is answering, for the whole run of tests."""
    return Underway()


@pytest.fixture(autouse=True)
def _server_at_rest(request):
    """Empty the database only when the last request of a closed browser is answered.

    A page that is closed leaves its last question behind: the server still reads for it while the
    tables are emptied for the next test, and PostgreSQL then gives up on one of the two.
    """
    if "live_server" not in request.fixturenames:
        yield
        return
    request.getfixturevalue("transactional_db")
    underway = request.getfixturevalue("underway")
    underway.forget()
    yield
    underway.wait()


@pytest.fixture(scope="session")
def browser():
    """Start the machine's Chromium once for each process of the test run."""
    program = next(filter(None, map(shutil.which, suite.BROWSERS)), None)
    if program is None:
        pytest.skip("missing part: Chromium")
    from django.db import connections
    from playwright.sync_api import expect, sync_playwright

    from gradation.services import issuing

    expect.set_options(timeout=PATIENCE_MS)
    # While Playwright's loop runs, Django keeps the connections of this thread in another place:
    # the one used so far would stay open behind everybody's back and hold its locks.
    connections.close_all()
    # Playwright's own event loop makes Django think that this is asynchronous code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    # For the same reason files are signed in a thread of their own from now on.
    issuing.signed_pdf = partial(in_own_thread, issuing.signed_pdf)
    sandbox = ["--no-sandbox"] if system.is_root() else []
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=program, args=[*sandbox, "--disable-dev-shm-usage"]
        )
        yield chromium
        chromium.close()


@pytest.fixture
def browser_context(browser, live_server):
    """Open a fresh browser profile at the address of a running copy of the site."""
    context = browser.new_context(
        base_url=live_server.url, viewport={"width": 1280, "height": 800}, accept_downloads=True
    )
    context.set_default_timeout(PATIENCE_MS)
    yield context
    context.close()


@pytest.fixture
def browser_page(browser_context):
    """Open one page; script errors and refused content fail the test that caused them."""
    faults = []
    page = browser_context.new_page()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: _keep_refusal(message, faults))
    yield page
    assert not faults, f"the page reported: {faults}"


def _keep_refusal(message, faults):
    if "Content Security Policy" in message.text or "Content-Security-Policy" in message.text:
        faults.append(message.text)
