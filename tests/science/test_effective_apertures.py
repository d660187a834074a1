"""Effective apertures, against exact working and draws."""

import numpy as np
import pytest

from gradation.science.effective_apertures import (
    ReferenceCertificate,
    SizeScale,
    beside_nominal,
    effective_aperture,
)
from gradation.science.errors import Impossible

BEADS = ReferenceCertificate(
    (125.0, 140.0, 150.0, 160.0, 180.0),
    (0.1, 0.3, 0.5, 0.7, 0.9),
    (1.0, 0.8, 0.7, 0.8, 1.2),
    (0.01, 0.008, 0.006, 0.008, 0.01),
)


def test_both_readings_stand_side_by_side():
    nominal, measured = [400.0, 200.0, 100.0], [404.0, 206.0, 101.0]

    both = beside_nominal(nominal, measured, [0.9, 0.5, 0.1], (0.5, 0.95))

    assert both.sizes_nominal_um[0] == pytest.approx(200.0, rel=1e-12)
    assert both.sizes_measured_um[0] == pytest.approx(206.0, rel=1e-12)
    assert np.isnan(both.sizes_measured_um[1])
    # 200 lies between 101 and 206: 0.1 + 0.4 ln(200/101)/ln(206/101).
    expected = 0.1 + 0.4 * np.log(200 / 101) / np.log(206 / 101)
    assert both.passing_at_nominal[1] == pytest.approx(expected, rel=1e-12)


def test_equal_apertures_change_nothing():
    both = beside_nominal([400, 200, 100], [400, 200, 100], [[0.9, 0.5, 0.1], [1.0, 0.7, 0.2]])

    assert np.array_equal(both.passing_at_nominal, both.passing)
    assert not both.extended.any()
    assert np.array_equal(both.sizes_nominal_um, both.sizes_measured_um, equal_nan=True)


@pytest.mark.parametrize("scale", list(SizeScale))
def test_uncertainty_agrees_with_drawn_certificates(scale):
    chance = np.random.default_rng(12)
    draws = 40_000
    sizes = np.array(BEADS.diameters_um) + np.array(BEADS.u_diameters_um) * chance.normal(
        size=(draws, 5)
    )
    shares = np.array(BEADS.passing) + np.array(BEADS.u_passing) * chance.normal(size=(draws, 5))
    seen = 0.44 + 0.005 * chance.normal(size=draws)
    # 44 % lies well inside the segment from 140 µm (30 %) to 150 µm (50 %).
    t = (seen - shares[:, 1]) / (shares[:, 2] - shares[:, 1])
    if scale is SizeScale.LINEAR:
        drawn = sizes[:, 1] + t * (sizes[:, 2] - sizes[:, 1])
    else:
        drawn = sizes[:, 1] * (sizes[:, 2] / sizes[:, 1]) ** t

    found = effective_aperture(BEADS, 0.44, 0.005, scale)

    # Sampling error 1/sqrt(2 N) = 0.35 %; four of them, and 0.5 % for curvature.
    assert float(found.standard_um) == pytest.approx(drawn.std(), rel=0.019)
    assert float(found.aperture_um) == pytest.approx(drawn.mean(), abs=0.02)


def test_outside_the_certified_range_nothing_is_claimed():
    found = effective_aperture(BEADS, [0.05, 0.5, 0.95])

    assert np.isnan(found.aperture_um).tolist() == [True, False, True]
    assert np.isnan(found.standard_um).tolist() == [True, False, True]
    assert found.below_range.tolist() == [True, False, False]
    assert found.above_range.tolist() == [False, False, True]


def test_certified_points_are_given_back_exactly():
    found = effective_aperture(BEADS, BEADS.passing)

    assert found.aperture_um == pytest.approx(BEADS.diameters_um, rel=1e-12)
    assert found.standard_um == pytest.approx(
        # At a certified point u_d^2 = u_d0^2 + (slope u_q0)^2, slope of the segment used.
        np.hypot(BEADS.u_diameters_um, np.multiply([75, 50, 50, 100, 100], BEADS.u_passing)),
        rel=1e-9,
    )


def test_without_stated_uncertainties_only_the_observation_counts():
    plain = ReferenceCertificate((140.0, 160.0), (0.3, 0.7))

    assert float(effective_aperture(plain, 0.5, 0.01).standard_um) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize(
    "rows",
    [
        ((140.0,), (0.3,)),
        ((140.0, 130.0), (0.3, 0.7)),
        ((140.0, 150.0), (0.7, 0.3)),
        ((140.0, 150.0), (0.3, 1.2)),
        ((0.0, 150.0), (0.3, 0.7)),
        ((140.0, 150.0), (0.3, 0.7), (1.0,)),
        ((140.0, 150.0, 160.0), (0.3, 0.7)),
    ],
)
def test_a_certificate_that_is_no_distribution_is_refused(rows):
    with pytest.raises(Impossible, match="certificate"):
        ReferenceCertificate(*rows)
