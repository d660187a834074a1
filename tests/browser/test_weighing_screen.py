"""The weighing screen on a bad day: wrong keys, a reload, a second browser, no network."""

import pytest
from playwright.sync_api import expect

from gradation.models import Weighing
from tests.browser.steps import row, type_reading, weigh


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("abc", "is not a number"),
        ("1.2.3", "is not a number"),
        ("-5", "-5"),
        ("1e5", "is not a number"),
    ],
)
def test_what_is_no_mass_is_answered_beside_its_field_and_stays_typed(screen, typed, said):
    type_reading(screen, "fraction-1", typed)

    error = screen.locator("#error-fraction-1")
    expect(error).to_contain_text(said)
    field = row(screen, "fraction-1").locator("[data-reading]")
    expect(field).to_have_value(typed)
    expect(field).to_be_focused()


def test_enter_goes_from_row_to_row_down_to_the_pan_and_the_hand_over(screen):
    names = ["dry-mass-0", *(f"fraction-{n}" for n in range(1, 7)), "pan-0"]
    screen.locator("[data-reading]").first.focus()

    for name in names:
        expect(row(screen, name).locator("[data-reading]")).to_be_focused()
        screen.keyboard.press("Enter")

    expect(screen.locator("[data-after-rows]")).to_be_focused()


def test_gross_below_tare_is_refused_and_the_net_is_the_difference(screen, run):
    screen.get_by_role("link", name="weigh gross and tare").click()
    first = row(screen, "fraction-1")
    first.get_by_label("Tare").fill("400")

    type_reading(screen, "fraction-1", "380")
    expect(screen.locator("#error-fraction-1")).to_contain_text("below tare")
    type_reading(screen, "fraction-1", "412,5")

    expect(first.get_by_role("link", name="correct")).to_be_visible()
    kept = Weighing.objects.get(run=run)
    assert (kept.gross_g, kept.tare_g, kept.mass_g) == (412.5, 400, 12.5)


def test_a_reload_shows_every_reading_again(screen):
    weigh(screen, "dry-mass-0", "500.0")
    weigh(screen, "fraction-1", "10")

    screen.reload()

    expect(row(screen, "dry-mass-0")).to_contain_text("500.0")
    expect(screen.locator("#passing-fraction-1")).to_have_text("98")


def test_r40_a_correction_keeps_the_earlier_value_in_sight(screen, run):
    weigh(screen, "fraction-1", "118")
    row(screen, "fraction-1").get_by_role("link", name="correct").click()
    screen.get_by_label("New value").fill("181")
    screen.get_by_label("Why is it corrected").fill("digits turned round")

    screen.get_by_role("button", name="Keep the correction").click()

    expect(row(screen, "fraction-1")).to_contain_text("181")
    expect(row(screen, "fraction-1")).to_contain_text("was 118")


def test_without_network_a_reading_waits_in_the_browser_and_is_sent_once(
    screen, browser_context, run
):
    browser_context.set_offline(True)
    type_reading(screen, "dry-mass-0", "500.0")
    expect(screen.locator("#bench-line")).to_contain_text("1 reading waits in this browser")
    assert not run.weighings.exists()

    browser_context.set_offline(False)
    screen.evaluate("window.dispatchEvent(new Event('online'))")

    expect(row(screen, "dry-mass-0").get_by_role("link", name="correct")).to_be_visible()
    expect(screen.locator("#bench-line")).to_contain_text("Everything entered is kept")
    assert run.weighings.count() == 1


def test_a_reading_typed_before_the_page_is_whole_is_kept_too(browser_page, screen, run):
    held = []
    browser_page.route("**/plotly-basic*", lambda request: held.append(request))
    browser_page.goto(screen.url, wait_until="commit")
    browser_page.locator("html.js").wait_for()
    type_reading(browser_page, "dry-mass-0", "500.0")
    assert not run.weighings.exists()

    held[0].continue_()

    expect(row(browser_page, "dry-mass-0").get_by_role("link", name="correct")).to_be_visible()
    assert run.weighings.get().entered_text == "500.0"
