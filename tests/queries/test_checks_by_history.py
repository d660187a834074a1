"""Checks against what came before: slips, a run unlike its material, determinations apart."""

from decimal import Decimal

import pytest

from gradation.models import Run, Severity, Stage
from gradation.queries.run_checks import findings, review_findings
from gradation.services import bench
from tests import factories
from tests.counting import count_queries
from tests.queries.asking import found_in

pytestmark = pytest.mark.django_db

#: As the factories' run, a little to and fro from run to run.
USUAL_G = (10, 75, 100, 125, 110, 60, 20)
RUNS = 9


@pytest.fixture
def actor(db):
    factories.make_laboratory()
    return factories.technician()


@pytest.fixture
def material(actor):
    """Give a material with nine accepted runs behind it."""
    material = factories.make_material(factories.make_procedure())
    for number in range(RUNS):
        masses_g = shifted(number % 3 - 1)
        sample = factories.make_sample(actor, material)
        factories.make_accepted_run(actor, sample, masses_g=masses_g)
    return material


def shifted(by_g):
    """Move some grams from the third to the fourth sieve; the sum stays 500 g."""
    masses_g = list(USUAL_G)
    masses_g[2] -= by_g
    masses_g[3] += by_g
    return [str(mass_g) for mass_g in masses_g]


def run_with(actor, material, masses_g):
    run = factories.make_run(actor, factories.make_sample(actor, material))
    factories.weigh(run, masses_g=masses_g)
    return run


def test_17_finds_a_run_unlike_its_material_and_not_a_usual_one(actor, material):
    """60 g less on the third sieve: 12 % more pass it, where the others differ by 0.2 %."""
    usual = run_with(actor, material, shifted(1))
    unlike = run_with(actor, material, shifted(60))

    (found,) = found_in(unlike, "unlike-history")

    assert f"the last {RUNS} accepted runs" in found.sentence
    assert "75.0 % passing 1.18 mm" in found.sentence
    assert "about 63.0 %" in found.sentence
    assert (found.place, found.severity) == ("fraction-3", Severity.NOTE)
    assert found_in(usual, "unlike-history") == []


def test_17_says_nothing_from_fewer_than_eight_runs(actor):
    material = factories.make_material(factories.make_procedure())
    for _ in range(7):
        factories.make_accepted_run(actor, factories.make_sample(actor, material))
    unlike = run_with(actor, material, shifted(60))

    assert found_in(unlike, "unlike-history") == []


def test_16_names_the_rows_that_look_exchanged(actor, material):
    masses_g = shifted(0)
    masses_g[1], masses_g[3] = masses_g[3], masses_g[1]

    (found,) = found_in(run_with(actor, material, masses_g), "zero-or-kink")

    assert "2.36 mm and 600 µm look exchanged" in found.sentence
    assert found_in(run_with(actor, material, shifted(1)), "zero-or-kink") == []


def test_history_is_not_asked_after_every_reading(actor, material):
    run = run_with(actor, material, shifted(60))

    assert found_in(run, "unlike-history", Stage.WEIGHING) == []


def duplicates(actor, masses_g, **limits):
    """Make two determinations of one sample, the second not handed over yet."""
    version = factories.make_procedure(determinations=2, **limits)
    sample = factories.make_sample(actor, factories.make_material(version))
    factories.make_accepted_run(actor, sample)
    run = factories.make_run(actor, sample)
    factories.weigh(run, masses_g=masses_g)
    return run


@pytest.mark.parametrize(("moved_g", "finds"), [(5, False), (6, True)])
def test_18_finds_determinations_further_apart_than_the_procedure_allows(actor, moved_g, finds):
    """5 g of 500 g are 1.0 % passing at 1.18 mm; at most 1.0 is allowed."""
    run = duplicates(actor, shifted(moved_g), repeatability_limit=Decimal("1.0"))

    found = found_in(run, "not-repeatable")

    assert ["1.18 mm" in each.sentence for each in found] == ([True] if finds else [])


@pytest.mark.parametrize(("moved_g", "finds"), [(11, False), (12, True)])
def test_18_goes_by_the_standard_deviation_of_repeatability(actor, moved_g, finds):
    """ISO 5725-6:1994, table 1: f(2) = 2.77; 0.83 % allows 2.30 %, and 11 g of 500 g are 2.2 %."""
    run = duplicates(actor, shifted(moved_g), repeatability_sd=Decimal("0.83"))

    assert bool(found_in(run, "not-repeatable")) == finds


def test_18_compares_by_the_figure_that_the_procedure_names(actor):
    run = duplicates(
        actor, shifted(30), repeatability_of="fines", repeatability_limit=Decimal("0.1")
    )

    assert found_in(run, "not-repeatable") == []


def run_after(actor, sizes_um, runs):
    """Weigh a run of a material that has some accepted ones behind it, 10 g on each sieve."""
    material = factories.make_material(factories.make_procedure(sizes_um))
    masses = {
        "dry_mass_g": str(10 * len(sizes_um) + 20),
        "masses_g": [*["10"] * len(sizes_um), "20"],
    }
    for _ in range(runs):
        factories.make_accepted_run(actor, factories.make_sample(actor, material), **masses)
    run = factories.make_run(actor, factories.make_sample(actor, material))
    factories.weigh(run, **masses)
    return run


def queries_of(run, stage):
    fresh = Run.objects.get(pk=run.pk)
    return count_queries(lambda: findings(fresh, stage))


@pytest.mark.parametrize("stage", [Stage.WEIGHING, Stage.HAND_OVER, Stage.REVIEW])
def test_number_of_queries_does_not_grow_with_runs_or_sieves(actor, stage):
    small = run_after(actor, (600, 300), 1)
    large = run_after(actor, (4750, 2360, 1180, 850, 600, 425, 300, 212, 150), 3)

    assert queries_of(small, stage) == queries_of(large, stage) <= 32


def test_review_list_holds_what_was_answered_and_drops_what_was_corrected(actor):
    run = factories.make_run(actor)
    factories.weigh(run, dry_mass_g="510")
    factories.answer_findings(run, "Spill seen.")
    one = factories.reading("dry mass", "509")
    bench.correct_weighing(actor=actor, run=run, reading=one, reason="misread")
    factories.answer_findings(run, "Spill seen, weighed again.")
    run = bench.submit_run(actor=actor, run=run)

    loss = [each for each in review_findings(run) if each.code == "loss-over-limit"]

    assert [each.answer.reason for each in loss] == ["Spill seen, weighed again."]
