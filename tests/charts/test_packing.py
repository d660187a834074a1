"""Rows of numbers in few bytes say what the plain rows say."""

from base64 import b64decode

import numpy as np
import pytest

from gradation.charts import packing

#: What plotly.js calls the typed arrays of ECMAScript, by its short names.
KINDS = {"u2": np.uint16, "u4": np.uint32, "f4": np.float32}


def unpacked(packed):
    return np.frombuffer(b64decode(packed["bdata"]), KINDS[packed["dtype"]])


def test_short_rows_stay_plain():
    assert packing.places([3, 9]) == {"x": [3, 9]}
    assert packing.values([1.5, 2.5]) == [1.5, 2.5]


def test_points_that_follow_one_another_are_a_first_and_a_step():
    assert packing.places(tuple(range(5, 1005))) == {"x0": 5, "dx": 1}


@pytest.mark.parametrize("last", [65_535, 65_536, 1_000_000])
def test_scattered_places_come_back_whatever_their_size(last):
    places = [*range(0, 2000, 2), last]

    assert unpacked(packing.places(places)["x"]).tolist() == places


def test_places_of_several_groups_one_after_another_are_no_step():
    # As many as from the first to the last, but of two groups: 0, 2, 4 .. then 1, 3, 5 ..
    places = [*range(0, 1000, 2), *range(1, 1000, 2)]

    assert unpacked(packing.places(places)["x"]).tolist() == places


def test_figures_keep_the_digits_a_drawing_shows():
    # Single precision has 24 binary digits: half a unit in the last is 2**-24 of the figure.
    figures = np.random.default_rng(1).normal(50, 20, size=1000)

    back = unpacked(packing.values(figures.tolist()))

    np.testing.assert_allclose(back, figures, rtol=2.0**-24)
