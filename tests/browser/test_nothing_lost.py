"""Nothing is lost or doubled: no network, a closed tab, an expired sign-in, another person."""

import pytest
from playwright.sync_api import expect

from gradation.models import Weighing
from tests import factories
from tests.browser.steps import (
    field,
    is_kept,
    line,
    lose_first_answer,
    row,
    sign_in,
    type_reading,
    weigh,
)


def masses(run):
    rows = run.weighings.order_by("pk").values_list("slot", "position", "entered_text")
    return [tuple(row) for row in rows]


#: What is half typed, as the browser's own database holds it now.
DRAFTS = """async (text) => {
  const db = await new Promise((done) => {
    const asked = indexedDB.open("bench");
    asked.onsuccess = () => done(asked.result);
  });
  const all = await new Promise((done) => {
    const asked = db.transaction("drafts").objectStore("drafts").getAll();
    asked.onsuccess = () => done(asked.result);
  });
  db.close();
  return JSON.stringify(all).includes(text);
}"""


def test_the_network_is_cut_in_the_middle_of_a_run_and_comes_back(screen, browser_context, run):
    weigh(screen, "dry-mass-0", "500,0")
    field(screen, "fraction-1").focus()
    browser_context.set_offline(True)

    screen.keyboard.type("10")
    screen.keyboard.press("Enter")
    screen.keyboard.type("75")
    screen.keyboard.press("Enter")
    screen.keyboard.type("1")

    expect(line(screen)).to_contain_text("2 readings wait in this browser")
    expect(line(screen)).to_contain_text("Figures are as of")
    expect(field(screen, "fraction-3")).to_be_focused()
    for name, text in (("fraction-1", "10"), ("fraction-2", "75")):
        expect(field(screen, name)).to_have_value(text)
        expect(row(screen, name).locator('[data-kept="waiting"]')).to_be_visible()
    assert masses(run) == [("dry mass", 0, "500,0")]

    browser_context.set_offline(False)

    is_kept(screen, "fraction-2", "75")
    is_kept(screen, "fraction-1", "10")
    expect(line(screen)).to_contain_text("Everything entered is kept")
    expect(field(screen, "fraction-3")).to_have_value("1")
    assert masses(run)[1:] == [("fraction", 1, "10"), ("fraction", 2, "75")]
    waited = Weighing.objects.get(run=run, position=1)
    assert waited.observed_at < waited.made_at


