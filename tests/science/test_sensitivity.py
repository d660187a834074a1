"""Results with other apertures, against curves known everywhere."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.decisions import DecisionRule, Limits, Outcome, Rule
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.sensitivity import aperture_shift, passing_at_nominal, verdict_flips

NEST = np.array([4000.0, 2000.0, 1000.0, 500.0, 250.0])


def straight(x):
    """A material whose curve is a straight line on log aperture from 100 µm to 10 mm."""
    return np.clip(np.log(np.asarray(x) / 100.0) / np.log(100.0), 0, 1)


@settings(deadline=None)
@given(st.lists(st.floats(-0.2, 0.2), min_size=5, max_size=5))
def test_a_straight_curve_is_recovered_exactly_whatever_the_apertures(offsets):
    true = NEST * (1 + np.array(offsets))

    found = passing_at_nominal(NEST, true, straight(true))

    assert found.passing == pytest.approx(straight(NEST), abs=1e-12)


def test_extension_beyond_the_sieves_is_marked():
    true = NEST * np.array([0.98, 1, 1, 1, 1.02])

    found = passing_at_nominal(NEST, true, straight(true))

    assert found.extended.tolist() == [True, False, False, False, True]


def test_one_oversize_sieve_changes_its_own_point_only():
    recorded = straight(NEST * np.array([1, 1, 1.05, 1, 1]))

    shift = aperture_shift(NEST, recorded, 2, 50.0)

    expected = np.zeros(5)
    expected[2] = -np.log(1.05) / np.log(100)
    assert shift.change == pytest.approx(expected, abs=1e-12)
    assert not shift.extended.any()


def test_margin_moves_with_the_point():
    recorded = np.array([[1.0, 0.8, 0.5, 0.3, 0.1]])
    limits = Limits([0.9, 0.7, 0.45, 0.2, 0.0], [1.0, 0.9, 0.55, 0.4, 0.2])

    before, after = aperture_shift(NEST, recorded, 2, 50.0).margins(limits)

    assert before[0] == pytest.approx([0.0, 0.1, 0.05, 0.1, 0.1], abs=1e-12)
    assert after[0, [0, 1, 3, 4]] == pytest.approx(before[0, [0, 1, 3, 4]], abs=1e-12)
    assert after[0, 2] < before[0, 2]


def test_no_offset_no_change():
    recorded = np.array([0.93, 0.77, 0.51, 0.29, 0.12])

    assert aperture_shift(NEST, recorded, 1, 0.0).change.tolist() == [0.0] * 5


def test_batch_equals_run_by_run():
    runs = np.array([[0.9, 0.8, 0.5, 0.3, 0.1], [1.0, 1.0, 0.4, 0.0, 0.0]])

    together = aperture_shift(NEST, runs, 3, -20.0).corrected

    alone = [aperture_shift(NEST, run, 3, -20.0).corrected for run in runs]
    assert np.array_equal(together, alone)


def test_corrected_passing_stays_between_nothing_and_everything():
    found = aperture_shift(NEST, [1.0, 1.0, 1.0, 0.5, 0.0], 0, -900.0)

    assert found.corrected.max() <= 1.0
    assert found.corrected.min() >= 0.0


def test_verdicts_that_flip():
    limits = Limits(lower=0.45)
    rule = DecisionRule(Rule.GUARD_BAND)

    flips = verdict_flips([0.48, 0.60, 0.40], [0.45, 0.58, 0.47], 0.01, limits, rule)

    assert flips.before.outcomes.tolist() == [
        Outcome.CONFORMS, Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM,
    ]  # fmt: skip
    assert flips.changed.tolist() == [True, False, True]
    assert flips.withdrawn.tolist() == [True, False, False]


def test_refusals():
    with pytest.raises(NotDeterminable, match="One sieve"):
        passing_at_nominal([500.0], [505.0], [0.5])
    with pytest.raises(Impossible, match="fall from coarse to fine"):
        aperture_shift(NEST, [0.9, 0.8, 0.5, 0.3, 0.1], 2, 1200.0)
    with pytest.raises(OutOfRange, match="row 6"):
        aperture_shift(NEST, [0.9, 0.8, 0.5, 0.3, 0.1], 5, 10.0)
