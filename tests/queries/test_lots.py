"""A lot of several results held against one specification."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.models import Run, Specification, SpecificationLine, SpecificationVersion
from gradation.queries.lots import lot_verdict
from gradation.services import people, specifications
from tests import factories

#: On 300 µm of 500 g: passing 16 % and 24 %.
COARSE = ("10", "75", "100", "125", "110", "60", "20")
FINE = ("10", "75", "100", "95", "100", "90", "30")


@pytest.fixture
def material(db):
    factories.make_laboratory()

    def make(**rule):
        version = specifications.draft_specification_version(
            actor=people.system_account(),
            version=SpecificationVersion(
                specification=Specification(code="NS-60", title="Sand"),
                effective_from=date(2020, 1, 1),
                **rule,
            ),
            lines=[SpecificationLine(aperture_um=Decimal(300), maximum=Decimal(22))],
        )
        return factories.make_material(specification=factories.release_specification(version))

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
