"""A run with other passing values: what is weighed follows the curve, all else stays."""

import numpy as np
import pytest

from gradation.science.errors import Impossible
from gradation.science.redrawn import with_passing
from tests.builders import make_gradation


def test_fractions_follow_the_curve_that_is_drawn_anew():
    # By hand: 95 % instead of 90 % pass 2.36 mm of 500 g of sand, so 15 instead of 40 g lie on it
    # and 125 instead of 100 g on the next finer sieve; the others as they were.
    sand = make_gradation()
    curve = sand.passing.copy()
    curve[1] = 0.95

    moved = with_passing(sand, curve)

    assert moved.passing.tolist() == curve.tolist()
    assert moved.retained_g == pytest.approx([10, 15, 125, 120, 110, 70, 30, 20], abs=1e-9)


def test_pan_takes_what_the_finest_sieve_no_longer_holds():
    # By hand: 5 % instead of 4 % pass 75 µm of 500 g: 25 instead of 30 g on it, 25 instead of 20 g
    # in the pan.
    sand = make_gradation()

    moved = with_passing(sand, [*sand.passing[:-1], 0.05])

    assert moved.retained_g == pytest.approx([10, 40, 100, 120, 110, 70, 25, 25], abs=1e-9)
    assert moved.retained == pytest.approx(moved.retained_g / 500, abs=1e-12)


@pytest.mark.parametrize(
    "passing",
    [[0.98, 0.99, 0.7, 0.46, 0.24, 0.1, 0.04], [0.98, 0.9]],
    ids=["rises", "other sieves"],
)
def test_curve_that_no_material_has_is_not_drawn(passing):
    with pytest.raises(Impossible, match="which no material does"):
        with_passing(make_gradation(), np.array(passing))
