"""Worked examples of blending: `examples/blend.json`, each with its source."""

from __future__ import annotations

import numpy as np
import pytest

from gradation.science.blend import (
    BlendLimits,
    Stockpile,
    blend_passing,
    meet_envelope,
    share_range,
    weighted_mean_passing,
)
from tests.published.agreement import agrees
from tests.published.examples import example


def share(percents):
    return tuple(np.array(percents, dtype=float) / 100)


def test_two_aggregates_half_and_half():
    case = example("blend", "two_aggregates_50_50")
    given, tolerance = case.inputs, case.tolerance["percent"]
    table = np.array([given["A"], given["B"]])
    shares = [given["share_A"], 1 - given["share_A"]]

    blend = blend_passing(table, shares)

    agrees(case, "contribution_A", shares[0] * table[0], tolerance)
    agrees(case, "contribution_B", shares[1] * table[1], tolerance)
    agrees(case, "blend", blend, tolerance)


def test_blend_on_its_limit_meets_the_band():
    # No. 4 is exactly on its lower limit of 65 % at this share, and no other share does better:
    # more of A breaks that limit
    case = example("blend", "two_aggregates_50_50")
    given = case.inputs
    apertures = (12500, 9500, 4750, 2360, 1180, 600, 300, 150, 75)
    fixed = Stockpile("A", share(given["A"]), share_min=0.5, share_max=0.5)
    band = BlendLimits(apertures, share(given["target_low"]), share(given["target_high"]))

    found = meet_envelope([fixed, Stockpile("B", share(given["B"]))], band)

    agrees(case, "meets_target", found.exists)
    assert found.margin == pytest.approx(0.0, abs=1e-9)
    agrees(case, "blend", 100 * np.array(found.passing), 1e-7)


def two_aggregates(limits_key):
    given = example("blend", "feasible_shares_and_misprint").inputs
    piles = [Stockpile("A", share(given["A"])), Stockpile("B", share(given["B"]))]
    apertures = tuple(1000 * size for size in given["sieve_mm"])
    lower, upper = given[limits_key]
    return piles, BlendLimits(apertures, share(lower), share(upper))


def test_feasible_range_of_a_share():
    case = example("blend", "feasible_shares_and_misprint")
    piles, band = two_aggregates("limits_original")

    found = share_range(piles, band, "A")

    agrees(case, "share_A_range_original", [found.smallest, found.largest], case.tolerance["abs"])
    # the textbook share lies inside the range
    nearest = min(max(case.outputs["textbook_share_A"], found.smallest), found.largest)
    agrees(case, "textbook_share_A", nearest)
    # 0.4314 = (51 - 29) / 51 at 0.6 mm; 0.5556 = (9 - 4) / 9 at 75 um
    assert [b.sentence for b in found.held_by_smallest] == ["at most 29 % passing 600 µm"]
    assert [b.sentence for b in found.held_by_largest] == ["at least 4 % passing 75 µm"]


def test_textbook_share_gives_the_textbook_blend():
    case = example("blend", "feasible_shares_and_misprint")

    blend = blend_passing([case.inputs["A"], case.inputs["B"]], [0.5, 0.5])

    agrees(case, "blend_at_0_50", blend, 1e-9)


def test_misprinted_specification_has_no_blend_and_says_which_limits_clash():
    case = example("blend", "feasible_shares_and_misprint")
    piles, band = two_aggregates("limits_as_reposted")

    found = meet_envelope(piles, band)

    agrees(case, "as_reposted", "feasible" if found.exists else "infeasible")
    # least miss of all: 10 - 10 a = 80 a - 46 at a = 56/90, both 3.78 points, where the fines
    # are short of 7 % as well
    assert found.margin == pytest.approx(-(10 - 10 * 56 / 90) / 100, abs=1e-9)
    assert {b.sentence for b in found.binding} == {
        "at most 90 % passing 12.5 mm",
        "at least 50 % passing 4.75 mm",
    }
    assert "No blend of these stockpiles meets the envelope" in found.sentence
    assert "at least 7 % passing 75 µm" in found.sentence.partition("also misses")[2]


def test_coarsest_and_finest_limit_of_the_misprint_clash_on_their_own():
    # 100 - 10 a <= 90 asks for a = 1; 9 (1 - a) >= 7 for a <= 0.22
    piles, band = two_aggregates("limits_as_reposted")
    ends = (0, 7)
    two = BlendLimits(
        tuple(band.apertures_um[i] for i in ends),
        tuple(band.lower[i] for i in ends),
        tuple(band.upper[i] for i in ends),
    )
    cut = [Stockpile(p.name, tuple(p.passing[i] for i in ends)) for p in piles]

    found = meet_envelope(cut, two)

    assert not found.exists
    assert {b.sentence for b in found.binding} == {
        "at most 90 % passing 12.5 mm",
        "at least 7 % passing 75 µm",
    }


def test_three_aggregates():
    case = example("blend", "three_aggregates_15_25_60")
    given = case.inputs

    blend = blend_passing([given["A"], given["B"], given["C"]], given["shares"])

    agrees(case, "blend", blend, case.tolerance["percent"])


def test_increments_count_by_their_mass():
    case = example("blend", "mass_weighted_increments")
    increments = case.inputs["increments"]
    masses = [increment["mass"] for increment in increments]
    passing = [increment["passing"] for increment in increments]

    weighted = weighted_mean_passing(masses, passing)
    plain = weighted_mean_passing([1.0] * len(masses), passing)

    tolerance = case.tolerance["percent"]
    agrees(case, "weighted_mean", weighted, tolerance)
    agrees(case, "plain_mean", plain, tolerance)
