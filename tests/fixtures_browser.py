"""A real Chromium for the browser tests."""

import os
import shutil

import pytest

from labsite.bootstrap import suite, system

PATIENCE_MS = 20_000  # of a busy machine: it costs time only where a test fails


@pytest.fixture(scope="session")
def browser():
    """Start the machine's Chromium once for each process of the test run."""
    program = next(filter(None, map(shutil.which, suite.BROWSERS)), None)
    if program is None:
        pytest.skip("missing part: Chromium")
    from django.db import connections
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    # While Playwright's loop runs, Django keeps the connections of this thread in another place:
    # the one used so far would stay open behind everybody's back and hold its locks.
    connections.close_all()
    # Playwright's own event loop makes Django think that this is asynchronous code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
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
