"""Drying to constant mass at the bench: nothing lost or doubled, a balance fills the field."""

import re
from uuid import uuid4

import pytest
from playwright.sync_api import expect

from gradation.models import BenchPlace, Drying, DryingMass
from gradation.policy import Role
from gradation.services import dryings
from tests import factories
from tests.browser.steps import line, lose_first_answer, sign_in
from tests.browser.test_balance import FAKE_PORT, connect, rest


@pytest.fixture
def drying(place) -> Drying:
    return factories.make_drying()


@pytest.fixture
def oven_screen(browser_page, place, drying):
    sign_in(browser_page, place.technician)
    browser_page.goto(f"/bench/dryings/{drying.pk}/")
    return browser_page


def masses(drying):
    return list(drying.masses.order_by("pk").values_list("number", "entered_text"))


def mass_field(page):
    return page.locator("#drying-weigh input[name=text]")


def weigh(page, text):
    mass_field(page).fill(text)
    mass_field(page).press("Enter")


def weighings(page):
    return page.locator("#drying-weighings")


def test_successive_masses_are_kept_at_once_and_the_next_number_is_asked(oven_screen, drying):
    weigh(oven_screen, "512,3")

    expect(weighings(oven_screen)).to_contain_text("512.3")
    expect(oven_screen.get_by_label("Weighing 2")).to_be_focused()
    expect(oven_screen.locator("#drying-said")).to_contain_text("One weighing so far")
    assert masses(drying) == [(1, "512,3")]


def test_without_network_masses_wait_in_the_browser_and_are_kept_once_in_order(
    oven_screen, browser_context, drying
):
    browser_context.set_offline(True)
    weigh(oven_screen, "512.3")
    expect(oven_screen.get_by_label("Weighing 2")).to_be_focused()
    weigh(oven_screen, "512.2")
    mass_field(oven_screen).press_sequentially("51")

    expect(line(oven_screen)).to_contain_text("2 readings wait in this browser")
    expect(oven_screen.get_by_text("Weighing 2: 512.2 g waits in this browser")).to_be_visible()
    assert masses(drying) == []

    browser_context.set_offline(False)

    expect(weighings(oven_screen)).to_contain_text("512.2")
    expect(line(oven_screen)).to_contain_text("Everything entered is kept")
    expect(oven_screen.get_by_label("Weighing 3")).to_have_value("51")
    assert masses(drying) == [(1, "512.3"), (2, "512.2")]


def test_a_lost_answer_doubles_no_mass(oven_screen, drying):
    lost = lose_first_answer(oven_screen)
    weigh(oven_screen, "512.3")

    expect(weighings(oven_screen)).to_contain_text("512.3")
    expect(line(oven_screen)).to_contain_text("Everything entered is kept")
    assert lost == [200]
    assert masses(drying) == [(1, "512.3")]


def test_a_closed_tab_brings_back_masses_and_what_was_half_typed(
    oven_screen, browser_context, drying
):
    browser_context.set_offline(True)
    weigh(oven_screen, "512.3")
    expect(line(oven_screen)).to_contain_text("1 reading waits in this browser")
    mass_field(oven_screen).press_sequentially("51")
    oven_screen.wait_for_timeout(300)  # no person closes a tab within the same instant
    address = oven_screen.url
    oven_screen.close()
    browser_context.set_offline(False)

    again = browser_context.new_page()
    again.goto(address)

    expect(weighings(again)).to_contain_text("512.3")
    expect(again.get_by_label("Weighing 2")).to_have_value("51")
    assert masses(drying) == [(1, "512.3")]


