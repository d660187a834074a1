"""A series of runs as a control chart: which runs count, what is a point, what is marked."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gradation.models import Check, ControlChart, ResultFigure, Run
from gradation.queries.control_charts import followed_by, group_trends, process_line
from gradation.queries.figure_names import (
    CHARACTERISTICS,
    figure_title,
    figure_unit,
    is_followable,
    passing_key,
    written,
)
from gradation.queries.trend_marks import Happened, marks_of
from gradation.queries.trend_points import points_of
from gradation.queries.trend_rules import THREE_SIGMA
from gradation.queries.trend_series import Followed, Stretch, run_series
from gradation.queries.trends import Method, capability_of, trend_of
from gradation.science.errors import GradationError
from gradation.science.quality.run_rules import RunRule
from gradation.services import clock
from tests import factories
from tests.counting import count_queries
from tests.many_runs import FIRST, copy_of, make_series, pattern_of
from tests.paper_runs import make_typed_run
from tests.tampering import guards_lifted

pytestmark = pytest.mark.django_db

UTC = ZoneInfo("UTC")
ALL = Stretch(UTC)
KEY = "passing_600"
EIGHT_TODAY = timezone.now().replace(hour=8, minute=0, second=0, microsecond=0)
RANGE = "moving_range_beyond_limit"
Kind = ControlChart.Kind


@pytest.fixture
def material():
    factories.make_laboratory()
    return factories.make_material(factories.make_procedure())


@pytest.fixture
def pattern(material):
    run = pattern_of(material)
    run.figures.all().delete()
    return run


def series(material, **more):
    return run_series(Followed(KEY, material_id=material.pk, **more), ALL)


def test_frozen_result_lays_its_figures_out(material):
    """Hand working: of 500 g, 310 g stay above 600 µm, so 38 % pass."""
    run = pattern_of(material)

    figures = dict(run.figures.values_list("name", "value"))

    assert figures[KEY] == pytest.approx(38.0, abs=1e-9)
    assert figures["loss"] == pytest.approx(0.0, abs=1e-9)
    assert set(figures) <= {passing_key(size) for size in factories.APERTURES_UM} | set(
        CHARACTERISTICS
    )


def test_corrected_run_shows_its_newest_result_alone(material):
    from gradation.services import bench, review

    run = factories.make_weighed_run(sample=factories.make_sample(material=material))
    review.return_run(actor=factories.reviewer(), run=run, reason="Pan misread.")
    run = Run.objects.get(pk=run.pk)
    for slot, text, place in (("fraction", "120", 4), ("fraction", "115", 5)):
        reading = factories.reading(slot, text, place)
        bench.correct_weighing(actor=run.technician, run=run, reading=reading, reason="Misread.")
    bench.submit_run(actor=run.technician, run=run)

    # 500 g less 10 + 75 + 100 + 120 g, over 500 g
    assert series(material).value.tolist() == [pytest.approx(39.0, abs=1e-9)]


def test_invalid_run_does_not_count(material, pattern):
    runs = make_series(pattern, {KEY: [40, 41, 42]})
    Run.objects.filter(pk=runs[1].pk).update(state="invalid", state_reason="Spilled.")

    assert series(material).value.tolist() == [40, 42]


def test_sample_said_to_be_another_material_takes_its_figures_along(material):
    from gradation.services import intake

    run = pattern_of(material)
    sample, other = run.portion.sample, factories.make_material()
    delivery = intake.Delivery(customer=sample.customer, material=other, condition="dry")

    intake.change_sample(
        actor=factories.technician(), sample=sample, delivery=delivery, reason="Mixed up."
    )

    assert len(series(material)) == 0
    assert len(series(other)) == 1


def test_days_are_the_laboratorys(material, pattern):
    """08:00 UTC on 5 January begins the series; 23:00 UTC that day is 6 January in Stockholm."""
    make_series(pattern, {KEY: list(range(20))})
    zone = ZoneInfo("Europe/Stockholm")
    day = FIRST.date()
    followed = Followed(KEY, material_id=material.pk)

    on_day = run_series(followed, Stretch(zone, day, day))
    after = run_series(followed, Stretch(zone, since=day + timedelta(days=1)))

    assert on_day.value.tolist() == list(range(15))
    assert after.value.tolist() == list(range(15, 20))


def eight_o_clock(days):
    """Give eight o'clock (UTC) some days from today, after the procedure was released."""
    return EIGHT_TODAY + timedelta(days=days)


