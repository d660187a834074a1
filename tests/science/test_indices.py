"""Characteristic values: by hand, at their edges, and with the reason they lack."""

from __future__ import annotations

import numpy as np
import pytest

from gradation.science.characteristics import MODULUS_SETS, characteristics
from gradation.science.errors import NotDeterminable, OutOfRange, UnknownName
from gradation.science.gradation import gradation
from gradation.science.indices import (
    coefficient_of_curvature,
    coefficient_of_uniformity,
    fineness_modulus,
    grain_fineness_number,
    maximum_size_um,
    nominal_maximum_size_um,
    passing_on_set,
    sieve_set,
    span,
    standard_modulus,
    trask_sorting,
    usable_share,
)
from gradation.science.interpolation import Interpolation
from tests.builders import from_passing, make_gradation

ASTM_SET = sieve_set("fineness_modulus_astm").apertures_um
AFS = sieve_set("afs_grain_fineness")


def by_name(curve, **options) -> dict:
    return {each.name: each for each in characteristics(curve, **options)}


def test_ratios_by_hand() -> None:
    assert span(1, 4, 9) == 2
    assert coefficient_of_uniformity(0.5, 3) == 6
    assert coefficient_of_curvature(1, 3, 9) == 1
    assert trask_sorting(1, 9) == 3


def test_ratios_keep_what_is_not_known() -> None:
    assert np.isnan(span(np.nan, 4, 9))
    assert np.isnan(coefficient_of_uniformity([np.nan, 1], [2, 2])).tolist() == [True, False]


def test_modulus_set_of_astm_has_eleven_sieves_of_doubling_size() -> None:
    """ASTM C136, 9.2: 150 µm up to 37.5 mm and larger, each about twice the other."""
    assert len(ASTM_SET) == 11
    steps = np.divide(ASTM_SET[:-1], ASTM_SET[1:])
    assert ((steps > 1.9) & (steps < 2.1)).all()


def test_german_k_value_of_the_published_check() -> None:
    """Retained 92, 81, 70, 60, 47, 25, 0, 0, 0 %, fine to coarse: k = 3.75 (2.7.2)."""
    fine_to_coarse = [92, 81, 70, 60, 47, 25, 0, 0, 0]
    apertures_um = sieve_set("k_value_de").apertures_um
    curve = from_passing(apertures_um, [100 - each for each in fine_to_coarse[::-1]])

    assert fineness_modulus(curve, apertures_um) == pytest.approx(3.75, abs=1e-12)
    assert 100 * curve.passing.sum() == pytest.approx(525, abs=1e-9)


def test_material_on_the_coarsest_sieve_is_taken_to_pass_the_next_and_it_is_said() -> None:
    """2+10+30+54+76+90 = 262, with 10 g of 500 g on the coarsest sieve, 4.75 mm."""
    curve = make_gradation()

    found = by_name(curve)["fineness_modulus"]

    assert np.isnan(fineness_modulus(curve, ASTM_SET))  # without that, it is not known
    assert found.value == pytest.approx(2.62, abs=1e-12)
    assert found.note == ("Taken: nothing on the coarsest sieve, 4.75 mm, is larger than 9.5 mm.")


def test_modulus_that_takes_nothing_for_granted_has_no_note() -> None:
    curve = from_passing([9500, 4750, 2360, 1180, 600, 300, 150], [100, 98, 85, 65, 45, 21, 3])

    found = by_name(curve)["fineness_modulus"]

    assert found.value == pytest.approx(2.83, abs=1e-12)
    assert found.note == ""


def test_sieve_missing_inside_the_nest_makes_the_modulus_not_determinable() -> None:
    curve = from_passing([12500, 4750, 2360, 1180, 600, 300, 150], [100, 98, 85, 65, 45, 21, 3])

    found = by_name(curve)["fineness_modulus"]

    assert found.value is None
    assert "9.5 mm" in found.reason
    assert "4.75 mm" not in found.reason


@pytest.mark.parametrize(("coarse_um", "name"), [((10000, 4750), "IS"), ((10000, 5000), "BS")])
def test_modulus_on_the_sieves_of_another_country_names_them(coarse_um: tuple, name: str) -> None:
    apertures_um = (*coarse_um, 2360, 1180, 600, 300, 150)

    found = by_name(from_passing(apertures_um, [100, 98, 85, 65, 45, 21, 3]))["fineness_modulus"]

    assert found.value == pytest.approx(2.83, abs=1e-12)
    assert name in found.note
    assert "from memory" in found.note


def test_top_sieve_that_passed_everything_makes_it_determinable() -> None:
    """10+30+54+76+90 with 2 at 4.75 mm: 262/100 on the sand of 500 g under a 9.5 mm sieve."""
    curve = make_gradation(
        apertures_um=(9500, 4750, 2360, 1180, 600, 300, 150, 75),
        retained_g=(0, 10, 40, 100, 120, 110, 70, 30, 20),
    )

    assert by_name(curve)["fineness_modulus"].value == pytest.approx(2.62, abs=1e-12)


