"""A lot of several results held against one specification."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.models import (
    OnDisagreement,
    Run,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.queries.lots import lot_verdict, lots_of, sample_lot
from gradation.queries.sample_results import sample_verdict
from gradation.services import people, specifications
from tests import factories

#: On 300 µm of 500 g: passing 16 % and 24 %.
COARSE = ("10", "75", "100", "125", "110", "60", "20")
FINE = ("10", "75", "100", "95", "100", "90", "30")


@pytest.fixture
def material(db):
    factories.make_laboratory()

    def make(procedure=None, **rule):
        version = specifications.draft_specification_version(
            actor=people.system_account(),
            version=SpecificationVersion(
                specification=Specification(code="NS-60", title="Sand"),
                effective_from=date(2020, 1, 1),
                **rule,
            ),
            lines=[SpecificationLine(aperture_um=Decimal(300), maximum=Decimal(22))],
        )
        released = factories.release_specification(version)
        return factories.make_material(procedure, specification=released)

    return make


def run_of(material, lot, masses):
    sample = factories.make_sample(material=material, lot=lot)
    made = factories.make_accepted_run(sample=sample, masses_g=masses)
    return Run.objects.get(pk=made.pk)


def test_mean_of_a_lot_leaves_other_lots_out(material):
    sand = material(lot_rule="mean", lot_size=2)
    run_of(sand, "7", FINE)
    run_of(sand, "8", FINE)

    last = run_of(sand, "7", COARSE)
    found = lot_verdict(last)

    # By hand: (24 + 16) / 2 = 20 %, at most 22.
    assert len(found.runs) == 2
    assert found.assessment.lines[0].mean == pytest.approx(20.0, abs=1e-9)
    assert found.assessment.outcome.value == "conforms"


def test_moving_mean_takes_the_latest_whatever_the_lot(material):
    sand = material(lot_rule="moving_mean", lot_size=2)
    run_of(sand, "1", COARSE)
    run_of(sand, "2", FINE)

    found = lot_verdict(run_of(sand, "3", FINE))

    assert found.assessment.lines[0].mean == pytest.approx(24.0, abs=1e-9)
    assert found.assessment.outcome.value == "does_not_conform"


def test_earlier_run_is_not_judged_by_what_came_later(material):
    sand = material(lot_rule="mean", lot_size=2)
    first = run_of(sand, "7", COARSE)
    run_of(sand, "7", FINE)

    found = lot_verdict(first)

    assert [str(run) for run in found.runs] == [str(first)]
    assert found.assessment.outcome.value == "not_determined"


def test_lot_without_a_name_says_so_and_a_single_rule_has_no_lot(material):
    sand = material(lot_rule="mean", lot_size=2)

    assert "names no lot" in lot_verdict(run_of(sand, "", COARSE)).reason
    plain = factories.make_accepted_run()
    assert lot_verdict(plain) is None


def sample_of(material, lot, *determinations):
    sample = factories.make_sample(material=material, lot=lot)
    for masses in determinations:
        factories.make_accepted_run(sample=sample, masses_g=masses)
    return sample


def test_sample_tested_twice_weighs_once_in_its_lot(material):
    sand = material(factories.make_procedure(determinations=1), lot_rule="mean", lot_size=2)
    sample_of(sand, "7", COARSE, COARSE)
    last = sample_of(sand, "7", FINE)

    found = sample_lot(last)

    # By hand: (mean of 16 and 16, and 24) = (16 + 24) / 2 = 20 %; over runs it would be 18.67 %.
    assert [len(each.runs) for each in found.results] == [2, 1]
    assert found.assessment.lines[0].mean == pytest.approx(20.0, abs=1e-9)


def test_sample_that_wants_a_determination_is_no_result_yet(material):
    sand = material(factories.make_procedure(determinations=2), lot_rule="mean", lot_size=2)
    sample_of(sand, "7", COARSE, COARSE)
    half = sample_of(sand, "7", FINE)

    found = sample_lot(half)

    assert [each.sample.number for each in found.waiting] == [half.number]
    assert found.waiting[0].missing == 1
    assert found.why == "1 of 2 results so far."
    assert found.outcome == "not_determined"


def test_determinations_of_a_sample_are_judged_by_their_mean(material):
    sand = material(factories.make_procedure(determinations=2))
    sample = sample_of(sand, "7", COARSE, FINE)

    found = sample_verdict(sample)

    # By hand: (16 + 24) / 2 = 20 %, at most 22; the second alone would be outside.
    assert found.assessment["lines"][0]["value"] == pytest.approx(20.0, abs=1e-9)
    assert (found.how, len(found.runs), found.missing) == ("mean", 2, 0)
    assert found.assessment["outcome"] == "conforms"
    assert found.sentence.startswith("Within NS-60")


def test_where_each_is_reported_the_worst_determination_counts(material):
    procedure = factories.make_procedure(
        determinations=2,
        repeatability_limit=Decimal(3),
        on_disagreement=OnDisagreement.REPORT_ALL.value,
    )
    sample = sample_of(material(procedure), "7", COARSE, FINE)

    found = sample_verdict(sample)

    assert (found.how, len(found.results)) == ("each", 2)
    assert found.assessment["outcome"] == "does_not_conform"


def test_determination_set_aside_does_not_count(material):
    sand = material(factories.make_procedure(determinations=1))
    sample = sample_of(sand, "7", COARSE, FINE)
    Run.objects.filter(pk=Run.objects.filter(portion__sample=sample).latest("id").pk).update(
        counts=False, counts_reason="An outlier by Grubbs."
    )

    found = sample_verdict(sample)

    assert len(found.runs) == 1
    assert found.assessment["lines"][0]["value"] == pytest.approx(16.0, abs=1e-9)


def test_guard_band_holds_for_the_mean_of_determinations_too(material):
    sand = material(
        factories.make_procedure(determinations=2), decision_rule="guard_band", guard_factor=1
    )
    sample = sample_of(sand, "7", FINE, COARSE)

    found = sample_verdict(sample)

    own = [run.results.get().assessments.get().lines[0]["u"] for run in found.runs]
    assert found.assessment["decision_rule"] == "guard_band"
    assert found.assessment["lines"][0]["u"] == max(own)


def test_sample_without_specification_or_result_has_no_verdict(material):
    plain = factories.make_sample()
    untested = factories.make_sample(material=material())

    assert sample_verdict(plain) is None
    assert sample_verdict(untested) is None
    assert sample_lot(plain) is None


def test_lots_of_a_version_newest_first_with_their_verdicts(material):
    sand = material(lot_rule="mean", lot_size=2)
    sample_of(sand, "7", COARSE)
    sample_of(sand, "7", COARSE)
    newest = sample_of(sand, "8", FINE)
    version = newest.specification_version

    found = lots_of(version)

    assert [(each.lot, each.outcome) for each in found] == [
        ("8", "not_determined"),
        ("7", "conforms"),
    ]
    assert found[0].newest.number == newest.number
    assert found[0].material == sand.name
    assert lots_of(factories.make_specification()) == []
