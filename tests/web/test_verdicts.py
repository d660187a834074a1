"""A run's verdict on screen: what decides, what if, another rounding, the lot."""

import html
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from gradation.models import (
    LedgerEntry,
    Result,
    Specification,
    SpecificationLine,
    SpecificationVersion,
    Weighing,
)
from gradation.policy import Role
from gradation.services import people, specifications
from tests import factories
from tests.counting import count_queries


@pytest.fixture
def run(client, db):
    """Weigh a run of which both limits are kept: 4.75 mm and 300 µm."""
    factories.make_laboratory()
    specification = factories.make_specification()
    material = factories.make_material(specification=specification)
    run = factories.make_accepted_run(sample=factories.make_sample(material=material))
    client.force_login(factories.make_person(Role.REVIEWER))
    return run


def show(client, run, **asked):
    return client.get(reverse("verdicts:run-show", args=[run.pk]), asked)


def page_of(answer):
    return html.unescape(answer.content.decode())


def test_line_that_decides_is_marked_and_every_line_has_its_margin(client, run):
    answer = show(client, run)

    lines = answer.context["lines"]
    assert answer.status_code == 200
    assert sum(line.decides for line in lines) == 1
    assert all(line.margin for line in lines if line.nearer)
    assert "decides" in page_of(answer)


def test_uncertainty_stands_on_the_chart_as_bars(client, run):
    figure = show(client, run).context["chart"]

    curve = next(trace for trace in figure["data"] if trace.get("name") == str(run))
    assert any(up > 0 for up in curve["error_y"]["array"])


def test_moved_aperture_shows_the_verdict_if_it_was_so_and_keeps_nothing(client, run):
    before = (Weighing.objects.count(), Result.objects.count(), LedgerEntry.objects.count())

    answer = show(client, run, sieve="300", error_um="15")

    assert answer.status_code == 200
    moved = [line for line in answer.context["lines"] if line.found_if_so != line.found]
    assert [line.name for line in moved] == ["300 µm"]
    assert "The verdict would" in page_of(answer)
    assert before == (
        Weighing.objects.count(),
        Result.objects.count(),
        LedgerEntry.objects.count(),
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"sieve": "300", "error_um": "much"}, "much"),
        ({"error_um": "5"}, "which sieve"),
        ({"mass_change_g": "5"}, "which mass"),
        ({"sieve": "300", "error_um": "100000"}, "true apertures"),
        ({"mass_of": "pan", "mass_change_g": "-100000"}, "not negative"),
        ({"sieve": "17", "error_um": "5"}, "Choose one of those offered"),
    ],
)
def test_what_cannot_be_is_said_and_the_record_still_shown(client, run, asked, said):
    answer = show(client, run, **asked)

    assert answer.status_code == 422
    assert said in page_of(answer)
    assert answer.context["lines"]


def test_other_rounding_marks_the_figures_that_differ(client, run):
    answer = show(client, run)

    rows = answer.context["replay_rows"]
    rules = [rule.name for rule, _, _ in answer.context["replay_rules"]]
    assert rules[0] == "as reported"
    assert len(rules) >= 5
    assert all(len(row.cells) == len(rules) for row in rows)
    assert not any(row.cells[0][1] for row in rows)


def test_open_run_says_what_is_missing_instead_of_failing(client, run):
    opened = factories.make_run()

    answer = show(client, opened)
    moved = show(client, opened, mass_of="pan", mass_change_g="1")

    assert answer.status_code == 200
    assert moved.status_code == 422


def test_page_costs_few_queries(client, run):
    assert count_queries(lambda: show(client, run)) <= 30


def test_margin_of_a_value_has_the_places_of_the_value(client, run):
    draft = specifications.draft_specification_version(
        actor=people.system_account(),
        version=SpecificationVersion(
            specification=Specification(code="NS-61", title="Sand"), effective_from=date(2020, 1, 1)
        ),
        lines=[
            SpecificationLine(
                kind="characteristic",
                characteristic="coefficient_of_uniformity",
                minimum=Decimal("1.11"),
            )
        ],
    )
    sand = factories.make_material(specification=factories.release_specification(draft))
    judged = factories.make_accepted_run(sample=factories.make_sample(material=sand))

    (line,) = show(client, judged).context["lines"]

    # Both to two places: the figure and its distance to 1.11 differ by the limit, but for rounding.
    assert len(line.found.partition(".")[2]) == 2
    assert len(line.margin.partition(".")[2]) == 2
    assert Decimal(line.found) - Decimal(line.margin) == Decimal("1.11")