def test_missing_sieve_is_interpolated_only_on_request() -> None:
    without_600 = from_passing([9500, 4750, 2360, 1180, 300, 150], [100, 98, 90, 70, 24, 10])
    log = Interpolation.LOG_LINEAR
    # 600 µm by hand: 24 + 46 x ln(600/300) / ln(1180/300) = 47.28 %
    by_hand = (2 + 10 + 30 + (100 - (24 + 46 * np.log(2) / np.log(1180 / 300))) + 76 + 90) / 100

    plain = by_name(without_600)["fineness_modulus"]
    asked = by_name(without_600, is_modulus_interpolated=True)["fineness_modulus"]

    assert plain.value is None
    assert plain.reason.endswith("600 µm.")
    assert asked.value == pytest.approx(by_hand, abs=1e-12)
    assert fineness_modulus(without_600, ASTM_SET, log) == pytest.approx(by_hand, abs=1e-12)


def test_below_the_nest_interpolation_does_not_help() -> None:
    curve = from_passing([9500, 4750, 2360, 1180, 600, 300], [100, 98, 85, 65, 45, 21])

    found = by_name(curve, is_modulus_interpolated=True)["fineness_modulus"]

    assert found.value is None
    assert "outside the nest" in found.reason


def test_missing_sieve_between_two_equal_passings_is_certain() -> None:
    curve = from_passing([4000, 1000, 500], [100, 100, 0])

    assert passing_on_set(curve, (8000.0, 2000.0, 750.0, 250.0)).tolist()[:2] == [1, 1]
    assert np.isnan(passing_on_set(curve, (750.0,)))[0]
    assert passing_on_set(curve, (250.0,)).tolist() == [0]


def test_standard_modulus_of_a_batch_equals_that_of_its_runs() -> None:
    apertures_um = (10000, 4750, 2360, 1180, 600, 300, 150)
    runs = [[0, 1, 2, 3, 4, 5, 6, 7.0], [1, 0, 0, 3, 9, 0, 1, 0.0], [0, 0, 0, 0, 0, 0, 0, 5.0]]
    totals = [sum(each) for each in runs]

    batch = standard_modulus(
        gradation(apertures_um, runs, totals), MODULUS_SETS["fineness_modulus"]
    )

    singles = [
        by_name(gradation(apertures_um, run, total))["fineness_modulus"].value
        for run, total in zip(runs, totals, strict=True)
    ]
    assert batch.tolist() == singles


def test_fineness_modulus_of_a_batch_equals_that_of_its_runs() -> None:
    apertures_um = (9500, 4750, 2360, 1180, 600, 300, 150)
    runs = [[0, 1, 2, 3, 4, 5, 6, 7.0], [1, 0, 0, 3, 9, 0, 1, 0.0], [0, 0, 0, 0, 0, 0, 0, 5.0]]
    totals = [sum(each) for each in runs]

    batch = fineness_modulus(gradation(apertures_um, runs, totals), ASTM_SET)

    for number, (run, total) in enumerate(zip(runs, totals, strict=True)):
        one = fineness_modulus(gradation(apertures_um, run, total), ASTM_SET)
        np.testing.assert_array_equal(batch[number], one)
    assert np.isnan(batch).tolist() == [False, True, False]


@pytest.mark.parametrize("aperture_um", [0.0, -75.0])
def test_sieves_of_a_set_have_openings(aperture_um: float) -> None:
    with pytest.raises(OutOfRange, match="apertures above zero"):
        passing_on_set(make_gradation(), (600.0, aperture_um))


def test_modulus_needs_a_set_and_sets_have_names() -> None:
    with pytest.raises(OutOfRange):
        fineness_modulus(make_gradation(), ())
    with pytest.raises(UnknownName, match="fineness_modulus_en"):
        sieve_set("house_set")


def test_grain_fineness_of_one_fraction_is_its_factor() -> None:
    """All on No. 70 (passing No. 50): 50; all in the pan: 300; half and half: 175."""
    at_70 = [0.0] * 12
    at_70[6] = 10.0
    in_pan = [0.0] * 11 + [10.0]

    batch = gradation(AFS.apertures_um, [at_70, in_pan], [10.0, 10.0])

    assert grain_fineness_number(batch).tolist() == [50, 300]


@pytest.mark.parametrize(
    ("apertures_um", "retained_g", "is_known"),
    [
        ((300, 212, 150), (0, 5, 5, 0), True),
        ((300, 150), (5, 5, 0), False),  # a coarser sieve is missing above 300 µm
        ((300, 150), (0, 5, 0), False),  # 212 µm is missing where material lies
        ((300, 212, 150), (0, 5, 5, 1), False),  # 106 µm is missing above the pan
        ((300, 250, 212), (0, 0, 5, 0), True),  # 250 µm is no sieve of the set, but empty
        ((300, 250, 212), (0, 1, 5, 0), False),
    ],
)
def test_grain_fineness_needs_the_sieves_of_its_set_where_material_lies(
    apertures_um: tuple, retained_g: tuple, is_known: bool
) -> None:
    curve = gradation(apertures_um, retained_g, float(sum(retained_g)))

    assert np.isnan(grain_fineness_number(curve)) != is_known


