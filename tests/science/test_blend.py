"""Blends: shares by linear programme beside exact arithmetic and plain search."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.science.blend import (
    BlendLimits,
    Nearness,
    Stockpile,
    blend_passing,
    meet_envelope,
    nearest_target,
    share_range,
    weighted_mean_passing,
)
from gradation.science.blend_programme import best_share, make_problem
from gradation.science.errors import Impossible, NotDeterminable, UnknownName

COARSE = Stockpile("Tarnholt 8/16", (1.0, 0.30, 0.05, 0.01))
MIDDLE = Stockpile("Tarnholt 2/8", (1.0, 0.85, 0.20, 0.03))
SAND = Stockpile("Tarnholt 0/2", (1.0, 1.00, 0.95, 0.10))
PILES = [COARSE, MIDDLE, SAND]
SIEVES = (16000.0, 8000.0, 2000.0, 75.0)
BAND = BlendLimits(SIEVES, (1.0, 0.60, 0.30, 0.02), (1.0, 0.80, 0.45, 0.08))
FREE = BlendLimits(SIEVES, (None,) * 4, (None,) * 4)


def margins_on_a_grid(piles, limits, step=0.005):
    """Smallest margin of every mixture of three piles on a grid, top sieve left out."""
    table = np.array([pile.passing for pile in piles])
    n = round(1 / step)
    shares = np.array([(i, j, n - i - j) for i, j in product(range(n + 1), repeat=2) if i + j <= n])
    mixed = shares / n @ table
    lower, upper = np.array(limits.lower), np.array(limits.upper)
    room = np.minimum(mixed - lower, upper - mixed)[:, 1:]
    return shares / n, room.min(axis=1)


def test_largest_smallest_margin_beats_every_mixture_of_a_grid():
    _, margins = margins_on_a_grid(PILES, BAND)

    found = meet_envelope(PILES, BAND)

    # a grid of 0.5 % comes within 0.5 % x largest difference of passing of the best
    assert found.exists
    assert margins.max() <= found.margin + 1e-9
    assert found.margin <= margins.max() + 0.005


def test_solution_is_what_it_says():
    found = meet_envelope(PILES, BAND)

    table = np.array([pile.passing for pile in PILES])
    assert sum(found.shares) == pytest.approx(1.0, abs=1e-12)
    assert found.passing == pytest.approx(tuple(np.array(found.shares) @ table), abs=1e-12)
    assert found.binding
    assert "points to every limit" in found.sentence


def test_two_piles_by_exact_working():
    # share a of coarse: passing 0.9 - 0.6 a at 4.75 mm between 0.55 and 0.75:
    # widest margin in the middle, 0.65, so a = 5/12 and the margin is 0.10
    coarse, fine = Stockpile("Coarse", (0.3,)), Stockpile("Fine", (0.9,))

    found = meet_envelope([coarse, fine], BlendLimits((4750.0,), (0.55,), (0.75,)))

    assert found.shares == pytest.approx((5 / 12, 7 / 12), abs=1e-9)
    assert found.margin == pytest.approx(0.10, abs=1e-9)


def test_limits_nothing_can_break_ask_no_margin():
    band = BlendLimits((8000.0, 2000.0), (0.0, 0.30), (1.0, 0.50))

    found = meet_envelope([Stockpile("A", (1.0, 0.2)), Stockpile("B", (1.0, 0.6))], band)

    assert found.margin == pytest.approx(0.10, abs=1e-9)
    assert found.passing[1] == pytest.approx(0.40, abs=1e-9)


def test_envelope_of_exact_lines_only_has_no_margin():
    found = meet_envelope(
        [COARSE, SAND], BlendLimits(SIEVES, (1.0,) + (None,) * 3, (1.0,) + (None,) * 3)
    )

    assert found.exists
    assert np.isnan(found.margin)


def test_none_exists_is_said_with_the_limits_in_conflict():
    # 75 µm: no pile passes more than 10 %
    band = BlendLimits(SIEVES, (1.0, 0.60, 0.30, 0.12), (1.0, 0.80, 0.45, 0.20))

    found = meet_envelope(PILES, band)

    assert not found.exists
    assert found.shares == ()
    assert found.margin < 0
    assert "No blend" in found.sentence
    assert "at least 12 % passing 75 µm" in found.sentence


def test_bound_of_a_share_that_blocks_is_named():
    # sand is needed for 30 % passing 2 mm; 10 % of it give at most 0.095 + 0.18 = 27.5 %
    little = Stockpile("Tarnholt 0/2", SAND.passing, share_max=0.10)

    found = meet_envelope([COARSE, MIDDLE, little], BAND)

    assert not found.exists
    assert "at most 10 % of Tarnholt 0/2" in found.sentence


def test_bounds_of_shares_are_kept():
    held = Stockpile("Tarnholt 8/16", COARSE.passing, share_min=0.35)

    found = meet_envelope([held, MIDDLE, SAND], BAND)

    assert found.exists
    assert found.shares[0] >= 0.35 - 1e-9


def test_share_range_ends_where_a_limit_is_met():
    found = share_range(PILES, BAND, "Tarnholt 0/2")

    shares, margins = margins_on_a_grid(PILES, BAND)
    feasible = shares[margins >= 0][:, 2]
    assert found.exists
    assert found.smallest <= feasible.min() <= found.smallest + 0.01
    assert found.largest - 0.01 <= feasible.max() <= found.largest
    assert found.held_by_smallest
    assert found.held_by_largest


def test_share_range_of_no_blend_says_so():
    found = share_range(
        PILES, BlendLimits(SIEVES, (None,) * 3 + (0.5,), (None,) * 4), "Tarnholt 0/2"
    )

    assert not found.exists
    assert np.isnan(found.smallest)
    assert "at least 50 % passing 75 µm" in found.held_by_smallest[0].sentence


def test_a_target_that_can_be_mixed_is_met_exactly():
    target = tuple(blend_passing([pile.passing for pile in PILES], [0.3, 0.3, 0.4]).tolist())

    for nearness in Nearness:
        found = nearest_target(PILES, target, FREE, nearness)

        assert found.departure == pytest.approx(0.0, abs=1e-6)
        assert found.shares == pytest.approx((0.3, 0.3, 0.4), abs=1e-4)


@pytest.mark.parametrize("nearness", list(Nearness))
def test_nearest_blend_beats_every_mixture_of_a_grid(nearness):
    target = np.array([1.0, 0.75, 0.40, 0.09])
    shares, margins = margins_on_a_grid(PILES, BAND)
    table = np.array([pile.passing for pile in PILES])
    away = shares[margins >= 0] @ table - target

    found = nearest_target(PILES, tuple(target), BAND, nearness)

    mine = np.array(found.passing) - target
    if nearness is Nearness.LEAST_SQUARES:
        assert np.sum(mine**2) <= np.sum(away**2, axis=1).min() + 1e-9
    else:
        assert np.max(np.abs(mine)) <= np.abs(away).max(axis=1).min() + 1e-9
    assert found.margin >= -1e-6
    assert found.departure == pytest.approx(float(np.max(np.abs(mine))))


def test_nearest_to_a_target_keeps_the_envelope_or_says_none_exists():
    impossible = BlendLimits(SIEVES, (None,) * 3 + (0.5,), (None,) * 4)

    assert not nearest_target(PILES, (1.0, 0.7, 0.4, 0.1), impossible).exists


def test_aperture_without_target_does_not_count():
    found = nearest_target([COARSE, SAND], (None, None, 0.50, None), FREE)

    # 0.05 a + 0.95 (1 - a) = 0.5 at a = 0.5
    assert found.shares == pytest.approx((0.5, 0.5), abs=1e-6)


@given(st.lists(st.floats(0.01, 1.0), min_size=3, max_size=3))
@settings(max_examples=25, deadline=None)
def test_any_mixture_lies_in_an_envelope_drawn_about_it(parts):
    shares = np.array(parts) / sum(parts)
    mixed = shares @ np.array([pile.passing for pile in PILES])
    band = BlendLimits(
        SIEVES,
        tuple(max(0.0, value - 0.02) for value in mixed.tolist()),
        tuple(min(1.0, value + 0.02) for value in mixed.tolist()),
    )

    assert meet_envelope(PILES, band).margin >= 0.02 - 1e-6


def test_increments_of_equal_mass_give_the_plain_mean():
    passing = [[1.0, 0.4], [1.0, 0.6]]

    assert weighted_mean_passing([500.0, 500.0], passing).tolist() == [1.0, 0.5]


def test_batch_of_blends_equals_one_by_one():
    table = [pile.passing for pile in PILES]
    shares = np.array([[0.2, 0.3, 0.5], [0.5, 0.25, 0.25]])

    batch = blend_passing(table, shares)

    assert batch == pytest.approx(np.array([blend_passing(table, one) for one in shares]))


def test_batch_of_means_equals_one_by_one():
    masses = np.array([[500.0, 250.0], [100.0, 400.0]])
    passing = np.array([[[1.0, 0.4], [1.0, 0.6]], [[0.9, 0.2], [0.8, 0.3]]])

    batch = weighted_mean_passing(masses, passing)

    one_by_one = [weighted_mean_passing(m, p) for m, p in zip(masses, passing, strict=True)]
    assert batch == pytest.approx(np.array(one_by_one))


@pytest.mark.parametrize(
    "refused",
    [
        lambda: blend_passing([[1.0]], [0.9]),
        lambda: blend_passing([[1.0], [0.5]], [1.2, -0.2]),
        lambda: blend_passing([[1.0], [0.5]], [1.0]),
        lambda: weighted_mean_passing([0.0, 0.0], [[1.0], [0.5]]),
        lambda: weighted_mean_passing([-1.0, 2.0], [[1.0], [0.5]]),
        lambda: weighted_mean_passing([1.0], [[1.0], [0.5]]),
        lambda: meet_envelope([], BAND),
        lambda: meet_envelope([Stockpile("A", (1.0,))], BAND),
        lambda: meet_envelope([Stockpile("A", (1.0, 0.5, 0.2, 1.1))], BAND),
        lambda: meet_envelope([Stockpile("A", COARSE.passing, 0.6, 0.5), SAND], BAND),
        lambda: meet_envelope([Stockpile("A", COARSE.passing, 0.6)] * 2, BAND),
        lambda: meet_envelope([Stockpile("A", COARSE.passing, 0.0, 0.4)] * 2, BAND),
        lambda: meet_envelope(PILES, BlendLimits(SIEVES, (0.9,), (1.0,))),
        lambda: meet_envelope(PILES, BlendLimits((75.0,) * 4, (0.9,) * 4, (0.8,) * 4)),
        lambda: nearest_target(PILES, (0.5,), FREE),
        lambda: nearest_target(PILES, (1.5, None, None, None), FREE),
    ],
)
def test_blends_that_cannot_be_are_refused(refused):
    with pytest.raises(Impossible):
        refused()


def test_no_target_and_unknown_pile_are_refused():
    with pytest.raises(NotDeterminable):
        nearest_target(PILES, (None,) * 4, FREE)
    with pytest.raises(UnknownName, match="Tarnholt 0/2"):
        share_range(PILES, BAND, "Norrhaven 0/2")


def test_a_limit_that_all_stockpiles_meet_alike_is_not_said_to_hold_the_blend():
    # 100 % passes 9.5 mm whatever the shares; 75 µm decides: 10 (1 - a) = 5 in the middle of 2 to 8
    piles = [Stockpile("Coarse", (1.0, 0.30, 0.0)), Stockpile("Fine", (1.0, 1.0, 0.10))]
    band = BlendLimits((9500, 4750, 75), (1.0, 0.55, 0.02), (1.0, 0.75, 0.08))

    found = meet_envelope(piles, band)

    assert {each.sentence for each in found.binding} == {
        "at least 2 % passing 75 µm",
        "at most 8 % passing 75 µm",
    }


def test_a_limit_that_all_stockpiles_miss_alike_is_named():
    piles = [Stockpile("Coarse", (0.9, 0.30)), Stockpile("Fine", (0.9, 1.0))]
    band = BlendLimits((9500, 4750), (1.0, 0.55), (1.0, 0.75))

    found = meet_envelope(piles, band)

    assert not found.exists
    assert "at least 100 % passing 9.5 mm" in found.sentence


@pytest.mark.parametrize("nearness", Nearness)
def test_one_stockpile_is_the_whole_blend(nearness):
    found = nearest_target([SAND], (1.0, 1.0, 0.90, 0.10), FREE, nearness)

    assert found.shares == pytest.approx((1.0,), abs=1e-12)
    assert found.departure == pytest.approx(0.05, abs=1e-9)  # by hand: 95 % where 90 are wanted


def test_search_says_so_when_no_blend_keeps_the_envelope():
    # At 2 mm both pass 20 % at most; no mixture of them reaches 50 %.
    beyond = BlendLimits(SIEVES, (None, None, 0.50, None), (None,) * 4)
    problem = make_problem([COARSE, MIDDLE], beyond)

    with pytest.raises(NotDeterminable, match="search for shares did not settle"):
        best_share(problem, np.array([1.0, 0.0]))
