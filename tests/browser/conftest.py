"""A run that is open for weighing, and its screen."""

import pytest

from tests import factories
from tests.browser.steps import laboratory_at_work, sign_in


@pytest.fixture
def place(live_server):
    return laboratory_at_work(shaking_minutes=10)


@pytest.fixture
def run(place):
    portion = factories.make_portion(
        place.technician, factories.make_sample(place.technician, place.material)
    )
    sieves = [standing.sieve for standing in place.nest.places.all()]
    return factories.make_run(place.technician, portion=portion, bench=place.bench, sieves=sieves)


@pytest.fixture
def screen(browser_page, place, run):
    sign_in(browser_page, place.technician)
    browser_page.goto(f"/bench/runs/{run.pk}/")
    return browser_page