@pytest.mark.parametrize(
    ("apertures_um", "retained_g", "is_known"),
    [
        ((300, 212, 150), (5, 5, 5, 0), True),
        ((300, 150), (5, 5, 0), False),  # 212 µm is missing where material lies
        ((250, 212, 150), (5, 5, 0, 0), False),  # 250 µm has no factor
        ((300, 212), (5, 5, 1), False),  # sieves are missing above the pan
    ],
)
def test_grain_fineness_takes_only_the_top_of_the_nest_for_granted(
    apertures_um: tuple, retained_g: tuple, is_known: bool
) -> None:
    curve = gradation(apertures_um, retained_g, float(sum(retained_g)))

    found = by_name(curve)["grain_fineness_number"]

    assert (found.value is not None) == is_known
    assert ("larger than 425 µm" in found.note) == is_known


def test_grain_fineness_of_a_digest_with_material_on_its_coarsest_sieve() -> None:
    """Percentages printed by a foundry digest from No. 30 down; by its factors 5065.0/98.88.

    The digest prints 47, which its own products do not give.
    """
    retained = [1.60, 8.10, 33.80, 32.10, 16.50, 6.78]
    factors = [20, 30, 40, 50, 70, 100]  # those of the digest, No. 30 to No. 140
    by_hand = sum(a * b for a, b in zip(retained, factors, strict=True)) / sum(retained)

    curve = gradation((600, 425, 300, 212, 150, 106), [*retained, 0.0], sum(retained))

    number = by_name(curve)["grain_fineness_number"]
    assert number.value == pytest.approx(by_hand, abs=1e-9)
    assert number.value == pytest.approx(51.2, abs=0.05)


def test_grain_fineness_does_not_depend_on_the_basis_of_the_percentages() -> None:
    masses = [0.0, 0, 0, 0.4, 8.5, 12.6, 13.3, 7.9, 3.1, 0.9, 0.3, 0.2]

    one = gradation(AFS.apertures_um, masses, 60.0)
    other = gradation(AFS.apertures_um, masses, 60.0, 50.0, "sum_of_fractions")

    assert grain_fineness_number(one) == grain_fineness_number(other)


def test_largest_sizes_of_an_aggregate() -> None:
    """Pavement-guide rule: 9.5 mm is the first to keep more than 10 %, so 12.5 mm nominal."""
    curve = from_passing([25000, 19000, 12500, 9500, 4750], [100, 100, 96, 80, 40])

    assert maximum_size_um(curve) == 19000
    assert nominal_maximum_size_um(curve) == 12500


def test_exactly_ten_percent_is_not_more_than_ten() -> None:
    assert nominal_maximum_size_um(from_passing([19000, 12500, 9500], [100, 90, 50])) == 12500


def test_largest_sizes_that_the_nest_does_not_tell() -> None:
    coarse = from_passing([19000, 12500], [80, 40])

    with pytest.raises(NotDeterminable, match="19 mm"):
        maximum_size_um(coarse)
    with pytest.raises(NotDeterminable, match="10 %"):
        nominal_maximum_size_um(coarse)
    assert nominal_maximum_size_um(from_passing([19000, 12500], [100, 99])) == 12500


def test_sizes_of_a_batch_are_told_run_by_run() -> None:
    batch = gradation([4, 2], [[1.0, 1.0, 1.0]] * 2, [3.0, 3.0])

    for refuse in (maximum_size_um, nominal_maximum_size_um, characteristics):
        with pytest.raises(NotDeterminable):
            refuse(batch)


@pytest.mark.parametrize(("p10", "p60"), [(50, 20), (-1, 30), (20, 101), (1, 50), (60, 99)])
def test_stock_sand_that_cannot_give_the_wanted_sand(p10: float, p60: float) -> None:
    usable_share(20, 50)
    with pytest.raises(OutOfRange):
        usable_share(p10, p60)


def test_every_value_is_a_number_or_has_a_reason() -> None:
    for found in by_name(make_gradation()).values():
        assert (found.value is None) == bool(found.reason)


def test_a_size_outside_the_sieves_takes_its_ratios_with_it() -> None:
    values = by_name(from_passing([2000, 1000, 500], [100, 60, 20]))

    assert values["d10"].value is None
    for name in ("span", "coefficient_of_uniformity", "effective_size", "uniformity_coefficient"):
        assert values[name].reason == "D10 is smaller than the finest sieve, 500 µm."
    assert values["trask_sorting"].value is not None