def three_runs_one_from_paper(material):
    """Two runs at the bench on days 2 and 6; then one typed on day 9 from paper of day 4."""
    sample = factories.make_sample(material=material)
    with clock.at(eight_o_clock(2)):
        before = factories.make_weighed_run(sample=sample)
    with clock.at(eight_o_clock(6)):
        after = factories.make_weighed_run(sample=sample)
    with clock.at(eight_o_clock(9)):
        between = make_typed_run(sample=sample, performed_on=eight_o_clock(4).date())
    return before, between, after


def test_a_run_from_paper_stands_in_a_series_at_the_day_of_its_work(material):
    runs = three_runs_one_from_paper(material)

    found = series(material)

    assert found.run_id.tolist() == [run.pk for run in runs]
    assert [datetime.fromtimestamp(int(at_s), UTC).date() for at_s in found.at_s] == [
        eight_o_clock(days).date() for days in (2, 4, 6)
    ]


def test_a_stretch_of_days_holds_a_run_from_paper_by_the_day_of_its_work(material):
    _, between, after = three_runs_one_from_paper(material)
    followed = Followed(KEY, material_id=material.pk)
    worked_on, typed_on = eight_o_clock(4).date(), eight_o_clock(9).date()

    of_its_day = run_series(followed, Stretch(UTC, worked_on, worked_on))
    since_typed = run_series(followed, Stretch(UTC, since=typed_on))
    newest = run_series(followed, Stretch(UTC, newest=2))

    assert of_its_day.run_id.tolist() == [between.pk]
    assert len(since_typed) == 0
    assert newest.run_id.tolist() == [between.pk, after.pk]


def test_work_typed_on_its_own_day_is_not_dated_after_it_was_typed(material):
    sample = factories.make_sample(material=material)
    with clock.at(eight_o_clock(2)):
        make_typed_run(sample=sample)

    assert series(material).at_s.tolist() == [int(eight_o_clock(2).timestamp())]


def test_figures_laid_out_anew_keep_the_day_of_the_paper(material):
    from gradation.services.result_figures import fill_figures

    runs = three_runs_one_from_paper(material)
    ResultFigure.objects.all().delete()
    with CaptureQueriesContext(connection) as asked:
        fill_figures()

    assert series(material).run_id.tolist() == [run.pk for run in runs]
    assert sum('FROM "gradation_transcription"' in each["sql"] for each in asked) == 1


def test_newest_runs_alone_come_in_the_order_of_time(material, pattern):
    make_series(pattern, {KEY: [1, 2, 3, 4]})

    found = run_series(Followed(KEY, material_id=material.pk), Stretch(UTC, newest=2))

    assert found.value.tolist() == [3, 4]


def test_determinations_of_a_sample_make_a_subgroup(material, pattern):
    """Means 41 and 51 with ranges 2 and 2; the third sample has one run only."""
    make_series(pattern, {KEY: [40, 42, 50, 52, 60]}, per_sample=2)

    trend = trend_of(
        series(material, needs_samples=True), Method(kind=Kind.MEAN_RANGE, subgroup_size=2)
    )

    assert trend.chart.point.tolist() == [41, 51]
    assert trend.chart.spread.tolist() == [2, 2]
    assert trend.left_out == 1


def test_runs_of_samples_that_overlap_in_time_stay_with_their_sample(material, pattern):
    first = make_series(pattern, {KEY: [10, 14]}, per_sample=2)
    make_series(pattern, {KEY: [20, 22]}, per_sample=2, first=FIRST + timedelta(minutes=30))

    trend = trend_of(series(material, needs_samples=True), Method(kind=Kind.MEAN_RANGE))

    assert trend.chart.point.tolist() == [12, 21]
    assert trend.runs.run_id[0] == first[1].pk


def test_consecutive_runs_make_a_subgroup(material, pattern):
    make_series(pattern, {KEY: [1, 2, 3, 4, 5, 6, 7]})
    method = Method(
        kind=Kind.MEAN_DEVIATION, subgroup=ControlChart.Subgroup.CONSECUTIVE, subgroup_size=3
    )

    trend = trend_of(series(material), method)

    assert trend.chart.point.tolist() == [2, 5]
    assert trend.chart.spread.tolist() == [1, 1]
    assert trend.left_out == 1


