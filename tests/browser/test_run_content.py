"""A run beyond one mass a sieve, worked in the browser: increments, a split, one confirmation."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from gradation.models import Shaking
from gradation.services import run_places
from tests import factories
from tests.browser.steps import field, is_kept, laboratory_at_work, row, sign_in, weigh


@pytest.fixture
def place(live_server):
    return laboratory_at_work(
        loading_rule="astm_c136",
        shaking_motion="Vertical throw",
        shaking_minutes=Decimal(10),
        shaking_amplitude_mm=Decimal("1.5"),
        shaking_frequency_hz=Decimal(50),
    )


def open_page(page, run):
    page.goto(f"/bench/runs/{run.pk}/")
    expect(row(page, "pan-0")).to_be_visible()


def test_an_overloaded_sieve_is_weighed_in_increments_row_by_row(screen, run):
    weigh(screen, "fraction-1", "0")
    weigh(screen, "fraction-2", "155")
    # ASTM C136: 7 kg/m2; a 200 mm frame less 12.7 mm carries 192.9 g, of which 155 g are 80.4 %.
    expect(screen.locator("#load-fraction-2")).to_contain_text("80 % of its load limit")

    for _ in range(2):
        row(screen, "fraction-2").get_by_text("+ increment").click()
    expect(row(screen, "fraction-2-2")).to_have_count(1)
    expect(field(screen, "fraction-2-2")).to_be_focused()
    screen.keyboard.type("45.5")
    screen.keyboard.press("Enter")

    is_kept(screen, "fraction-2-2", "45.5")
    expect(screen.locator("#offers-fraction-2")).to_contain_text("2 increments, together 200.5 g")
    expect(field(screen, "fraction-3")).to_be_focused()
    row(screen, "fraction-2").get_by_text("+ increment").click()
    expect(field(screen, "fraction-2-3")).to_be_focused()


def test_the_masses_of_a_split_are_typed_one_after_the_other(screen, run):
    actor = run.technician
    run_places.split_run(actor=actor, run=run, position=1, reason="600 µm would be heaped")
    open_page(screen, run)
    weigh(screen, "fraction-1", "100")
    expect(field(screen, "passing-at-split-1")).to_be_focused()
    for text in ("400", "80", "20"):
        screen.keyboard.type(text)
        screen.keyboard.press("Enter")

    is_kept(screen, "reduced-at-split-1", "80")
    is_kept(screen, "fraction-2", "20")
    expect(screen.locator("#stages")).to_contain_text("The reduced part below 4.75 mm")
    assert run.weighings.get(slot="fraction", position=2).mass_g == 20


def test_one_press_records_the_shaking_as_planned(screen, run):
    screen.get_by_role("button", name="Shaken as planned").click()

    expect(screen.locator("#work")).to_contain_text("Shaking 1: 10 min, 1.5 mm peak to peak, 50 Hz")
    assert Shaking.objects.get().minutes == Decimal(10)


@pytest.mark.parametrize("width", [820, 1280])
def test_nothing_runs_off_the_screen(browser_page, place, run, width):
    factories.bench.record_weighing(
        actor=run.technician, run=run, reading=factories.reading("fraction", "250", 2)
    )
    run_places.split_run(actor=run.technician, run=run, position=1, reason="heaped")
    browser_page.set_viewport_size({"width": width, "height": 1180})
    sign_in(browser_page, place.technician)
    open_page(browser_page, run)

    wide = browser_page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width
