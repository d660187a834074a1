"""The pages of control charts: what they show, how much they ask and send."""

import csv
import io
import json
import re
from base64 import b64decode
from datetime import date, timedelta

import pytest
from django.urls import reverse

from gradation.models import ChartNote, ControlChart, FrozenLimits
from gradation.policy import Role
from gradation.services import control_charts
from tests import factories
from tests.counting import count_queries
from tests.many_runs import FIRST, make_series, pattern_of

pytestmark = pytest.mark.django_db

KEY = "passing_600"
QUIET = [40, 41] * 10
PLOT = re.compile(r'<script id="control-figure" type="application/json">(.*?)</script>', re.DOTALL)


@pytest.fixture
def manager(client):
    factories.make_laboratory()
    person = factories.quality_manager()
    client.force_login(person)
    return person


@pytest.fixture
def pattern(manager):
    run = pattern_of(factories.make_material(factories.make_procedure()))
    run.figures.all().delete()
    return run


def chart_of(pattern, manager, **more):
    filled = {
        "name": "Sand, 600 µm",
        "material": pattern.portion.sample.material,
        "characteristic": KEY,
        "rules": ControlChart.Rules.THREE_SIGMA,
        "answers_from": date(2020, 1, 1),
        **more,
    }
    return control_charts.open_chart(actor=manager, chart=ControlChart(**filled))


def page_of(client, chart, name="chart-show", query=""):
    answer = client.get(reverse(f"charts:{name}", args=[chart.pk]) + query)
    assert answer.status_code == 200
    return answer


def plot_of(answer):
    return json.loads(PLOT.search(answer.content.decode()).group(1))


def flagged(plot):
    return [trace for trace in plot["data"] if trace["mode"] == "markers" and "name" in trace]


def test_chart_shows_its_flagged_point_its_reason_and_its_note(client, manager, pattern):
    run = make_series(pattern, {KEY: [*QUIET, 50]})[-1]
    chart = chart_of(pattern, manager)

    answer = page_of(client, chart)
    marks = {trace["name"]: trace["x"] for trace in flagged(plot_of(answer))}

    assert marks["One point lies beyond three sigma from the centre."] == [20]
    assert str(run) in answer.content.decode()
    assert reverse("charts:note-answer", args=[chart.notes.get().pk]) in answer.content.decode()


def test_time_in_the_address_shows_its_points_alone(client, manager, pattern):
    make_series(pattern, {KEY: QUIET})
    make_series(pattern, {KEY: [60, 61, 60]}, first=FIRST + timedelta(days=30))
    chart = chart_of(pattern, manager)
    since = (FIRST + timedelta(days=20)).date()

    shown = page_of(client, chart, query=f"?since={since}").content.decode()

    assert "3 points" in shown
    assert "60.33" in shown  # (60 + 61 + 60) / 3


def test_days_that_are_none_are_said_to_be(client, manager, pattern):
    make_series(pattern, {KEY: QUIET})

    shown = page_of(client, chart_of(pattern, manager), query="?since=soon&group=x")

    assert "20 points" in shown.content.decode()


def test_too_few_points_are_said_not_drawn(client, manager, pattern):
    make_series(pattern, {KEY: [40]})

    shown = page_of(client, chart_of(pattern, manager)).content.decode()

    assert "too few values" in shown
    assert "control-figure" not in shown


def test_chart_without_runs_says_so(client, manager, pattern):
    shown = page_of(client, chart_of(pattern, manager)).content.decode()

    assert "No run of these days has this figure yet." in shown


def test_groups_stand_on_one_sheet_and_each_on_its_own(client, manager, pattern):
    east, west = factories.make_bench(name="East"), factories.make_bench(name="West")
    make_series(pattern, {KEY: QUIET}, bench_id=east.pk)
    make_series(pattern, {KEY: [60, 61] * 10}, bench_id=west.pk)
    chart = chart_of(pattern, manager, group_by=ControlChart.Group.BENCH)

    together = plot_of(page_of(client, chart))
    alone = plot_of(page_of(client, chart, query=f"?group={west.pk}"))

    names = [trace["name"] for trace in together["data"]]
    assert names == ["East", "West"]
    assert any("centre 60.50" in trace["name"] for trace in alone["data"])


def test_print_and_file_hold_the_same_points(client, manager, pattern):
    make_series(pattern, {KEY: [*QUIET, 50]})
    chart = chart_of(pattern, manager)

    printed = page_of(client, chart, "chart-print").content.decode()
    rows = list(csv.DictReader(io.StringIO(page_of(client, chart, "chart-csv").content.decode())))

    assert "<svg" in printed
    assert "<script>" not in printed
    assert len(rows) == 21
    assert rows[-1]["value_pct"] == "50.0000"
    assert "beyond three sigma" in rows[-1]["out of the ordinary"]
    assert rows[0]["spread_pct"] == ""


