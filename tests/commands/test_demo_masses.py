"""The masses and the calendar of the demo scenario, without a database."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from gradation.management.demo_scenario.bench_work import exchanged, transposed
from gradation.management.demo_scenario.control import control_days
from gradation.management.demo_scenario.grains import (
    Component,
    Handling,
    Sieving,
    batch,
    generator,
    mixtures,
    sieve,
)
from gradation.management.demo_scenario.timeline import Workdays, play
from gradation.services import clock

STOCKHOLM = ZoneInfo("Europe/Stockholm")
MEDIAN_UM = 400.0
OPEN_END_UM = 1e9


def component(family, spread):
    return Component(family, MEDIAN_UM, spread, 1.0, OPEN_END_UM, 0.0, 0.0)


def test_half_of_a_log_normal_part_is_finer_than_its_median_and_84_pct_one_spread_up():
    finer = component("log_normal", 1.5).passing(np.array([MEDIAN_UM * 1.5, MEDIAN_UM]))

    # normal distribution function at 1 and 0
    assert finer == pytest.approx([0.841344746, 0.5], abs=1e-9)


def test_of_an_rrsb_part_one_in_e_is_coarser_than_its_location():
    finer = component("rrsb", 3.0).passing(np.array([2 * MEDIAN_UM, MEDIAN_UM]))

    # DIN 66145: R = exp(-(x / x')^n)
    assert finer == pytest.approx([1 - math.exp(-8), 1 - math.exp(-1)], abs=1e-12)


def test_nothing_is_coarser_than_the_top_size():
    part = replace(component("log_normal", 2.0), top_um=800.0)

    assert part.passing(np.array([900.0, 800.0, 799.0]))[:2] == pytest.approx([1.0, 1.0], abs=0)
    assert part.passing(np.array([799.0]))[0] < 1


@pytest.mark.parametrize("name", sorted(mixtures()))
def test_the_parts_of_a_mixture_make_up_the_whole(name):
    assert sum(part.share for part in mixtures()[name]) == pytest.approx(1, abs=1e-12)


def sieved(handling, key="once"):
    mixture = batch(mixtures()["crushed_sand"], 1.0, generator(key, "batch"))
    return sieve(mixture, [4750, 2360, 1180, 600, 300, 150, 75], handling, generator(key))


def test_the_same_key_gives_the_same_masses_and_another_key_gives_others():
    handling = Handling(500, Decimal("0.1"))

    assert sieved(handling) == sieved(handling)
    assert sieved(handling) != sieved(handling, "again")


@pytest.mark.parametrize("step_g", [Decimal("0.01"), Decimal("0.1"), Decimal(1)])
def test_masses_are_whole_steps_of_the_balance(step_g):
    shown = sieved(Handling(500, step_g))

    assert all(mass_g % step_g == 0 for mass_g in (shown.dry_mass_g, *shown.masses_g))


def test_what_is_not_lost_is_found_again():
    shown = sieved(Handling(500, Decimal("0.01"), lost=0.0))

    # eight weighings and the dry mass, each with an unrest of 0.4 steps: 6 sigma = 0.07 g
    assert abs(sum(shown.masses_g) - shown.dry_mass_g) < Decimal("0.08")


def test_washing_takes_from_the_pan_what_the_dry_mass_loses():
    dry = sieved(Handling(500, Decimal("0.01"), lost=0.0))
    washed = sieved(Handling(500, Decimal("0.01"), washed=True, lost=0.0))

    away_g = washed.dry_mass_g - washed.washed_dry_mass_g
    assert away_g > 0
    assert dry.masses_g[-1] - washed.masses_g[-1] == pytest.approx(away_g, abs=Decimal("0.06"))


def test_spilled_material_is_missing_from_the_sum():
    shown = sieved(Handling(500, Decimal("0.1"), lost=0.01))

    assert sum(shown.masses_g) < shown.dry_mass_g - Decimal("1.5")


def test_a_slip_exchanges_the_first_two_figures_that_differ():
    assert transposed("113.4") == "131.4"
    assert transposed("20,7") == "02,7"


def test_the_heaviest_fraction_is_exchanged_with_the_next_finer_one():
    right = Sieving(Decimal(100), None, (Decimal(10), Decimal(60), Decimal(25), Decimal(5)))

    assert exchanged(right).masses_g == (Decimal(10), Decimal(25), Decimal(60), Decimal(5))


@pytest.mark.parametrize(
    ("now", "last"),
    [
        (datetime(2026, 11, 24, 9, tzinfo=STOCKHOLM), date(2026, 11, 23)),
        (datetime(2026, 11, 24, 17, tzinfo=STOCKHOLM), date(2026, 11, 24)),
        (datetime(2026, 11, 23, 8, tzinfo=STOCKHOLM), date(2026, 11, 20)),
        (datetime(2026, 11, 29, 20, tzinfo=STOCKHOLM), date(2026, 11, 27)),
    ],
    ids=["Tuesday morning", "Tuesday evening", "Monday morning", "Sunday evening"],
)
def test_the_last_working_day_is_one_whose_work_is_done(now, last):
    assert Workdays.until(now.astimezone(UTC), STOCKHOLM).last == last


def test_working_days_are_counted_over_weekends():
    days = Workdays(date(2026, 11, 24), STOCKHOLM)

    assert days.ago(2) == date(2026, 11, 20)
    assert days.later(date(2026, 11, 20), 1) == date(2026, 11, 23)


@pytest.mark.parametrize("day", range(0, 366, 7))
def test_there_are_36_control_days_whatever_day_it_is(day):
    last = Workdays.until(datetime(2028, 1, 1, 12, tzinfo=UTC) + timedelta(days=day), STOCKHOLM)

    found = control_days(last)

    assert len({(each.year, each.month) for each in found}) == 36
    assert all(each.weekday() < 5 for each in found)
    assert found[-1] <= last.ago(2)


def test_stories_happen_in_the_order_of_time_with_the_clock_at_their_moment():
    start = datetime(2026, 1, 5, 8, tzinfo=UTC)
    told = []

    def story(name, hours):
        for hour in hours:
            yield start + timedelta(hours=hour)
            told.append((name, clock.now()))

    play([story("sample", [0, 3]), story("sieve", [1, 2])])

    assert told == [
        ("sample", start),
        ("sieve", start + timedelta(hours=1)),
        ("sieve", start + timedelta(hours=2)),
        ("sample", start + timedelta(hours=3)),
    ]


@pytest.mark.parametrize("hours", [[2, 1], [24 * 365 * 100]], ids=["backwards", "future"])
def test_a_story_cannot_go_backwards_or_beyond_the_present(hours):
    start = datetime(2026, 1, 5, 8, tzinfo=UTC)

    with pytest.raises(ValueError, match="Story 0 goes"):
        play([(start + timedelta(hours=hour) for hour in hours)])
