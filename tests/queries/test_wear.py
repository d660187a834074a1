"""Wear of a sieve, its tares, and the sieve that is out of line with its sisters."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.models import Check, Equipment, Result, Run, RunSieve, Tare, TestPortion, Weighing
from gradation.queries.tares import UsesAt, tares_of
from gradation.queries.wear import WearLimits, suspect_sieves, wear_of
from gradation.queries.wear_list import worn_sieves
from gradation.services import bench
from tests import factories
from tests.counting import count_queries
from tests.tampering import guards_lifted

pytestmark = pytest.mark.django_db

NOW = factories.NOW


def item_of(sieve):
    return Equipment.objects.get(pk=sieve.pk)


def measured(sieve, aperture_um, uses, days_ago, kind=Check.Kind.APERTURE):
    return Check.objects.create(
        equipment=item_of(sieve),
        kind=kind,
        passed=True,
        sentence="Judged.",
        performed_by=factories.keeper(),
        performed_on=NOW.date() - timedelta(days=days_ago),
        recorded_at=NOW,
        found_aperture_um=Decimal(str(aperture_um)),
        uses_at_check=uses,
    )


def used(sieve, uses, *, runs, days):
    """Let the sieve stand in runs spread evenly over so many days up to now."""
    run = factories.make_run(sieves=None)
    place = run.places.first()
    _stand_in(sieve, pk=place.pk)
    for n in range(runs):
        copy = run if n == 0 else _copy(run, n)
        moment = NOW - timedelta(days=days) + n * timedelta(days=days) / runs
        Run.objects.filter(pk=copy.pk).update(opened_at=moment, weighed_at=moment)
    type(sieve).objects.filter(pk=sieve.pk).update(use_count=uses)
    sieve.refresh_from_db()


def _stand_in(sieve, **place):
    """Put another sieve where one stood in a run, which nobody can do to a record."""
    with guards_lifted():
        RunSieve.objects.filter(**place).update(sieve=sieve)


def _copy(run, n):
    portion = TestPortion.objects.get(pk=run.portion_id)
    portion.pk, portion.label = None, f"{portion.label}-{n}"
    portion.save(force_insert=True)
    copy = Run.objects.get(pk=run.pk)
    copy.pk, copy.portion = None, portion
    copy.save(force_insert=True)
    for place in run.places.all():
        place.pk, place.run, place.in_use = None, copy, False
        place.save(force_insert=True)
    return copy


def trend(wear, what):
    return next(each for each in wear.trends if what in each.what)


def test_date_at_which_the_aperture_leaves_its_tolerance_is_forecast():
    factories.make_laboratory()
    sieve = factories.make_sieve(125, standard="ISO 3310-1")
    for uses, aperture_um in ((0, 125), (100, 126), (200, 127), (300, 128)):
        measured(sieve, aperture_um, uses, days_ago=300 - uses)
    used(sieve, 300, runs=100, days=100)

    found = trend(wear_of(sieve, NOW), "measured")

    # ISO 3310-1: 125 µm -+ 5.2 µm. One micrometre in 100 uses: 130.2 µm after 520 uses, 220 uses
    # from now; one use a day, so 220 days. All checks on the line: the interval closes on it.
    assert found.limits == WearLimits(pytest.approx(119.8), pytest.approx(130.2))
    assert found.line.per_use == pytest.approx(0.01)
    assert found.forecast.uses == pytest.approx(520)
    expected = NOW.date() + timedelta(days=220)
    for day in (found.dates.expected, found.dates.earliest, found.dates.latest):
        assert abs(day - expected) <= timedelta(days=1)


def test_two_ways_of_finding_an_aperture_are_never_one_line():
    factories.make_laboratory()
    sieve = factories.make_sieve(125)
    measured(sieve, 125, 0, 200)
    measured(sieve, 127, 100, 100, kind=Check.Kind.REFERENCE)

    wear = wear_of(sieve, NOW)

    assert [len(each.points) for each in wear.trends[:2]] == [1, 1]
    assert all(each.line is None and "two checks" in each.why for each in wear.trends[:2])


def test_sieve_without_a_tolerance_table_has_a_trend_but_no_forecast():
    factories.make_laboratory()
    sieve = factories.make_sieve(4000, medium="perforated plate")
    measured(sieve, 4000, 0, 200)
    measured(sieve, 4010, 100, 100)

    found = trend(wear_of(sieve, NOW), "measured")

    assert found.line.per_use == pytest.approx(0.1)
    assert found.forecast is None
    assert found.why


def test_sieve_out_of_use_gets_uses_but_no_date():
    factories.make_laboratory()
    sieve = factories.make_sieve(125)
    for uses, aperture_um in ((0, 125), (100, 126), (200, 127)):
        measured(sieve, aperture_um, uses, days_ago=900 - uses)

    found = trend(wear_of(sieve, NOW), "measured")

    assert found.forecast.uses == pytest.approx(520)
    assert found.dates is None
    assert "not used" in found.why


def test_tares_weighed_alone_and_before_runs_are_one_line_of_time():
    run = factories.make_run()
    place = run.places.first()
    Tare.objects.create(
        sieve=place.sieve, tare_g=Decimal("412.60"), weighed_by=factories.keeper(),
        weighed_at=run.opened_at - timedelta(days=5),
    )  # fmt: skip
    actor = run.technician
    gross = factories.reading(Weighing.Slot.FRACTION, "512.5", place.position, tare_text="412.5")
    bench.record_weighing(actor=actor, run=run, reading=gross)
    Tare.objects.create(
        sieve=place.sieve, tare_g=Decimal("412.20"), weighed_by=factories.keeper(),
        weighed_at=run.opened_at + timedelta(days=5),
    )  # fmt: skip

    first, second, third = tares_of(place.sieve)

    assert (first.where, second.where, third.where) == ("weighed alone", str(run), "weighed alone")
    assert (first.change_g, first.drift_g) == (None, None)
    assert (second.change_g, second.drift_g) == (Decimal("-0.1"), Decimal("-0.1"))
    assert (third.change_g, third.drift_g) == (Decimal("-0.3"), Decimal("-0.4"))


def test_corrected_tare_counts_once_and_neighbours_tares_not_at_all():
    run = factories.make_run()
    place, neighbour = run.places.all()[:2]
    for at, tare in ((place, "412.5"), (neighbour, "399.0")):
        gross = factories.reading(Weighing.Slot.FRACTION, "512.5", at.position, tare_text=tare)
        bench.record_weighing(actor=run.technician, run=run, reading=gross)
    corrected = factories.reading(
        Weighing.Slot.FRACTION, "512.5", place.position, tare_text="412.7"
    )
    bench.correct_weighing(
        actor=run.technician, run=run, reading=corrected, reason="Read the wrong digit."
    )

    assert [one.tare_g for one in tares_of(place.sieve)] == [Decimal("412.7")]


def test_uses_are_counted_from_runs_on_top_of_what_the_sieve_brought():
    factories.make_laboratory()
    sieve = factories.make_sieve(125)
    used(sieve, 60, runs=10, days=10)

    count = UsesAt(sieve)

    # 60 uses now, ten of them in runs on record: 50 were brought along.
    assert (count(NOW - timedelta(days=20)), count(NOW)) == (50, 60)
    assert count(NOW - timedelta(days=9.5)) == 51


def accepted_with(run, sieve, passing_pct, n):
    """Copy an accepted run: another sieve in the first place, another passing there."""
    copy = _copy(run, n)
    _stand_in(sieve, run=copy, position=1)
    result = Result.objects.get(run=run)
    result.pk, result.run = None, copy
    result.curve = [[result.curve[0][0], passing_pct], *result.curve[1:]]
    result.save(force_insert=True)
    return copy


def sisters_and_suspect():
    """Three sieves of one size on one material; the third passes 4 % more."""
    run = factories.make_accepted_run()
    size = run.places.first().aperture_um
    sieves = [factories.make_sieve(size) for _ in range(3)]
    n = 0
    for sieve, more in zip(sieves, (0, 0, 4), strict=True):
        for passing_pct in (48, 49, 50, 51, 52):
            n += 1
            accepted_with(run, sieve, passing_pct + more, n)
    return run, sieves


def since():
    from gradation.services import clock

    return clock.now() - timedelta(days=30)


def test_sieve_that_departs_from_its_sisters_is_found():
    run, (_, _, suspect) = sisters_and_suspect()

    found = suspect_sieves(since(), aperture_um=run.places.first().aperture_um)

    first = found.rows[0]
    assert (first.sieve, first.stands_out) == (suspect, True)
    # Sisters' median: ten runs about 50, and the template's own 98 %, which does not move it.
    assert first.departure.median_difference == pytest.approx(4)
    assert (first.departure.own_runs, first.departure.materials) == (5, 1)
    assert first.departure.p < found.p_limit


def test_sieve_with_too_few_runs_is_listed_without_a_verdict():
    run, _ = sisters_and_suspect()
    own = run.places.first().sieve  # used once, by the template

    found = suspect_sieves(since(), aperture_um=run.places.first().aperture_um)

    row = next(row for row in found.rows if row.sieve == own)
    assert (row.departure, row.stands_out) == (None, False)
    assert "Too few runs" in row.why
    assert found.compared == 3
    assert found.p_limit == pytest.approx(0.05 / 3)


def test_other_materials_say_nothing_of_a_sieve():
    run, sieves = sisters_and_suspect()
    other = factories.make_accepted_run()
    lonely = factories.make_sieve(run.places.first().aperture_um)
    for n in range(6):
        accepted_with(other, lonely, 90 + n, 100 + n)

    found = suspect_sieves(since(), aperture_um=run.places.first().aperture_um)

    row = next(row for row in found.rows if row.sieve == lonely)
    assert row.departure is None
    assert len(found.rows) == len(sieves) + 3  # and the sieves of the two templates


def test_finder_costs_three_queries_for_any_number_of_runs():
    run, (sieve, *_) = sisters_and_suspect()

    def queries():
        return count_queries(lambda: suspect_sieves(since()))

    few = queries()
    for n in range(40):
        accepted_with(run, sieve, 50, 200 + n)

    assert queries() == few == 3


def test_the_list_of_all_sieves_names_the_soonest_worn_out_first_and_agrees_with_its_card():
    factories.make_laboratory()
    wearing, steady, plate = (
        factories.make_sieve(125, in_service_since=(NOW - timedelta(days=900)).date()),
        factories.make_sieve(125),
        factories.make_sieve(4000, medium="perforated plate"),
    )
    for uses, aperture_um in ((0, 125), (100, 126), (200, 127), (300, 128)):
        measured(wearing, aperture_um, uses, days_ago=300 - uses)
    used(wearing, 300, runs=100, days=365)
    measured(steady, 125, 0, 20)
    measured(plate, 4000, 0, 20)

    rows = worn_sieves(NOW)

    assert [row.sieve for row in rows] == [wearing, steady, plate]
    card = trend(wear_of(wearing, NOW), "measured")
    assert rows[0].limits == card.limits
    assert rows[0].forecast == card.forecast
    assert abs(rows[0].dates.expected - card.dates.expected) <= timedelta(days=3)
    # (128 - 125) of the 5.2 µm that ISO 3310-1 permits at 125 µm.
    assert rows[0].used_up_pct == pytest.approx(3 / 5.2 * 100)
    assert rows[0].deviation_pct == pytest.approx(2.4)
    assert "two checks" in rows[1].why
    assert rows[2].limits is None


def test_a_day_that_lies_more_than_ten_years_ahead_is_marked_as_far():
    factories.make_laboratory()
    soon, late = (factories.make_sieve(125) for _ in range(2))
    for sieve, step_um in ((soon, 1.0), (late, 0.1)):
        for n in range(4):
            measured(sieve, 125 + n * step_um, 100 * n, days_ago=300 - 100 * n)
        used(sieve, 300, runs=100, days=365)

    rows = {row.sieve: row for row in worn_sieves(NOW)}

    # By hand: 100 uses a year; 2.2 µm at 1 µm per 100 uses are two years, 4.9 µm at 0.1 µm are 49.
    assert (rows[soon].is_far, rows[late].is_far) == (False, True)