def test_each_flagged_point_has_its_named_reason(material, pattern):
    """Twenty quiet values, one ten away: beyond three sigma, and so is its moving range."""
    make_series(pattern, {KEY: [50, 51] * 10 + [60, 50]})

    trend = trend_of(series(material), Method(rules=ControlChart.Rules.THREE_SIGMA))

    assert trend.rules_at(20) == [THREE_SIGMA, RANGE]
    assert trend.rules_at(21) == [RANGE]
    assert trend.flagged.sum() == 2


def test_pattern_that_goes_on_is_one_finding(material, pattern):
    """Nine on one side complete at the ninth; the tenth and eleventh go on with it."""
    quiet, shifted = [50, 52] * 8, [51.4, 51.6] * 5 + [51.4]
    make_series(pattern, {KEY: quiet + shifted})

    trend = trend_of(series(material), Method())
    rule = RunRule.NINE_ON_ONE_SIDE.value
    hits = [place for place, rules in trend.findings().items() if rule in rules]

    assert trend.chart.flags[rule].sum() > 1
    assert len(hits) == 1


@pytest.mark.parametrize(
    ("kind", "rule"),
    [
        (Kind.WEIGHTED, "weighted_mean_beyond_limits"),
        (Kind.MOVING, "moving_mean_beyond_limits"),
    ],
)
def test_charts_with_memory_flag_what_leaves_their_own_limits(material, pattern, kind, rule):
    make_series(pattern, {KEY: [50, 51] * 10 + [53] * 6})

    trend = trend_of(series(material), Method(kind=kind))

    assert set(trend.chart.flags) == {rule}
    assert trend.chart.spread is None


def test_one_run_makes_no_chart(material, pattern):
    make_series(pattern, {KEY: [50]})

    with pytest.raises(GradationError, match="too few values"):
        trend_of(series(material), Method())


def chart_of(material, **more):
    return ControlChart(material=material, characteristic=KEY, **more)


def test_each_bench_is_judged_on_its_own(material, pattern):
    benches = [factories.make_bench(name=name) for name in ("East", "West")]
    keys = [benches[n % 2].pk for n in range(8)]
    make_series(pattern, {KEY: [40, 60, 41, 61, 40, 60, 41, 61]}, bench_id=keys)
    chart = chart_of(material, group_by=ControlChart.Group.BENCH)
    runs = series(material, group_by=ControlChart.Group.BENCH)

    groups = {group.name: group for group in group_trends(chart, runs)}

    assert groups["East"].trend.chart.limits.centre == 40.5
    assert groups["West"].trend.chart.limits.centre == 60.5


def test_runs_without_a_sieve_set_are_a_group_too(material, pattern):
    make_series(pattern, {KEY: [40, 41, 40]}, nest_id=None)
    chart = chart_of(material, group_by=ControlChart.Group.NEST)

    groups = group_trends(chart, series(material, group_by=ControlChart.Group.NEST))

    assert [(group.key, group.name) for group in groups] == [(0, "no sieve set named")]


def test_new_sieve_is_marked_at_its_first_run(material, pattern):
    runs = make_series(pattern, {KEY: [40, 41, 42]})
    fresh = factories.make_sieve(600)
    other = factories.make_sieve(300)
    with guards_lifted():  # nobody changes the sieves of a run on record
        runs[2].places.filter(aperture_um=600).update(sieve=fresh)
        runs[1].places.filter(aperture_um=300).update(sieve=other)
    followed = Followed(KEY, material_id=material.pk, needs_sieves=True)

    marks = marks_of(followed, run_series(followed, ALL), ALL, [])

    assert [(mark.kind, mark.words, mark.at_s) for mark in marks] == [
        (Happened.SIEVE, str(fresh), int(runs[2].opened_at.timestamp()))
    ]


