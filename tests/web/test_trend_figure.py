"""Marks from the records on a control chart: none is dropped, however many there are."""

import numpy as np

from gradation.queries.trend_marks import Happened, Mark
from gradation.web.trend_figure import gathered

HOUR_S = 3600
RUNS_AT_S = np.arange(1000, dtype=np.int64) * HOUR_S


def marks(count):
    step_s = RUNS_AT_S[-1] // count
    return [Mark(int(n * step_s), Happened.SIEVE, f"600 µm S-{n:04}") for n in range(count)]


def test_few_marks_stand_each_alone():
    assert [len(each) for each in gathered(marks(40), RUNS_AT_S)] == [1] * 40


def test_very_many_marks_stand_together_and_all_are_kept():
    many = marks(500)

    found = gathered(many, RUNS_AT_S)

    assert len(found) <= 40
    assert [mark for each in found for mark in each] == many


def test_no_mark_is_nothing_to_draw():
    assert gathered([], RUNS_AT_S) == []
