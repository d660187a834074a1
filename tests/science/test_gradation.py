"""From masses to percentages: properties, edges, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science.errors import Impossible
from gradation.science.gradation import (
    Basis,
    Split,
    combine_splits,
    gradation,
    individual_from_cumulative,
)
from tests.builders import SAND_G, SAND_UM, make_gradation

SUM = Basis.SUM_OF_FRACTIONS
masses = st.lists(st.integers(0, 50_000), min_size=4, max_size=12).filter(any)
"""Tenths of a gram on the sieves, pan last."""


def nest(fractions: list[int]) -> list[float]:
    """As many apertures as there are sieves, coarse to fine."""
    return [float(64 * 2**n) for n in range(len(fractions) - 1)][::-1]


def grams(fractions: list[int]) -> list[float]:
    return [each / 10 for each in fractions]


def test_sand_of_500_g_by_hand() -> None:
    curve = make_gradation()

    np.testing.assert_allclose(
        100 * curve.retained, [2, 8, 20, 24, 22, 14, 6, 4], rtol=0, atol=1e-12
    )
    np.testing.assert_allclose(100 * curve.passing, [98, 90, 70, 46, 24, 10, 4], rtol=0, atol=1e-12)
    assert curve.loss == 0
    assert curve.fines == pytest.approx(0.04, abs=1e-15)


def test_loss_counts_as_finer_on_the_initial_dry_mass() -> None:
    """505 g were put on, 500 g found: 10 g on 4.75 mm are 10/505, all else is finer."""
    curve = make_gradation(dry_mass_g=505)

    assert curve.passing[0] == pytest.approx(495 / 505, rel=1e-15)
    assert curve.passing[-1] == pytest.approx(25 / 505, rel=1e-14)
    assert curve.loss == pytest.approx(5 / 505, rel=1e-15)
    assert curve.retained.sum() + curve.loss_g / 505 == pytest.approx(1, rel=1e-15)


def test_loss_does_not_enter_the_sum_of_fractions() -> None:
    lossy = make_gradation(dry_mass_g=505, basis=SUM)
    whole = make_gradation(dry_mass_g=500, basis=SUM)

    np.testing.assert_array_equal(lossy.passing, whole.passing)
    assert lossy.loss == pytest.approx(5 / 505, rel=1e-15)


@pytest.mark.parametrize("basis", list(Basis))
def test_wash_loss_joins_the_pan_on_both_bases(basis: Basis) -> None:
    """560 g before, 500 g after washing: 60 g washed out with 20 g in the pan are fines."""
    curve = make_gradation(dry_mass_g=560, washed_dry_mass_g=500, basis=basis)

    assert curve.wash_loss_g == 60
    assert curve.fines == pytest.approx(80 / 560, rel=1e-15)
    assert curve.passing[-1] == pytest.approx(80 / 560, rel=1e-14)
    assert curve.loss == 0


def test_gain_is_a_negative_loss_and_never_a_negative_passing() -> None:
    curve = gradation([200, 100], [60.0, 42.0, 0.0], 100.0)

    assert curve.loss == pytest.approx(-0.02, rel=1e-12)
    assert curve.passing[-1] == 0
    assert curve.cumulative_retained[-1] == pytest.approx(1.02, rel=1e-15)


def test_dry_mass_is_not_needed_for_the_sum_of_fractions() -> None:
    curve = make_gradation(dry_mass_g=None, basis=SUM)

    assert np.isnan(curve.loss)
    assert curve.passing[0] == pytest.approx(0.98, rel=1e-15)


def test_all_on_one_sieve_steps_from_one_to_nothing() -> None:
    curve = gradation([400, 200, 100], [0.0, 123.4, 0.0, 0.0], 123.4)

    assert curve.passing.tolist() == [1, 0, 0]


def test_all_in_the_pan_passes_everywhere() -> None:
    assert gradation([400, 200], [0.0, 0.0, 9.9], 9.9).passing.tolist() == [1, 1]


def test_one_sieve_is_enough() -> None:
    assert gradation([75], [9.0, 1.0], 10.0).passing.tolist() == [0.1]


def test_empty_sieve_leaves_two_exactly_equal_passings() -> None:
    curve = gradation([400, 200, 100], [0.1, 0.0, 0.2, 0.4], 0.7)

    assert curve.passing[0] == curve.passing[1]


def test_nothing_below_an_exact_end_is_binary_noise() -> None:
    """0.1 + 0.2 + 0.3 is not 0.6 in binary; the passing is still exactly nothing."""
    assert gradation([4, 2, 1], [0.1, 0.2, 0.3, 0.0], 0.6).passing[-1] == 0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"apertures_um": ()}, "at least one sieve"),
        ({"apertures_um": (4750, 2360, 1180, 600, 300, 150, 150)}, "150 µm is entered twice"),
        ({"apertures_um": (4750, 2360, 1180, 600, 300, 150, 0)}, "above zero"),
        ({"apertures_um": (4750, 2360, 1180, 600, 300, 150, float("nan"))}, "above zero"),
        ({"retained_g": SAND_G}, "7 sieves and a pan need 8 masses, but 7"),
        ({"retained_g": (*SAND_G, -0.1)}, "below zero"),
        ({"retained_g": (*SAND_G, float("nan"))}, "missing"),
        ({"retained_g": (0,) * 8}, "zero"),
        ({"dry_mass_g": None}, "dry mass before washing is missing"),
        ({"dry_mass_g": 0}, "above zero"),
        ({"dry_mass_g": -5}, "above zero"),
        ({"dry_mass_g": float("inf")}, "above zero"),
        ({"washed_dry_mass_g": 500.1}, "larger than the one before"),
        ({"washed_dry_mass_g": 0}, "after washing must be above zero"),
        ({"dry_mass_g": None, "washed_dry_mass_g": 400, "basis": SUM}, "is missing"),
    ],
)
def test_impossible_masses_are_refused(changes: dict[str, object], says: str) -> None:
    make_gradation()
    with pytest.raises(Impossible, match=says):
        make_gradation(**changes)  # type: ignore[arg-type]


def test_cumulative_masses_give_the_individual_ones() -> None:
    individual = individual_from_cumulative([10, 50, 150, 150, 380])

    assert individual.tolist() == [10, 40, 100, 0, 230]


def test_falling_cumulative_masses_are_refused_with_their_row() -> None:
    with pytest.raises(Impossible, match="row 3"):
        individual_from_cumulative([10, 50, 40])


@given(masses)
def test_passing_never_rises_and_stays_between_nothing_and_all(fractions: list[int]) -> None:
    curve = gradation(nest(fractions), grams(fractions), basis=SUM)

    assert (np.diff(curve.passing) <= 0).all()
    assert ((curve.passing >= 0) & (curve.passing <= 1)).all()


@given(masses, st.integers(1, 200_000), st.integers(0, 200_000))
def test_retained_and_loss_make_the_whole(
    fractions: list[int], washed_dg: int, wash_loss_dg: int
) -> None:
    dry_g, washed_g = (washed_dg + wash_loss_dg) / 10, washed_dg / 10

    curve = gradation(nest(fractions), grams(fractions), dry_g, washed_g)
    of_sum = gradation(nest(fractions), grams(fractions), dry_g, washed_g, SUM)

    # a dozen terms of at most 60,000 g over 0.1 g: 1e-16 x 6e5 x 12
    assert curve.retained.sum() + curve.loss_g / dry_g == pytest.approx(1, rel=0, abs=1e-9)
    assert of_sum.retained.sum() == pytest.approx(1, rel=1e-14)


@given(masses, st.floats(1e-3, 1e3))
def test_scaling_all_masses_changes_nothing(fractions: list[int], factor: float) -> None:
    one = gradation(nest(fractions), grams(fractions), basis=SUM)
    other = gradation(nest(fractions), np.asarray(grams(fractions)) * factor, basis=SUM)

    np.testing.assert_allclose(other.passing, one.passing, rtol=0, atol=2e-15 * len(fractions))


@given(masses, st.randoms(use_true_random=False))
def test_order_of_entry_is_irrelevant(fractions: list[int], chance: object) -> None:
    rows = list(zip(nest(fractions), grams(fractions), strict=False))
    shuffled = list(rows)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    pan_g = fractions[-1] / 10

    one = gradation([r[0] for r in rows], [*(r[1] for r in rows), pan_g], basis=SUM)
    other = gradation([r[0] for r in shuffled], [*(r[1] for r in shuffled), pan_g], basis=SUM)

    np.testing.assert_array_equal(one.passing, other.passing)


@given(st.lists(st.lists(st.integers(0, 9999), min_size=6, max_size=6), min_size=1, max_size=5))
def test_a_batch_equals_its_runs_to_the_last_digit(runs: list[list[int]]) -> None:
    retained_g = np.asarray(runs, dtype=np.float64) / 7 + 0.1
    dry_g = retained_g.sum(axis=-1) * 1.03
    washed_g = dry_g * 0.98

    for basis in Basis:
        batch = gradation([16, 8, 4, 2, 1], retained_g, dry_g, washed_g, basis)
        for number in range(len(runs)):
            one = gradation(
                [16, 8, 4, 2, 1], retained_g[number], dry_g[number], washed_g[number], basis
            )
            for name in ("retained", "cumulative_retained", "passing", "loss", "wash_loss_g"):
                np.testing.assert_array_equal(
                    getattr(batch, name)[number], getattr(one, name), err_msg=name
                )


def test_a_batch_may_have_more_than_one_axis() -> None:
    retained_g = np.arange(1.0, 25.0).reshape(2, 3, 4)

    curve = gradation([4, 2, 1], retained_g, np.full((2, 3), 100.0))

    assert curve.passing.shape == (2, 3, 3)
    assert curve.loss.shape == (2, 3)


def test_split_multiplies_finer_fractions_only() -> None:
    """Half of 400 g that passed 4.75 mm was sieved on: what is finer counts twice."""
    whole = combine_splits([4750, 600, 75], [100, 40, 50, 110], [Split(4750, 400, 200)])

    assert whole.retained_g.tolist() == [100, 80, 100, 220]
    assert whole.factors.tolist() == [1, 2, 2, 2]


def test_two_splits_multiply_and_their_order_of_entry_is_irrelevant() -> None:
    splits = [Split(600, 120, 60), Split(4750, 400, 200)]

    for order in (splits, splits[::-1]):
        whole = combine_splits([4750, 600, 75], [100, 80, 20, 40], order)
        assert whole.retained_g.tolist() == [100, 160, 80, 160]


def test_wash_loss_of_a_reduced_part_is_brought_to_the_whole() -> None:
    whole = combine_splits([4750, 75], [100, 70, 20], [Split(4750, 400, 100, 90)])

    assert whole.wash_loss_g == pytest.approx(40, abs=1e-12)


@given(masses)
def test_a_split_that_keeps_everything_changes_nothing(fractions: list[int]) -> None:
    apertures_um = nest(fractions)

    whole = combine_splits(apertures_um, grams(fractions), [Split(apertures_um[0], 50.0, 50.0)])

    np.testing.assert_array_equal(whole.retained_g, grams(fractions))


@pytest.mark.parametrize(
    ("split", "says"),
    [
        (Split(1000, 10, 5), "at no sieve"),
        (Split(4750, 10, 11), "larger than the mass that passed"),
        (Split(4750, 10, 0), "zero"),
        (Split(4750, 10, 5, 6), "after washing"),
    ],
)
def test_impossible_splits_are_refused(split: Split, says: str) -> None:
    combine_splits(SAND_UM, [1.0] * 8, [Split(4750, 10, 5)])
    with pytest.raises(Impossible, match=says):
        combine_splits(SAND_UM, [1.0] * 8, [split])


def test_a_repeated_split_is_refused() -> None:
    with pytest.raises(Impossible, match="twice"):
        combine_splits(SAND_UM, [1.0] * 8, [Split(4750, 10, 5), Split(4750, 8, 5)])