def test_chart_is_opened_frozen_answered_and_given_up_by_its_pages(client, manager, pattern):
    make_series(pattern, {KEY: [*QUIET, 50]})
    material = pattern.portion.sample.material
    given = {
        "name": "Sand", "material": material.pk, "figure": "passing", "aperture_um": "600",
        "kind": "individuals", "rules": "beyond three sigma only", "group_by": "nothing",
        "subgroup": "consecutive runs", "answers_from": "2026-01-01",
    }  # fmt: skip

    client.post(reverse("charts:chart-open"), given)
    chart = ControlChart.objects.get()
    base = {"base_from": FIRST.date(), "base_to": FIRST.date(), "reason": "A good day."}
    client.post(reverse("charts:limits-freeze", args=[chart.pk]), base)
    note = chart.notes.get()
    words = {"cause": "Divider.", "done": "Told."}
    client.post(reverse("charts:note-answer", args=[note.pk]), words)
    client.post(reverse("charts:limits-release", args=[chart.pk]), {"reason": "New box."})
    client.post(reverse("charts:chart-give-up", args=[chart.pk]), {"reason": "Used up."})

    chart.refresh_from_db()
    note.refresh_from_db()
    assert (chart.characteristic, chart.closed_reason) == (KEY, "Used up.")
    assert FrozenLimits.objects.get().ended_reason == "New box."
    assert note.cause == "Divider."


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"aperture_um": ""}, "aperture_um"),
        ({"aperture_um": "0"}, "aperture_um"),
        ({"material": ""}, "material"),
        ({"weight": "2"}, "weight"),
        ({"subgroup_size": "99"}, "subgroup_size"),
        ({"answers_from": ""}, "answers_from"),
    ],
)
def test_form_says_beside_the_field_what_is_wrong(client, manager, pattern, changes, field):
    given = {
        "name": "Sand", "material": pattern.portion.sample.material_id, "figure": "passing",
        "aperture_um": "600", "kind": "individuals", "rules": "beyond three sigma only",
        "group_by": "nothing", "subgroup": "consecutive runs", "answers_from": "2026-01-01",
    }  # fmt: skip

    answer = client.post(reverse("charts:chart-open"), {**given, **changes})

    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not ControlChart.objects.exists()


def test_first_page_lists_what_waits_and_says_when_nothing_does(client, manager, pattern):
    make_series(pattern, {KEY: [*QUIET, 50]})
    chart = chart_of(pattern, manager)
    address = reverse("charts:chart-list")
    waiting = client.get(address).content.decode()
    control_charts.answer_note(actor=manager, note=chart.notes.get(), cause="Seen.", done="Told.")

    answered = client.get(address).content.decode()

    assert "beyond three sigma" in waiting
    assert "Nothing waits for an answer." in answered


def test_technician_sees_a_point_and_who_answers_it(client, manager, pattern):
    make_series(pattern, {KEY: [*QUIET, 50]})
    chart = chart_of(pattern, manager)
    client.force_login(factories.make_person(Role.TECHNICIAN))

    shown = page_of(client, chart).content.decode()

    assert "waits for a reviewer" in shown
    assert reverse("charts:limits-freeze", args=[chart.pk]) not in shown


def queries_of(client, address):
    return count_queries(lambda: answered(client, address))


def answered(client, address):
    assert client.get(address).status_code == 200


@pytest.mark.parametrize("name", ["chart-show", "chart-print", "chart-csv"])
def test_long_series_costs_no_more_queries_than_a_short_one(client, manager, pattern, name):
    make_series(pattern, {KEY: [*QUIET, 50]})
    chart = chart_of(pattern, manager)
    address = reverse(f"charts:{name}", args=[chart.pk])
    queries_of(client, address)
    short = queries_of(client, address)

    make_series(pattern, {KEY: [*QUIET, 50] * 60}, first=FIRST + timedelta(days=9))

    assert queries_of(client, address) == short


def test_list_with_many_charts_and_notes_costs_no_more_queries(client, manager, pattern):
    from tests.many_runs import copy_of

    make_series(pattern, {KEY: [*QUIET, 50]})
    chart = chart_of(pattern, manager)
    address = reverse("charts:chart-list")
    queries_of(client, address)
    short = queries_of(client, address)

    note = chart.notes.get()
    more = ControlChart.objects.bulk_create(copy_of(chart, name=f"Sand {n}") for n in range(200))
    ChartNote.objects.bulk_create(copy_of(note, chart_id=each.pk) for each in more)

    assert queries_of(client, address) == short


def test_page_keeps_every_flagged_point_and_stays_below_a_megabyte(client, manager, pattern):
    """Every point is out of control; what each further one costs, taken times 50 000.

    One byte more a point for its number of five figures instead of four.
    """
    few, many = 2_500, 5_000
    chart = chart_of(pattern, manager, answers_from=date(2100, 1, 1))
    _freeze_far_off(chart, manager)
    make_series(pattern, {KEY: [40 + n % 7 / 3 for n in range(few)]})
    short = page_of(client, chart)
    make_series(
        pattern,
        {KEY: [40 + n % 7 / 3 for n in range(many - few)]},
        first=FIRST + timedelta(days=400),
    )

    answer = page_of(client, chart)
    beyond = "One point lies beyond three sigma from the centre."
    drawn = next(trace for trace in flagged(plot_of(answer)) if trace["name"] == beyond)
    each = (len(answer.content) - len(short.content)) / (many - few)

    # A long row is packed: four bytes a figure.
    assert len(b64decode(drawn["y"]["bdata"])) == 4 * many
    assert len(answer.content) + (50_000 - many) * (each + 1) < 1_000_000


def _freeze_far_off(chart, manager):
    """Let a chart have limits that none of its points keeps."""
    lines = {"centre": 5.0, "sigma": 0.1, "lower": 4.7, "upper": 5.3}
    spread = {"spread_centre": 0.1, "spread_lower": 0.0, "spread_upper": 9.0}
    FrozenLimits.objects.create(
        chart=chart, base_from=date(2025, 1, 1), base_to=date(2025, 2, 1), base_points=20,
        reason="Of another sand.", science_version="0", frozen_at=FIRST, frozen_by=manager,
        **lines, **spread,
    )  # fmt: skip
