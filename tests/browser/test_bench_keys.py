"""The weighing screen by keyboard, scanner, glove and tablet, and the timer of the shaking."""

import re

import pytest
from playwright.sync_api import expect

from gradation.models import RunSieve
from tests import factories
from tests.browser.steps import field, is_kept, line, row, sign_in, weigh

ROWS = ("dry-mass-0", *(f"fraction-{n}" for n in range(1, 7)), "pan-0")
MASSES = ("500,0", "10", "75.0", "100", "125", "110,0", "60", "20")
GLOVE_PX = 44
#: Where a busy machine types too slowly for a scanner, a code is refused as what was typed.
NO_LABEL = "{0} is on no label of this laboratory|'{0}' is not a number"


def scan(page, *codes):
    """Send codes as a scanner does: typed without a pause, each ended by Enter."""
    for code in codes:
        page.keyboard.type(code)
        page.keyboard.press("Enter")


def serial(run, position):
    """Give the serial number on the label of a sieve of a run."""
    return RunSieve.objects.get(run=run, position=position).sieve.serial


def test_a_run_takes_the_digits_an_enter_each_and_one_confirmation(screen, run):
    screen.evaluate(
        """window.pressed = 0;
        document.addEventListener('keydown', () => { window.pressed += 1; }, true)"""
    )
    for name, mass in zip(ROWS, MASSES, strict=True):
        expect(field(screen, name)).to_be_focused()
        screen.keyboard.type(mass)
        screen.keyboard.press("Enter")
    is_kept(screen, "pan-0", "20")
    expect(screen.locator("[data-after-rows]")).to_be_focused()

    pressed = screen.evaluate("window.pressed")
    screen.keyboard.press("Enter")

    expect(screen.get_by_role("status").first).to_contain_text("is handed over for review")
    assert pressed == sum(len(mass) + 1 for mass in MASSES)
    run.refresh_from_db()
    assert run.state == "weighed"
    assert [row.entered_text for row in run.weighings.order_by("pk")] == list(MASSES)


def test_arrows_walk_the_rows_and_leaving_a_row_enters_it(screen, run):
    field(screen, "fraction-2").focus()
    screen.keyboard.type("75")
    screen.keyboard.press("ArrowUp")
    expect(field(screen, "fraction-1")).to_be_focused()

    is_kept(screen, "fraction-2", "75")
    screen.keyboard.press("ArrowDown")
    expect(field(screen, "fraction-3")).to_be_focused()
    assert run.weighings.count() == 1


def test_a_scanned_sieve_leads_to_its_row_and_what_was_half_typed_stays(screen, run):
    field(screen, "fraction-3").focus()
    screen.keyboard.type("12")
    scan(screen, serial(run, 5))

    expect(field(screen, "fraction-5")).to_be_focused()
    expect(field(screen, "fraction-5")).to_have_value("")
    expect(field(screen, "fraction-3")).to_have_value("12")
    screen.keyboard.type("110")
    screen.keyboard.press("Enter")
    is_kept(screen, "fraction-5", "110")
    assert [row.entered_text for row in run.weighings.all()] == ["110"]


def test_a_burst_of_scans_loses_none_and_makes_no_mass_of_any(screen, run):
    other = factories.make_sieve(75)
    field(screen, "dry-mass-0").focus()

    scan(screen, "QX-70071", serial(run, 2), other.serial, "QX-70072", run.portion.label)
    scan(screen, serial(run, 4))

    expect(field(screen, "fraction-4")).to_be_focused()
    for said in (
        NO_LABEL.format("QX-70071"),
        f"{other.serial} is a sieve; it does not stand in this run",
        NO_LABEL.format("QX-70072"),
        f"{run.portion.label} is the portion on this screen",
    ):
        expect(line(screen)).to_contain_text(re.compile(said))
    screen.wait_for_timeout(300)  # for what must not come there is nothing to wait for
    assert not run.weighings.exists()


def test_a_code_that_comes_slowly_is_still_no_mass(screen, run):
    field(screen, "fraction-1").fill(serial(run, 6))
    screen.keyboard.press("Enter")

    expect(field(screen, "fraction-6")).to_be_focused()
    expect(field(screen, "fraction-1")).to_have_value("")
    assert not run.weighings.exists()


SLOW_DISK = """
const known = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, "oncomplete");
Object.defineProperty(IDBTransaction.prototype, "oncomplete", {
  ...known,
  set(tell) {
    known.set.call(this, this.mode === "readonly" ? (it) => setTimeout(tell, 1500, it) : tell);
  },
});
"""


def test_text_that_was_taken_away_does_not_come_back_from_a_slow_disk(browser_page, run, place):
    """What was half typed is read back while the page opens: after it, the code is gone again."""
    sign_in(browser_page, place.technician)
    browser_page.add_init_script(SLOW_DISK)
    browser_page.goto(f"/bench/runs/{run.pk}/")
    field(browser_page, "fraction-1").fill(serial(run, 6))
    browser_page.wait_for_timeout(2200)  # the first read is told at 1.5 s, the second at 3 s

    browser_page.keyboard.press("Enter")
    expect(field(browser_page, "fraction-6")).to_be_focused()
    browser_page.wait_for_timeout(2000)

    expect(field(browser_page, "fraction-1")).to_have_value("")


def test_a_scanner_that_hesitates_after_the_first_figure_is_understood(screen, run, place):
    sample = factories.make_sample(place.technician, place.material)
    field(screen, "fraction-2").focus()
    screen.keyboard.type(sample.number[0])
    screen.wait_for_timeout(200)
    scan(screen, sample.number[1:])

    expect(screen.get_by_role("heading", level=1)).to_contain_text(f"Sample {sample.number}")
    assert not run.weighings.exists()


