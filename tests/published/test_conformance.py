"""Effective aperture from a reference material: method named, certificate invented."""

import numpy as np
import pytest

from gradation.science.effective_apertures import (
    ReferenceCertificate,
    SizeScale,
    effective_aperture,
)
from tests.published.agreement import agrees

from .examples import example


def test_effective_aperture_from_beads():
    case = example("conformity", "effective_aperture_from_beads")
    given = case.inputs
    beads = ReferenceCertificate(
        tuple(given["certificate"]["diameter_um"]),
        tuple(share / 100 for share in given["certificate"]["percent_finer"]),
    )

    found = effective_aperture(beads, np.divide(given["observed_percent_passing"], 100))

    within = np.abs(found.aperture_um - given["nominal_um"]) <= given["tolerance_Y_um"]
    agrees(case, "effective_aperture_um", found.aperture_um, case.tolerance["um"])
    agrees(case, "within_tolerance", within.tolist())


def test_log_scale_takes_the_geometric_mean_half_way():
    # Between 140 µm (30 %) and 160 µm (70 %), half way is sqrt(140 x 160) = 149.666 µm.
    beads = ReferenceCertificate((140.0, 160.0), (0.3, 0.7))

    found = effective_aperture(beads, 0.5, scale=SizeScale.LOG)

    assert float(found.aperture_um) == pytest.approx(np.sqrt(140 * 160), rel=1e-12)
