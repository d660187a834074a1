"""A guard band decides by the uncertainty (JCGM 106:2012, ILAC-G8:09/2019): near is open."""

import pytest

from gradation.services import bench
from tests import factories

# 600 µm passes 38 % (310 of 500 g retained above it: hand working).
PASSING_600 = 38


@pytest.mark.parametrize(
    ("limits", "rule", "outcome"),
    [
        (("38", "100"), "plain_acceptance", "conforms"),
        (("38", "100"), "guard_band", "not_decidable"),
        (("20", "100"), "guard_band", "conforms"),
        (("60", "100"), "guard_band", "does_not_conform"),
    ],
)
def test_value_at_the_limit_is_decided_by_the_rule(technician, limits, rule, outcome):
    specification = factories.make_specification(((600, *limits),), decision_rule=rule)
    material = factories.make_material(specification=specification)
    run = factories.make_weighed_run(technician, factories.make_sample(technician, material))

    assessment = run.results.get().assessments.get()

    assert assessment.outcome == outcome


def test_undecided_verdict_names_the_sieve(technician):
    specification = factories.make_specification(((600, "38", "100"),), decision_rule="guard_band")
    material = factories.make_material(specification=specification)
    run = factories.make_run(technician, factories.make_sample(technician, material))
    factories.weigh(run)

    run = bench.submit_run(actor=technician, run=run)

    sentence = run.results.get().assessments.get().sentence
    assert sentence.startswith("Not decidable at this confidence")
    assert "600 µm" in sentence
