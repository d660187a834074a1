"""Where a mistake lands, checked against gradations of masses with that mistake."""

import numpy as np
import pytest

from gradation.science.error_landing import BenchError, Direction, landing, landing_sentence
from gradation.science.errors import OutOfRange
from gradation.science.gradation import Basis, gradation
from gradation.science.tables import read_table

NEST = [4000.0, 2000.0, 1000.0, 500.0, 250.0]
TRUE_G = np.array([50.0, 100.0, 100.0, 120.0, 90.0, 40.0])
ROW = 2


def moved(amounts):
    masses = TRUE_G.copy()
    for row, amount in amounts.items():
        masses[row] += amount
    return masses, 500.0


# What each mistake does to the masses at row 2 (1000 µm), in grams.
WRONG = {
    BenchError.OVERSIZE_SIEVE: moved({2: -20.0, 3: 20.0}),
    BenchError.UNDERSIZE_SIEVE: moved({2: 20.0, 3: -20.0}),
    BenchError.OVERLOAD: moved({2: 20.0, 3: -10.0, 4: -6.0, 5: -4.0}),
    BenchError.BLINDED_SIEVE: moved({2: 20.0, 3: -10.0, 4: -6.0, 5: -4.0}),
    BenchError.DAMP: moved({2: 6.0, 3: 5.0, 4: 4.0, 5: -15.0}),
    BenchError.SHORT_TIME: moved({2: 10.0, 3: 4.0, 4: 1.0, 5: -15.0}),
    BenchError.MISSED_WASH: moved({2: 6.0, 3: 5.0, 4: 4.0, 5: -15.0}),
    BenchError.LOST_FROM_SIEVE: moved({2: -15.0}),
    BenchError.LOST_FINES: moved({5: -15.0}),
    BenchError.FRACTION_TOO_HEAVY: moved({2: 15.0}),
    BenchError.DRY_MASS_TOO_HIGH: (TRUE_G, 520.0),
    BenchError.SWAPPED_ROWS: (TRUE_G[[0, 1, 3, 2, 4, 5]], 500.0),
    BenchError.SWAPPED_SIEVES: moved({2: -100.0, 3: 100.0}),
}


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("error", list(BenchError))
def test_direction_at_each_point_is_that_of_the_masses(error, basis):
    masses, dry = WRONG[error]
    true = gradation(NEST, TRUE_G, 500.0, basis=basis).passing
    recorded = gradation(NEST, masses, dry, basis=basis).passing

    found = landing(error, ROW, 5, basis)

    change = np.round(recorded - true, 9)
    signs = {Direction.TOO_FINE: 1, Direction.TOO_COARSE: -1, Direction.UNCHANGED: 0}
    for direction, amount in zip(found, change, strict=True):
        if direction is Direction.EITHER:
            assert amount != 0
        else:
            assert np.sign(amount) == signs[direction]


def test_every_error_has_a_row_for_both_bases_and_a_source():
    rows = read_table("error_landing")

    assert {row["error"] for row in rows} == {error.value for error in BenchError}
    assert all(row["source"] and row["cause"] and row["confidence"] for row in rows)
    for error in BenchError:
        bases = sorted(row["basis"] for row in rows if row["error"] == error.value)
        assert bases in (["any"], sorted(basis.value for basis in Basis))


def test_sentence_leaves_out_what_does_not_exist():
    first = landing_sentence(BenchError.OVERLOAD, NEST, 0, Basis.INITIAL_DRY)
    last = landing_sentence(BenchError.OVERLOAD, NEST, 4, Basis.INITIAL_DRY)

    assert "coarser points" not in first
    assert first.startswith("At 4 mm: too little passing; finer points: too little passing (")
    assert "finer points" not in last


def test_a_row_that_is_not_there_is_refused():
    with pytest.raises(OutOfRange, match="row 6"):
        landing(BenchError.OVERLOAD, 5, 5, Basis.INITIAL_DRY)