def test_a_serial_of_digits_alone_becomes_no_mass_either(screen, run):
    factories.make_sieve(75, serial="4071188")
    field(screen, "fraction-1").focus()

    scan(screen, "4071188")

    expect(line(screen)).to_contain_text(re.compile("4071188 is (a sieve|also on a label)"))
    assert not run.weighings.exists()


def test_a_large_mass_of_digits_alone_is_a_mass(screen, run):
    field(screen, "dry-mass-0").focus()
    for mass in ("12500", "10250"):
        screen.keyboard.type(mass, delay=100)
        screen.keyboard.press("Enter")

    is_kept(screen, "dry-mass-0", "12\u2009500")
    is_kept(screen, "fraction-1", "10\u2009250")
    expect(field(screen, "fraction-2")).to_be_focused()


def test_a_scan_without_network_is_kept_on_the_line(screen, browser_context):
    browser_context.set_offline(True)

    scan(screen, "QX-70071")

    expect(line(screen)).to_contain_text("QX-70071 could not be looked up")
    browser_context.set_offline(False)
    line(screen).get_by_role("button", name="Look it up again").click()
    expect(line(screen)).to_contain_text("QX-70071 is on no label of this laboratory")


def test_a_portions_label_opens_its_run_from_any_field(screen, place):
    sample = factories.make_sample(place.technician, place.material)
    portion = factories.make_portion(place.technician, sample)
    field(screen, "fraction-2").focus()

    scan(screen, portion.label)

    expect(screen).to_have_url(
        f"{screen.url.split('/bench/')[0]}/bench/portions/{portion.label}/run/"
    )
    sieves = factories.make_sieves((4750, 2360, 1180, 600, 300, 150))
    screen.get_by_label("Bench", exact=True).focus()
    scan(screen, *(sieve.serial for sieve in sieves))
    expect(screen.get_by_label("Or scan the sieves")).to_have_value(
        "".join(f"{sieve.serial}\n" for sieve in sieves)
    )
    scan(screen, place.bench.name)
    expect(screen.get_by_label("Bench", exact=True)).to_have_value(str(place.bench.pk))
    screen.get_by_role("button", name="Open the run").click()
    expect(row(screen, "fraction-6")).to_contain_text(sieves[-1].serial)


@pytest.mark.parametrize(
    ("width", "height", "scale", "locale"),
    [(640, 400, 2, "de-DE"), (820, 1180, 1, "en-GB"), (1180, 820, 1, "de-DE")],
    ids=["200 % zoom", "tablet upright", "tablet across"],
)
def test_it_can_be_worked_on_a_small_screen_with_gloves(
    browser, live_server, run, place, width, height, scale, locale
):
    viewport = {"width": width, "height": height}
    with browser.new_context(
        base_url=live_server.url, viewport=viewport, device_scale_factor=scale, locale=locale
    ) as context:
        page = context.new_page()
        sign_in(page, place.technician)
        page.goto(f"/bench/runs/{run.pk}/")
        works_with_gloves(page, width)


def works_with_gloves(page, width):
    """Weigh three rows; everything is large enough, in sight, and shows where one is."""
    for name, mass in zip(ROWS[:3], ("500,0", "10,5", "75"), strict=True):
        expect(field(page, name)).to_be_focused()
        expect(field(page, name)).to_be_in_viewport(ratio=1)
        page.keyboard.type(mass)
        page.keyboard.press("Enter")
        is_kept(page, name, mass.replace(",", "."))

    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        """(least) => [...document.querySelectorAll('#bench-rows input, main .button')]
            .filter((it) => it.checkVisibility() && it.type !== 'hidden')
            .filter((it) => it.getBoundingClientRect().height < least)
            .map((it) => it.outerHTML)""",
        GLOVE_PX,
    )
    assert small == []
    foot = line(page).bounding_box()
    active = field(page, "fraction-3").bounding_box()
    assert active["y"] + active["height"] <= foot["y"]
    outline = field(page, "fraction-3").evaluate("(it) => getComputedStyle(it).outlineWidth")
    assert outline == "3px"


def test_nothing_moves_while_readings_come_in(screen):
    where = "(it) => [it.getBoundingClientRect().x, it.getBoundingClientRect().y + scrollY]"
    weigh(screen, "dry-mass-0", "500.0")
    field(screen, "pan-0").focus()
    before = field(screen, "pan-0").evaluate(where)

    for n, mass in enumerate(("10", "75", "100", "125"), start=1):
        weigh(screen, f"fraction-{n}", mass)

    assert field(screen, "pan-0").evaluate(where) == before


def test_the_timer_survives_a_reload_rings_and_fills_in_the_minutes(screen):
    timer = screen.locator("#timer")
    expect(timer.get_by_role("timer")).to_have_text("10:00")
    timer.get_by_label("Shaking").fill("0,1")
    timer.get_by_role("button", name="Start with the shaker").click()
    expect(timer.get_by_role("timer")).to_have_text("0:05")
    timer.get_by_role("button", name="Stop for a moment").click()
    stopped = timer.get_by_role("timer").inner_text()
    screen.reload()
    expect(timer.get_by_role("timer")).to_have_text(stopped)

    timer.get_by_role("button", name="Go on").click()
    screen.reload()

    expect(timer).to_contain_text("Shaken. Switch the shaker off")
    expect(line(screen)).to_contain_text("The shaking is over")
    screen.wait_for_function("document.title.startsWith('Shaken')")
    assert int(timer.get_attribute("data-beeps")) >= 1
    expect(screen.locator("[data-shaken-minutes]").first).to_have_value("0.1")
    timer.get_by_role("button", name="Heard").click()
    expect(timer).to_contain_text("Shaken for 0:06")
