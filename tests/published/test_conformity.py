"""Permitted deviations of test sieves: `examples/conformity.json`.

The effective aperture from reference beads of the same file is asserted where effective
apertures are calculated.
"""

from __future__ import annotations

import pytest

from gradation.science.conformity import (
    ApertureSummary,
    Edition,
    assess_sieve,
    deviation_formulae_um,
    permitted_deviations,
)
from gradation.science.decisions import Outcome
from tests.published.agreement import agrees
from tests.published.examples import example


def test_permitted_deviations_by_the_formulae():
    case = example("conformity", "permitted_deviations_of_cloth")

    Y, X = deviation_formulae_um(case.inputs["nominal_um"])

    agrees(case, "Y_table_um", Y, case.tolerance["Y"])
    agrees(case, "X_table_um", X, case.tolerance["X"])


def test_permitted_deviations_from_the_table():
    case = example("conformity", "permitted_deviations_of_cloth")

    found = [permitted_deviations(w, Edition.ASTM_E11_17) for w in case.inputs["nominal_um"]]

    agrees(case, "Y_table_um", [each.mean_y_um for each in found], case.tolerance["Y"])
    agrees(case, "X_table_um", [each.single_x_um for each in found], case.tolerance["X"])


def test_apertures_of_the_bead_example_are_judged_as_printed():
    case = example("conformity", "effective_aperture_from_beads")
    allowed = permitted_deviations(case.inputs["nominal_um"], Edition.ASTM_E11_17)

    verdicts = [
        assess_sieve(cloth, cloth, allowed).outcome is Outcome.CONFORMS
        for cloth in (
            ApertureSummary(1, mean, mean, None) for mean in case.outputs["effective_aperture_um"]
        )
    ]

    assert allowed.mean_y_um == pytest.approx(case.inputs["tolerance_Y_um"], abs=0.05)
    agrees(case, "within_tolerance", verdicts)
