"""Days are the laboratory's own, wherever it lies and whatever day it is in Greenwich.

Auckland is 13 h before UTC from the last Sunday of September to the first of April (IANA time zone
database): 08:00 there on 30 November is 19:00 UTC on the day before.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from gradation.models import Run
from gradation.queries.days import day_of, day_of_work, noon_of
from gradation.queries.run_uncertainty import uncertainty_of
from gradation.queries.studies.bench_runs import bench_runs
from gradation.services import checks, clock
from tests import factories
from tests.operations.test_running import ZONES
from tests.paper_runs import make_paper_run

pytestmark = pytest.mark.django_db

MORNING = datetime(2026, 11, 29, 19, 0, tzinfo=UTC)
HERE = date(2026, 11, 30)


@pytest.fixture(autouse=True)
def _in_auckland():
    factories.make_laboratory(time_zone="Pacific/Auckland", retention_days=30)
    with clock.at(MORNING):
        yield


@pytest.fixture
def measured_this_morning():
    """Open a run on a sieve whose aperture was measured just before."""
    sieves = factories.make_sieves((Decimal(600), Decimal(75)))
    readings_um = (Decimal("74.0"), Decimal("76.0"))
    checks.record_check(
        actor=factories.keeper(),
        equipment=sieves[-1],
        evidence=checks.ApertureEvidence(readings_um, readings_um),
        performed_on=HERE,
    )
    material = factories.make_material(factories.make_procedure((600, 75)))
    run = factories.make_run(sample=factories.make_sample(material=material), sieves=sieves)
    return Run.objects.get(pk=run.pk)


@pytest.mark.parametrize("zone", ZONES)
def test_noon_of_a_day_lies_on_that_day_everywhere(zone):
    here = ZoneInfo(zone)
    for day in (HERE, date(2026, 3, 29), date(2026, 10, 25)):
        assert day_of(noon_of(day, here).astimezone(UTC), here) == day


def test_a_sample_is_kept_from_the_day_it_came():
    sample = factories.make_sample()

    assert sample.number.startswith("26-")
    assert sample.retain_until == HERE + timedelta(days=30)


def test_a_specification_holds_from_the_morning_of_its_first_day():
    version = factories.make_specification([(600, "10", "50")], effective_from=HERE)
    material = factories.make_material(factories.make_procedure((600, 75)), version)

    assert factories.make_sample(material=material).specification_version == version


def test_an_aperture_measured_that_morning_counts_for_the_run(measured_this_morning):
    apertures = uncertainty_of(measured_this_morning).apertures
    compared = bench_runs(factories.reviewer(), [measured_this_morning.pk])

    # Two readings each way: u² = (2/2 + 2/2) / 4 = 0.5, without the resolution; u = 0.707 µm.
    assert [(at.aperture_um, round(at.u_um, 3)) for at in apertures] == [
        (Decimal(75), Decimal("0.707"))
    ]
    assert compared[measured_this_morning.pk].measured_um == {75.0: 75.0}


def test_the_work_of_a_run_is_of_the_day_it_was_opened_or_of_its_paper():
    opened = Run.objects.get(pk=factories.make_run().pk)
    typed = make_paper_run(performed_on=HERE)
    with clock.at(MORNING + timedelta(days=2)):
        later = make_paper_run(sample=typed.portion.sample, performed_on=HERE)

    assert day_of_work(opened) == HERE
    assert day_of_work(typed) == day_of_work(later) == HERE
    assert day_of(later.opened_at) == HERE + timedelta(days=2)
