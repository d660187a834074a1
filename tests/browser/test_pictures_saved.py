"""A chart is saved as a picture that can be printed.

That a PNG begins with those eight bytes: W3C, Portable Network Graphics, 5.2.
"""

import pytest
from PIL import Image
from playwright.sync_api import expect

from gradation.policy import Role
from tests import factories
from tests.browser.steps import sign_in
from tests.curve_runs import make_pile

SIGNATURE = b"\x89PNG\r\n\x1a\n"


@pytest.fixture
def sand(live_server):
    factories.make_laboratory()
    return make_pile("Washed sand", (4750, 600, 75), (90, 50, 10))


def test_a_comparison_is_saved_as_a_png_with_its_curve_on_white(browser_page, sand, tmp_path):
    page = browser_page
    sign_in(page, factories.make_person(Role.AUDITOR))
    page.goto(f"/compare/?curve=latest:{sand.pk}:1")
    expect(page.locator("#curve .trace.scatter").first).to_be_attached()

    with page.expect_download() as saved:
        page.get_by_role("button", name="PNG").click()

    assert saved.value.suggested_filename == "comparison.png"
    saved.value.save_as(tmp_path / "comparison.png")
    assert (tmp_path / "comparison.png").read_bytes().startswith(SIGNATURE)
    with Image.open(tmp_path / "comparison.png") as picture:
        assert picture.size == (2800, 1800)
        colours = picture.convert("RGB").getcolors(maxcolors=2**20)
        assert max(colours)[1] == (255, 255, 255)
        assert len(colours) > 10, "nothing is drawn"
