"""Two benches on one run: both see everything within two seconds, nothing is overwritten."""

import time

import pytest
from playwright.sync_api import expect

from gradation.policy import Role
from tests import factories
from tests.browser.steps import field, is_kept, line, row, shows, sign_in, type_reading, weigh

WITHIN_MS = 2_000


@pytest.fixture
def second(browser, live_server, run):
    """Another person in another browser, on the same run."""
    context = browser.new_context(base_url=live_server.url, viewport={"width": 1180, "height": 820})
    page = context.new_page()
    sign_in(page, factories.make_person(Role.TECHNICIAN, full_name="Tobin Aske"))
    page.goto(f"/bench/runs/{run.pk}/")
    yield page
    context.close()


def sees(page, name, mass):
    """Expect a mass in a row within the time allowed."""
    expect(row(page, name).locator(".weighed")).to_have_text(shows(mass), timeout=WITHIN_MS)


def test_both_see_each_others_readings_within_two_seconds(screen, second):
    weigh(screen, "dry-mass-0", "500.0")
    field(second, "fraction-6").focus()
    began = time.monotonic()
    type_reading(screen, "fraction-1", "10")
    expect(row(second, "fraction-1").locator(".weighed")).to_have_text(
        shows("10"), timeout=WITHIN_MS
    )
    expect(second.locator("#passing-fraction-1")).to_have_text("98", timeout=WITHIN_MS)

    type_reading(second, "fraction-2", "75")
    expect(row(screen, "fraction-2").locator(".weighed")).to_have_text(
        shows("75"), timeout=WITHIN_MS
    )

    assert time.monotonic() - began < 2 * WITHIN_MS / 1000
    expect(second.locator("#live")).to_contain_text("500.0")


def test_a_clash_is_shown_with_both_values_and_neither_is_overwritten(screen, second, run):
    field(screen, "fraction-3").click()
    screen.keyboard.type("103.0")
    type_reading(second, "fraction-3", "101.0")

    error = screen.locator("#error-fraction-3")
    expect(error).to_contain_text("Tobin Aske 101.0 g is kept here", timeout=WITHIN_MS)
    expect(field(screen, "fraction-3")).to_have_value("103.0")
    expect(field(screen, "fraction-3")).to_be_focused()
    screen.keyboard.press("Enter")

    expect(error).to_contain_text("Tobin Aske 101.0 g – you typed 103.0 g")
    screen.reload()
    expect(error).to_contain_text("Tobin Aske 101.0 g – you typed 103.0 g")
    assert [row.entered_text for row in run.weighings.all()] == ["101.0"]

    clash = line(screen).locator(".clash")
    clash.get_by_role("button", name="Correct it to 103.0 g").click()
    expect(clash.locator("input")).to_be_focused()
    clash.locator("input").fill("two fractions were in the dish")
    clash.locator("input").press("Enter")

    expect(row(screen, "fraction-3")).to_contain_text("101.0")
    is_kept(screen, "fraction-3", "103.0")
    expect(row(second, "fraction-3").locator(".weighed")).to_have_text(
        shows("103.0"), timeout=WITHIN_MS
    )
    expect(line(second)).to_contain_text("101.0 → 103.0 g")
    told = [(row.revision, row.entered_text, row.reason) for row in run.weighings.order_by("pk")]
    assert told == [(1, "101.0", ""), (2, "103.0", "two fractions were in the dish")]


def test_a_clash_after_the_network_came_back_is_settled_by_keeping_theirs(
    screen, second, browser_context, run
):
    browser_context.set_offline(True)
    type_reading(screen, "fraction-3", "103.0")
    expect(line(screen)).to_contain_text("1 reading waits in this browser")
    weigh(second, "fraction-3", "101.0")

    browser_context.set_offline(False)

    expect(screen.locator("#error-fraction-3")).to_contain_text("101.0 g – you typed 103.0 g")
    line(screen).get_by_role("button", name="Keep 101.0 g").click()
    is_kept(screen, "fraction-3", "101.0")
    expect(line(screen).locator(".clash")).to_have_count(0)
    assert [row.entered_text for row in run.weighings.all()] == ["101.0"]


def _is_reading(request):
    return request.method == "POST" and request.url.endswith("/readings/")


def test_two_tabs_of_one_browser_send_what_waits_once(screen, browser_context, run):
    other = browser_context.new_page()
    other.goto(f"/bench/runs/{run.pk}/")
    field(other, "fraction-1").wait_for()
    sent = []
    browser_context.on("request", lambda it: sent.append(it) if _is_reading(it) else None)
    browser_context.set_offline(True)
    type_reading(screen, "dry-mass-0", "500.0")
    type_reading(other, "fraction-1", "10")
    expect(line(other)).to_contain_text("wait in this browser")
    sent.clear()

    browser_context.set_offline(False)

    for page in (screen, other):
        is_kept(page, "dry-mass-0", "500.0")
        is_kept(page, "fraction-1", "10")
    assert run.weighings.count() == 2
    bodies = [request.post_data for request in sent]
    assert len(bodies) == len(set(bodies))


def test_a_run_handed_over_elsewhere_says_so(screen, second, run):
    for name, mass in {"dry-mass-0": "500", "pan-0": "20"}.items():
        weigh(second, name, mass)
    for n, mass in enumerate(("10", "75", "100", "125", "110", "60"), start=1):
        weigh(second, f"fraction-{n}", mass)
    second.get_by_role("button", name="Hand over for review").click()

    expect(line(screen)).to_contain_text("This run is weighed now")
