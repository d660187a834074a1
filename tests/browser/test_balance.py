"""A balance at the bench: read through the browser's serial port, or placed from elsewhere."""

import pytest
from playwright.sync_api import expect

from gradation.models import BalanceReading, BenchPlace, Weighing
from tests import factories
from tests.browser.steps import laboratory_at_work, row, sign_in

#: A serial port for the page, whose lines the test sends; the browser's own cannot be plugged.
FAKE_PORT = """
(() => {
  const ports = [];
  const listeners = {};
  class Port {
    constructor() { this.readable = null; this.opened = []; }
    async open(settings) {
      this.opened.push(settings);
      this.readable = new ReadableStream({ start: (control) => { this.control = control; } });
    }
    async close() { this.readable = null; }
    send(text) { this.control.enqueue(new TextEncoder().encode(text)); }
    bytes(values) { this.control.enqueue(new Uint8Array(values)); }
    unplug() {
      this.readable = null;
      this.control.error(new DOMException("The device has been lost.", "NetworkError"));
    }
  }
  const serial = {
    getPorts: async () => (sessionStorage.getItem("granted") ? ports : []),
    requestPort: async () => { sessionStorage.setItem("granted", "1"); return ports[0]; },
    addEventListener: (name, act) => { listeners[name] = act; },
    plug: () => listeners.connect?.(),
  };
  ports.push(new Port());
  window.thePort = ports[0];
  Object.defineProperty(navigator, "serial", { value: serial, configurable: true });
})();
"""


@pytest.fixture
def place(live_server):
    return laboratory_at_work()


@pytest.fixture
def run(place):
    portion = factories.make_portion(
        place.technician, factories.make_sample(place.technician, place.material)
    )
    sieves = [standing.sieve for standing in place.nest.places.all()]
    return factories.make_run(place.technician, portion=portion, bench=place.bench, sieves=sieves)


@pytest.fixture
def link(place):
    balance = factories.make_instrument("balance", serial="B-7")
    return factories.make_balance_link(balance, place.bench, sends="all the time")


@pytest.fixture
def screen(browser_page, place, run, link):
    browser_page.add_init_script(FAKE_PORT)
    sign_in(browser_page, place.technician)
    browser_page.goto(f"/bench/runs/{run.pk}/")
    return browser_page


def connect(page):
    page.get_by_role("button", name="Connect the balance").click()
    expect(said(page)).to_contain_text("B-7 is connected")


def said(page):
    return page.locator("[data-balance-state]")


def rest(page, mass, times=5):
    """Let a load rest on the balance."""
    page.evaluate("([text]) => window.thePort.send(text)", [f"{mass} g\r\n" * times])


def go_to(page, name):
    row(page, name).locator("[data-reading]").first.focus()


def wait_named(page, position):
    page.wait_for_function("() => true")
    for _ in range(100):
        named = BenchPlace.objects.filter(slot="fraction", position=position).first()
        if named is not None:
            return
        page.wait_for_timeout(100)
    raise AssertionError("the field was never named")


def test_a_load_at_rest_lands_in_the_field_one_is_in_and_only_once(screen, run):
    go_to(screen, "fraction-1")
    wait_named(screen, 1)
    connect(screen)

    rest(screen, "0.00")
    rest(screen, "10.00", times=60)

    expect(said(screen)).to_contain_text("10.00 g is in its field")
    expect(row(screen, "fraction-1")).to_contain_text("10.00")
    rest(screen, "10.00", times=60)
    screen.wait_for_timeout(1500)
    kept = Weighing.objects.get(run=run)
    assert (kept.position, kept.source, kept.raw_text) == (1, "balance", "10.00 g")
    assert kept.balance.serial == "B-7"
    assert BalanceReading.objects.count() == 1


def test_the_port_is_opened_with_the_settings_of_the_balances_card(screen, link):
    connect(screen)

    assert screen.evaluate("() => window.thePort.opened") == [
        {"baudRate": 9600, "dataBits": 8, "stopBits": 1, "parity": "none"}
    ]


def test_a_permission_given_once_is_remembered_after_a_reload(screen):
    connect(screen)
    screen.reload()

    expect(said(screen)).to_contain_text("B-7 is connected")


def test_a_load_that_stands_there_over_a_reload_is_not_sent_again(screen, run):
    go_to(screen, "fraction-1")
    wait_named(screen, 1)
    connect(screen)
    rest(screen, "0.00")
    rest(screen, "10.00")
    expect(row(screen, "fraction-1")).to_contain_text("10.00")

    screen.reload()
    expect(said(screen)).to_contain_text("B-7 is connected")
    rest(screen, "10.00", times=30)
    screen.wait_for_timeout(1500)

    assert BalanceReading.objects.count() == 1


