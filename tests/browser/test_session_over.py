"""A page does not outlive its session: it warns, is cleared, and loses no reading (ASVS 14.3.1)."""

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from playwright.sync_api import expect

from gradation.models import PersonSession
from gradation.services import sessions
from tests import factories
from tests.browser.steps import is_kept, line, sign_in, type_reading

IDLE_S = 9  # the server's limit; a page warns in the last third of it


@pytest.fixture
def short(settings):
    """Sessions that end soon; each request counts."""
    settings.SESSION_IDLE_S = IDLE_S


@pytest.fixture
def sample(place):
    return factories.make_sample(place.technician, place.material)


@pytest.fixture
def sheet(browser_page, place, sample):
    """The page of a sample, opened by a technician."""
    sign_in(browser_page, place.technician)
    browser_page.goto(f"/intake/samples/{sample.number}/")
    expect(browser_page.get_by_role("heading", level=1)).to_contain_text(sample.number)
    return browser_page


def is_cleared(page, place, why="Your session has ended"):
    """Wait until a page says that it was signed out; nothing else is left on it."""
    expect(page.get_by_role("heading", level=1)).to_have_text("Signed out")
    expect(page.get_by_role("alert")).to_contain_text(why)
    expect(page.locator("#content")).to_be_focused()
    assert page.evaluate("document.body.children.length") == 1
    left = page.evaluate("document.documentElement.outerHTML")
    for words in (place.technician.full_name, place.material.name, "csrf", "500.0"):
        assert words.lower() not in left.lower(), words
    assert page.title().endswith("Signed out")


def sign_in_again(page, person):
    page.get_by_role("link", name="Sign in again").click()
    page.get_by_label("Name").fill(person.username)
    page.get_by_label("Password").fill(factories.PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def end_on_the_server(person):
    for session in PersonSession.objects.filter(person=person, ended_at=None):
        sessions.end_session(actor=person, session=session)


def test_s17_a_page_left_open_warns_and_is_cleared(short, sheet, place, sample):
    warning = sheet.get_by_role("alert")
    expect(warning).to_contain_text("about to be signed out")
    expect(sheet.get_by_role("button", name="Stay signed in")).to_be_visible()

    is_cleared(sheet, place)
    assert sample.number not in sheet.locator("body").inner_text()

    sign_in_again(sheet, place.technician)
    expect(sheet.get_by_role("heading", level=1)).to_contain_text(sample.number)


def test_s17_who_stays_is_asked_again_later(short, sheet, sample):
    stay = sheet.get_by_role("button", name="Stay signed in")
    for _ in range(3):
        stay.click()
        expect(stay).to_be_hidden()
    expect(sheet.get_by_role("heading", level=1)).to_contain_text(sample.number)


def test_s17_work_in_another_tab_keeps_a_page_open(short, sheet, place, sample, browser_context):
    other = browser_context.new_page()
    other.goto("/intake/")
    for _ in range(2 * IDLE_S // 3):
        other.wait_for_timeout(2000)
        other.reload()

    assert sample.number in sheet.locator("h1").inner_text()
    other.close()
    is_cleared(sheet, place)


@pytest.mark.parametrize("lost", ["the network", "the answers"])
def test_s17_the_weighing_page_is_cleared_and_a_reading_that_waits_is_sent_after_signing_in(
    short, screen, place, run, browser_context, lost
):
    if lost == "the network":
        browser_context.set_offline(True)
    else:
        screen.route("**/readings/", lambda route: route.abort("connectionreset"))
    type_reading(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("1 reading waits in this browser")

    # The page goes on asking what is new; nobody is at work because of that.
    why = "the server does not answer" if lost == "the network" else "Your session has ended"
    is_cleared(screen, place, why)
    expect(screen.locator("#content")).to_contain_text("1 reading waits in this browser")
    assert not run.weighings.exists()

    browser_context.set_offline(False)
    screen.unroute("**/readings/")
    sign_in_again(screen, place.technician)

    is_kept(screen, "dry-mass-0", "500.0")
    assert [(row.made_by, row.entered_text) for row in run.weighings.all()] == [
        (place.technician, "500.0")
    ]


def test_s17_without_a_network_who_weighs_on_keeps_the_page(short, screen, place, browser_context):
    browser_context.set_offline(True)
    for n in range(1, IDLE_S + 4):
        screen.keyboard.type(str(n % 10))
        screen.wait_for_timeout(1000)
        assert screen.locator("#bench-rows").is_visible(), n

    is_cleared(screen, place, "the server does not answer")


def test_s17_signing_out_elsewhere_clears_every_tab_and_coming_back_opens_them_again(
    sheet, place, sample, browser_context
):
    other = browser_context.new_page()
    other.goto("/intake/")
    other.get_by_role("button", name="Sign out").click()
    is_cleared(sheet, place)

    other.get_by_label("Name").fill(place.technician.username)
    other.get_by_label("Password").fill(factories.PASSWORD)
    other.get_by_role("button", name="Sign in").click()
    expect(sheet.get_by_role("heading", level=1)).to_contain_text(sample.number)


def test_s17_another_person_in_this_browser_sees_nothing_of_the_page(sheet, place, browser_context):
    end_on_the_server(place.technician)
    other = browser_context.new_page()
    sign_in(other, place.reviewer)

    expect(sheet.get_by_role("heading", level=1)).to_have_text("Signed out")
    expect(sheet.locator("body")).not_to_contain_text(place.technician.full_name)


def test_s17_a_page_gone_back_to_is_cleared_when_its_session_ended_meanwhile(sheet, place):
    end_on_the_server(place.technician)
    sheet.evaluate("window.dispatchEvent(new PageTransitionEvent('pageshow', {persisted: true}))")

    is_cleared(sheet, place)


def age(minutes):
    """Let every session have been idle for so long."""
    for row in Session.objects.all():
        store = SessionStore(row.session_key)
        store["seen"] -= 60 * minutes
        store.save()


@pytest.mark.parametrize("is_over", [True, False])
def test_s17_after_a_sleep_or_a_step_of_the_clock_the_server_says_what_is_left(
    browser_page, place, sample, is_over
):
    sign_in(browser_page, place.technician)
    browser_page.clock.install()
    browser_page.goto(f"/intake/samples/{sample.number}/")
    if is_over:
        age(31)
    with browser_page.expect_response("**/session/"):
        browser_page.clock.fast_forward("31:00")

    if is_over:
        is_cleared(browser_page, place)
    else:
        expect(browser_page.get_by_role("heading", level=1)).to_contain_text(sample.number)
        expect(browser_page.locator("[data-session-warning]")).to_be_hidden()
