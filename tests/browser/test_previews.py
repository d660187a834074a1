"""Documents that a page shows in a frame of its own."""

import pytest
from playwright.sync_api import expect

from gradation.models import Certificate
from tests import factories
from tests.browser.steps import sign_in


@pytest.fixture
def certificate(live_server) -> Certificate:
    factories.make_laboratory()
    return factories.make_certificate()


def test_a_report_form_is_drawn_anew_while_it_is_drawn_up(browser_page, certificate):
    page = browser_page
    sign_in(page, factories.signatory())
    page.goto("/certificates/forms/new/")
    preview = page.frame_locator("iframe[name=preview]")
    expect(preview.locator("body")).to_contain_text("Fill in what is missing")

    page.get_by_label("Name", exact=True).fill("For the trade")
    expect(preview.locator("body")).to_contain_text("DRAFT")

    page.get_by_label("Title").fill("Report of sieving")
    expect(preview.locator("h1")).to_contain_text("Report of sieving")


def test_a_certificate_is_shown_inside_its_page(browser_page, certificate):
    page = browser_page
    sign_in(page, factories.signatory())
    page.goto(f"/certificates/{certificate.pk}/")

    document = page.frame_locator("iframe")

    expect(document.locator("body")).to_contain_text(certificate.number)