def test_a_pulled_cable_is_said_and_put_back_is_read_again(screen, run):
    go_to(screen, "fraction-1")
    wait_named(screen, 1)
    connect(screen)
    screen.evaluate("() => window.thePort.unplug()")
    expect(said(screen)).to_contain_text("not connected any more")

    screen.evaluate("() => navigator.serial.plug()")
    expect(said(screen)).to_contain_text("B-7 is connected")
    rest(screen, "0.00")
    rest(screen, "10.00")

    expect(row(screen, "fraction-1")).to_contain_text("10.00")


def test_noise_and_unsettled_lines_place_nothing(screen, run):
    go_to(screen, "fraction-1")
    wait_named(screen, 1)
    connect(screen)
    screen.evaluate("() => window.thePort.bytes([255, 254, 0, 13, 10])")
    screen.evaluate("() => window.thePort.send('3.1 g\\r\\n4.2 g\\r\\n')")
    rest(screen, "OL")
    screen.wait_for_timeout(1000)
    assert not Weighing.objects.filter(run=run).exists()

    rest(screen, "10.00")
    expect(row(screen, "fraction-1")).to_contain_text("10.00")


def test_without_network_a_line_waits_in_the_browser_and_is_kept_once(screen, browser_context, run):
    go_to(screen, "fraction-1")
    wait_named(screen, 1)
    connect(screen)
    browser_context.set_offline(True)
    rest(screen, "0.00")
    rest(screen, "10.00")
    expect(said(screen)).to_contain_text("kept in this browser")
    assert not BalanceReading.objects.exists()

    browser_context.set_offline(False)

    expect(row(screen, "fraction-1")).to_contain_text("10.00")
    assert BalanceReading.objects.count() == 1


def test_a_reading_that_found_no_field_is_taken_to_the_one_chosen(screen, run, link):
    factories.send_line(link, "33.30 g", factories.keeper())
    waiting = screen.locator("[data-waiting]")
    expect(waiting).to_contain_text("33.30")

    go_to(screen, "fraction-2")
    wait_named(screen, 2)
    waiting.get_by_role("button", name="Take it to the field").click()

    expect(row(screen, "fraction-2")).to_contain_text("33.30")
    expect(waiting).to_have_count(0)
    assert Weighing.objects.get(run=run).position == 2


def test_a_reading_from_elsewhere_goes_into_the_named_field_and_shows_here(screen, run, link):
    go_to(screen, "fraction-3")
    wait_named(screen, 3)

    factories.send_line(link, "44.40 g", factories.keeper())

    expect(row(screen, "fraction-3")).to_contain_text("44.40")


def test_gross_and_tare_the_balance_gives_the_gross(screen, run, link):
    screen.goto(f"/bench/runs/{run.pk}/?weigh=gross")
    tare = row(screen, "fraction-1").locator("[data-tare]")
    tare.fill("400")
    go_to(screen, "fraction-1")
    wait_named(screen, 1)

    factories.send_line(link, "412.50 g", factories.keeper())

    expect(row(screen, "fraction-1")).to_contain_text("12.5")
    kept = Weighing.objects.get(run=run)
    assert (kept.gross_g, kept.tare_g) == (412.5, 400)


@pytest.mark.parametrize(
    ("lines", "count"),
    [
        (["12.34 g"] * 1000, 1),
        (["12.34 g"] * 5 + ["0.00 g"] + ["12.34 g"] * 5, 2),
        (["12.34 g"] * 3 + ["12.36 g"] * 5 + ["12.33 g"] * 5, 1),
        (["12.34 g"] * 3 + ["20.01 g"] * 3, 2),
        (["12.34 g"] * 2, 0),
        (["\\xff", "OL", "-1.0 g"] * 4, 0),
    ],
)
def test_the_script_tells_loads_apart_as_the_gateway_does(screen, lines, count):
    taken = screen.evaluate(
        """(lines) => {
          const settler = window.balanceSettler(true);
          return lines.filter((line, at) => settler.take(line, at * 100)).length;
        }""",
        lines,
    )

    assert taken == count


def test_without_a_serial_port_the_page_types_as_ever(browser_page, place, run, link):
    browser_page.add_init_script("delete Navigator.prototype.serial")
    sign_in(browser_page, place.technician)
    browser_page.goto(f"/bench/runs/{run.pk}/")

    expect(browser_page.get_by_role("button", name="Connect the balance")).to_be_hidden()
    expect(said(browser_page)).to_contain_text("Readings of B-7 land in the field you are in")
