"""The timer of a shaking in stretches: it pauses with the shaker, and rings at the end."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from gradation.models import Shaking
from tests.browser.steps import laboratory_at_work


@pytest.fixture
def place(live_server):
    """Six seconds of shaking with a pause every two: three stretches, two pauses."""
    return laboratory_at_work(shaking_minutes=Decimal("0.1"), shaking_interval_s=2)


def test_the_timer_rests_after_each_stretch_and_rings_when_all_are_done(screen):
    timer = screen.locator("#timer")
    face = timer.get_by_role("timer")
    timer.get_by_role("button", name="Start with the shaker").click()
    expect(timer).to_contain_text("Stretch 1 of 3")

    for stretch, left in ((1, "0:04"), (2, "0:02")):
        expect(timer).to_contain_text(f"Pause after stretch {stretch}. Go on when the shaker does")
        expect(face).to_have_text(left)
        assert int(timer.get_attribute("data-beeps")) == stretch
        screen.wait_for_timeout(1500)  # in a pause the time stands still
        expect(face).to_have_text(left)
        timer.get_by_role("button", name="Go on").click()
        expect(timer).to_contain_text(f"Stretch {stretch + 1} of 3")

    expect(timer).to_contain_text("Shaken. Switch the shaker off")
    screen.wait_for_function("document.title.startsWith('Shaken')")
    assert int(timer.get_attribute("data-beeps")) >= 3


def test_a_pause_is_still_a_pause_after_a_reload(screen):
    timer = screen.locator("#timer")
    timer.get_by_role("button", name="Start with the shaker").click()
    expect(timer).to_contain_text("Pause after stretch 1")

    screen.reload()

    expect(timer).to_contain_text("Pause after stretch 1")
    expect(timer.get_by_role("timer")).to_have_text("0:04")


def test_time_and_pauses_as_planned_are_confirmed_with_one_press_and_not_asked_again(screen, run):
    expect(screen.locator("#hand-over [name=shaking_minutes]")).to_have_count(1)

    screen.get_by_role("button", name="Shaken as planned").click()

    expect(screen.locator("#work")).to_contain_text("Shaking 1: 0.1 min, a pause every 2 s")
    kept = Shaking.objects.get(run=run)
    assert (kept.minutes, kept.interval_s) == (Decimal("0.1"), 2)
    screen.reload()
    expect(screen.locator("#hand-over [name=shaking_minutes]")).to_have_count(0)