def test_f25_an_answer_that_is_lost_after_the_server_kept_the_reading_doubles_nothing(screen, run):
    lost = lose_first_answer(screen)
    type_reading(screen, "dry-mass-0", "500.0")

    is_kept(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("Everything entered is kept")
    assert lost == [200]
    assert masses(run) == [("dry mass", 0, "500.0")]


@pytest.mark.parametrize("status", [429, 500, 503])
def test_a_server_that_cannot_just_now_is_asked_again(screen, run, status):
    answers = [status]

    def once(route):
        if answers:
            route.fulfill(status=answers.pop(), body="busy", headers={"Retry-After": "1"})
        else:
            route.continue_()

    screen.route("**/readings/", once)
    type_reading(screen, "dry-mass-0", "500.0")

    is_kept(screen, "dry-mass-0", "500.0")
    assert masses(run) == [("dry mass", 0, "500.0")]


def test_a_closed_tab_brings_back_what_waited_and_what_was_half_typed(screen, browser_context, run):
    browser_context.set_offline(True)
    type_reading(screen, "dry-mass-0", "500.0")
    screen.keyboard.type("12,")
    expect(line(screen)).to_contain_text("1 reading waits in this browser")
    screen.wait_for_function(
        DRAFTS, arg="12,"
    )  # no person closes a tab within the same millisecond
    address = screen.url
    screen.close()
    browser_context.set_offline(False)

    again = browser_context.new_page()
    again.goto(address)

    # A tab that goes while it sends holds the lease for another 15 s (LEASE_MS).
    kept = row(again, "dry-mass-0").get_by_role("link", name="correct")
    expect(kept).to_be_visible(timeout=45_000)
    is_kept(again, "dry-mass-0", "500.0")
    expect(field(again, "fraction-1")).to_have_value("12,")
    expect(field(again, "fraction-1")).to_be_focused()
    again.keyboard.type("5")
    again.keyboard.press("Enter")
    is_kept(again, "fraction-1", "12.5")
    assert masses(run) == [("dry mass", 0, "500.0"), ("fraction", 1, "12,5")]


#: A disk so slow that what is written to the browser's database is not there before the page goes.
SLOW_DISK = """() => {
  const add = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function (...row) {
    const wait = () => {
      this.get(0).onsuccess = wait;
    };
    wait();
    return add.apply(this, row);
  };
}"""


def test_a_page_that_goes_while_the_browser_still_writes_loses_nothing(screen, run):
    screen.evaluate(SLOW_DISK)
    type_reading(screen, "dry-mass-0", "500.0")
    screen.reload()

    is_kept(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("Everything entered is kept")
    assert masses(run) == [("dry mass", 0, "500.0")]
    assert screen.evaluate("() => Object.keys(localStorage)") == []
    assert not screen.evaluate(DRAFTS, "500.0")


def test_an_expired_sign_in_keeps_what_was_entered_until_the_same_person_is_back(
    screen, browser_context, run, place
):
    browser_context.clear_cookies()
    type_reading(screen, "dry-mass-0", "500.0")

    expect(line(screen)).to_contain_text("1 reading waits in this browser")
    line(screen).get_by_role("link", name="Sign in again to send").click()
    screen.get_by_label("Name").fill(place.technician.username)
    screen.get_by_label("Password").fill(factories.PASSWORD)
    screen.get_by_role("button", name="Sign in").click()

    is_kept(screen, "dry-mass-0", "500.0")
    assert run.weighings.get().made_by == place.technician


def test_signing_in_again_in_another_tab_is_enough(screen, browser_context, run, place):
    browser_context.clear_cookies()
    type_reading(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("Sign in again to send")

    other = browser_context.new_page()
    sign_in(other, place.technician)
    other.goto("/bench/")

    is_kept(screen, "dry-mass-0", "500.0")


def test_another_persons_sign_in_never_sends_it_under_their_name(screen, browser_context, run):
    browser_context.clear_cookies()
    type_reading(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("1 reading waits in this browser")
    expect(line(screen)).to_contain_text("Sign in again to send")
    other = factories.technician()

    sign_in(screen, other)
    screen.goto(f"/bench/runs/{run.pk}/")
    expect(line(screen)).to_contain_text("1 reading waits for Ingrid Solvik")
    weigh(screen, "fraction-1", "10")

    expect(field(screen, "dry-mass-0")).to_have_value("")
    assert [(row.made_by, row.entered_text) for row in run.weighings.all()] == [(other, "10")]


def test_a_page_of_one_person_sends_nothing_while_another_is_signed_in(
    screen, browser_context, run
):
    # Before the page hears of the other person: then it is cleared (test_session_over.py).
    screen.route("**/session/", lambda route: route.abort())
    other = browser_context.new_page()
    sign_in(other, factories.technician())
    other.goto("/bench/")

    type_reading(screen, "dry-mass-0", "500.0")

    expect(line(screen)).to_contain_text("this page is Ingrid Solvik's")
    assert not run.weighings.exists()


def test_readings_of_the_version_before_wait_until_somebody_says_they_are_theirs(screen, run):
    key = "0e8f9a52-7a3c-4f1e-9f55-0b4f7f1d2c11"
    values = {"slot": "dry mass", "position": "0", "key": key, "text": "500.0"}
    readings = {key: {"path": f"/bench/runs/{run.pk}/readings/", "values": values}}
    screen.evaluate(
        "([name, kept]) => localStorage.setItem(name, JSON.stringify(kept))",
        [f"readings /bench/runs/{run.pk}/", readings],
    )
    screen.reload()

    expect(line(screen)).to_contain_text("without a name, from before an upgrade")
    assert not run.weighings.exists()
    line(screen).get_by_role("button", name="They are mine: send them").click()

    is_kept(screen, "dry-mass-0", "500.0")
    assert str(run.weighings.get().key) == key


def test_f30_a_page_from_before_an_upgrade_keeps_what_is_typed_and_asks_to_be_reloaded(screen, run):
    def of_another_form(route):
        route.continue_(headers={**route.request.headers, "x-bench-form": "0"})

    screen.route("**/readings/", of_another_form)
    type_reading(screen, "dry-mass-0", "500.0")
    expect(line(screen)).to_contain_text("The server was renewed")
    assert not run.weighings.exists()
    screen.unroute("**/readings/")

    line(screen).get_by_role("button", name="Reload this page").click()

    is_kept(screen, "dry-mass-0", "500.0")


def test_handing_over_waits_for_what_waits(screen, browser_context, run):
    masses_g = ("500", "10", "75", "100", "125", "110", "60")
    names = ("dry-mass-0", *(f"fraction-{n}" for n in range(1, 7)))
    for name, mass in zip(names, masses_g, strict=True):
        weigh(screen, name, mass)
    browser_context.set_offline(True)
    type_reading(screen, "pan-0", "20")
    screen.keyboard.press("Enter")
    expect(line(screen)).to_contain_text("Not handed over: readings still wait")

    browser_context.set_offline(False)
    is_kept(screen, "pan-0", "20")
    screen.get_by_role("button", name="Hand over for review").click()

    expect(screen.get_by_role("status").first).to_contain_text("is handed over for review")