def test_another_persons_sign_in_never_sends_a_mass_under_their_name(
    oven_screen, browser_context, drying, place
):
    other = factories.make_person(Role.TECHNICIAN, full_name="Odd Lien")
    browser_context.clear_cookies()
    weigh(oven_screen, "512.3")
    expect(line(oven_screen)).to_contain_text("1 reading waits in this browser")

    sign_in(oven_screen, other)
    oven_screen.goto(f"/bench/dryings/{drying.pk}/")

    expect(line(oven_screen)).to_contain_text("1 reading waits for Ingrid Solvik")
    oven_screen.wait_for_timeout(1500)
    assert masses(drying) == []

    sign_in(oven_screen, place.technician)
    oven_screen.goto(f"/bench/dryings/{drying.pk}/")

    expect(weighings(oven_screen)).to_contain_text("512.3")
    assert DryingMass.objects.get(drying=drying).made_by == place.technician


def test_a_clash_shows_both_masses_and_overwrites_neither(
    oven_screen, browser_context, drying, place
):
    other = factories.make_person(Role.TECHNICIAN, full_name="Odd Lien")
    browser_context.set_offline(True)
    weigh(oven_screen, "512.9")
    expect(line(oven_screen)).to_contain_text("1 reading waits in this browser")
    theirs = dryings.MassReading(1, "512.3", uuid4())
    dryings.record_drying_mass(actor=other, drying=drying, reading=theirs)
    browser_context.set_offline(False)

    asked = line(oven_screen).locator(".clash")
    expect(asked).to_contain_text("Odd Lien 512.3 g")
    expect(asked).to_contain_text("you typed 512.9 g")
    assert masses(drying) == [(1, "512.3")]

    asked.get_by_role("button", name="Enter it as weighing 2").click()

    expect(weighings(oven_screen)).to_contain_text("512.9")
    expect(asked).to_have_count(0)
    assert masses(drying) == [(1, "512.3"), (2, "512.9")]


def test_a_scanned_label_in_the_field_becomes_no_mass(oven_screen, drying):
    mass_field(oven_screen).fill("51")
    oven_screen.keyboard.type("S-0142")
    oven_screen.keyboard.press("Enter")

    # Where a busy machine types too slowly for a scanner, it is refused as what was typed.
    said = re.compile("S-0142 is on no label of this laboratory|51S-0142 is no mass")
    expect(line(oven_screen)).to_contain_text(said)
    expect(mass_field(oven_screen)).to_have_value(re.compile("^51(S-0142)?$"))
    assert masses(drying) == []


@pytest.fixture
def at_balance(browser_page, place, drying):
    """The page of a drying, at a bench whose balance the browser reads at its own port."""
    balance = factories.make_instrument("balance", serial="B-7")
    link = factories.make_balance_link(balance, place.bench, sends="all the time")
    browser_page.add_init_script(FAKE_PORT)
    sign_in(browser_page, place.technician)
    browser_page.goto("/bench/pick/")
    browser_page.get_by_label("Bench").select_option(label="Bench 2")
    browser_page.get_by_role("button", name="Work here").click()
    browser_page.goto(f"/bench/dryings/{drying.pk}/")
    return browser_page, link


def named(page, drying, number):
    for _ in range(100):
        if BenchPlace.objects.filter(drying=drying, position=number).exists():
            return
        page.wait_for_timeout(100)
    raise AssertionError("the weighing was never named")


def test_a_balance_at_the_browsers_port_fills_the_weighing(at_balance, drying):
    page, _ = at_balance
    connect(page)
    mass_field(page).focus()
    named(page, drying, 1)

    rest(page, "512.30")

    expect(weighings(page)).to_contain_text("512.30")
    kept = DryingMass.objects.get(drying=drying)
    assert (kept.entered_text, kept.source, kept.balance.serial) == ("512.30", "balance", "B-7")


def test_a_reading_from_the_gateway_is_the_next_weighing_and_shows_here(at_balance, drying):
    page, link = at_balance
    mass_field(page).focus()
    named(page, drying, 1)

    factories.send_line(link, "512.30 g", factories.keeper())

    expect(weighings(page)).to_contain_text("512.30")
    expect(page.get_by_label("Weighing 2")).to_be_visible()
    named(page, drying, 2)
