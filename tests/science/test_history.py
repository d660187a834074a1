"""What is usual for a material, by robust statistics."""

import numpy as np
import pytest
from scipy import stats

from gradation.science.errors import Impossible, OutOfRange
from gradation.science.history import (
    Recorded,
    history_of,
    loss_share,
    no_history,
    root_shares,
    unlike_history,
    wash_share,
)

NEST = np.array([1000.0, 500.0, 250.0])


def some_runs(count=15, seed=1):
    chance = np.random.default_rng(seed)
    masses = np.array([50.0, 200.0, 180.0, 60.0]) * np.exp(chance.normal(0, 0.05, (count, 4)))
    return Recorded(NEST, masses.round(1), masses.sum(axis=1).round(1) + 0.4)


def test_centre_and_spread_are_median_and_median_deviation():
    runs = some_runs()

    found = history_of(runs)

    deviation = stats.median_abs_deviation(runs.passing, axis=0, scale="normal")
    pooled = np.sqrt((15 * deviation**2 + 6 * np.median(deviation) ** 2) / 21)
    assert found.passing.centre == pytest.approx(np.median(runs.passing, axis=0), rel=1e-12)
    assert found.passing.scale == pytest.approx(np.maximum(pooled, 0.003), rel=1e-9)


def test_two_bad_runs_in_fifteen_hardly_move_what_is_usual():
    runs = some_runs()
    spoilt = runs.masses_g.copy()
    spoilt[:2] = spoilt[:2, ::-1]

    clean = history_of(runs).passing
    dirty = history_of(Recorded(NEST, spoilt, runs.dry_mass_g)).passing

    assert np.all(np.abs(dirty.centre - clean.centre) < clean.scale)
    assert np.all(dirty.scale < 2 * clean.scale)


def test_identical_runs_do_not_make_every_later_run_suspicious():
    same = Recorded(NEST, np.tile([50.0, 200.0, 180.0, 70.0], (10, 1)), np.full(10, 500.0))

    history = history_of(same)

    assert not unlike_history([0.905, 0.505, 0.145], history).is_unlike
    assert unlike_history([0.93, 0.5, 0.14], history).is_unlike


def test_the_odd_row_is_named():
    found = unlike_history([[0.90, 0.35, 0.14]], history_of(some_runs()))

    assert found.is_unlike.tolist() == [True]
    assert found.row.tolist() == [1]


def test_batch_equals_run_by_run():
    history = history_of(some_runs())
    batch = some_runs(6, seed=2).passing

    together = unlike_history(batch, history).z

    assert np.array_equal(together, [unlike_history(run, history).z for run in batch])


def test_loss_and_wash_by_hand():
    run = Recorded(NEST, np.array([50.0, 200.0, 180.0, 47.6]), np.array(500.0), np.array(480.0))

    assert float(wash_share(run)) == pytest.approx(0.04, rel=1e-12)
    assert float(loss_share(run)) == pytest.approx(2.4 / 480, rel=1e-12)


def test_a_negative_net_mass_counts_as_nothing_retained():
    run = Recorded(NEST, np.array([-0.3, 320.0, 180.0, 0.0]), np.array(500.0))

    assert root_shares(run) == pytest.approx([0.0, 0.8, 0.6, 0.0], rel=1e-12)


def test_refusals():
    with pytest.raises(OutOfRange, match="8 accepted runs"):
        history_of(some_runs(7))
    broken = some_runs()
    broken.masses_g[3, 1] = np.nan
    with pytest.raises(Impossible, match="missing mass"):
        history_of(broken)
    with pytest.raises(OutOfRange, match="tolerance"):
        no_history(3, 0.0)
    with pytest.raises(OutOfRange, match="limit"):
        unlike_history([0.9, 0.5, 0.1], history_of(some_runs()), 0.0)