def test_new_procedure_version_is_marked(material, pattern):
    from gradation.models import ProcedureVersion

    runs = make_series(pattern, {KEY: [40, 41, 42]})
    newer = copy_of(pattern.procedure_version, version=2, state="draft")
    ProcedureVersion.objects.bulk_create([newer])
    Run.objects.filter(pk=runs[1].pk).update(procedure_version=newer)
    followed = Followed(KEY, material_id=material.pk, needs_sieves=True)

    marks = marks_of(followed, run_series(followed, ALL), ALL, [])

    assert [(mark.kind, mark.words) for mark in marks] == [(Happened.VERSION, str(newer))]


def test_failed_check_of_a_sieve_used_is_marked_and_another_is_not(material, pattern):
    make_series(pattern, {KEY: [40] * 60})
    used = pattern.places.get(aperture_um=600).sieve
    for sieve in (used, factories.make_sieve(600)):
        Check.objects.create(
            equipment=sieve, kind=Check.Kind.VISUAL, performed_on=FIRST.date() + timedelta(days=1),
            performed_by=factories.keeper(), passed=False, sentence="Torn.",
            recorded_at=clock.now(),
        )  # fmt: skip
    followed = Followed(KEY, material_id=material.pk, needs_sieves=True)

    marks = marks_of(followed, run_series(followed, ALL), ALL, [])

    assert [(mark.kind, mark.words) for mark in marks] == [
        (Happened.CHECK, f"{used.equipment_ptr}: visual")
    ]


def test_capability_is_held_against_the_specifications_line():
    """Limits 30 to 46 and values 37, 39 by turns: mean 38; moving ranges 2, so s = 2/1.128379.

    Cp = 16 / (6 x 1.77245) = 1.5045 (NIST/SEMATECH e-Handbook 6.1.6).
    """
    factories.make_laboratory()
    specification = factories.make_specification(limits=[(600, "30", "46")])
    material = factories.make_material(factories.make_procedure(), specification)
    pattern = pattern_of(material)
    pattern.figures.all().delete()
    make_series(pattern, {KEY: [37, 39] * 15})

    line = process_line(chart_of(material), date(2026, 3, 1))
    found = capability_of(trend_of(series(material), Method()), line.limits)

    assert (line.limits.lower, line.limits.upper) == (30, 46)
    assert found.cp.value == pytest.approx(1.5045, abs=5e-5)


def test_material_without_a_line_on_the_figure_has_no_capability(material):
    assert process_line(chart_of(material), date(2026, 3, 1)) is None


def test_points_are_told_with_their_rules(material, pattern):
    runs = make_series(pattern, {KEY: [50, 51] * 10 + [60]})
    chart = chart_of(material, rules=ControlChart.Rules.THREE_SIGMA)
    (group,) = group_trends(chart, series(material))

    points = list(points_of(group, UTC))

    assert len(points) == 21
    assert points[0].spread is None
    assert (points[20].run_id, points[20].rules) == (runs[20].pk, (THREE_SIGMA, RANGE))


def test_series_costs_one_query_however_long(material, pattern):
    make_series(pattern, {KEY: list(range(200))})
    chart = chart_of(material)

    assert count_queries(lambda: run_series(followed_by(chart), ALL)) == 1


@pytest.mark.parametrize(
    ("key", "title", "unit", "text"),
    [
        ("passing_600", "passing 600 µm", "%", "38.00"),
        ("loss", "loss", "%", "38.00"),
        ("d50", "d50", "µm", "38.00"),
        ("fineness_modulus", "fineness modulus", "", "38.000"),
        ("folk_ward_sorting_phi", "folk ward sorting", "phi", "38.000"),
    ],
)
def test_figures_are_named_as_the_trade_does(key, title, unit, text):
    assert figure_title(key) == title
    assert figure_unit(key) == unit
    assert written(key, 38.0) == text
    assert is_followable(key)


def test_unknown_figure_is_not_followed():
    assert not is_followable("passing_0")
    assert not is_followable("passing_six")
    assert not is_followable("luck")


def test_backfill_lays_out_each_runs_newest_result_once(material):
    from gradation.services.result_figures import fill_figures

    runs = [pattern_of(material) for _ in range(2)]
    before = set(ResultFigure.objects.values_list("run", "name", "value"))
    ResultFigure.objects.all().delete()

    assert fill_figures() == len(runs)
    assert fill_figures() == 0
    assert set(ResultFigure.objects.values_list("run", "name", "value")) == before
