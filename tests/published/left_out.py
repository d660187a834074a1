"""Figures that stand in an example and that no test asserts, each with the reason."""

from __future__ import annotations

LEFT_OUT: dict[tuple[str, str, str], str] = {
    ("classification", "published_classification_that_is_wrong", "published_answer"): (
        "published slip: 63 % lies above 4.75 mm, so the soil is a gravel; the test asserts that"
    ),
    ("indices", "fineness_modulus_short_series", "trap"): (
        "words that explain the two answers, both of which are asserted"
    ),
    ("indices", "grain_fineness_clay_removed", "wrong_if_divided_by_100_percent"): (
        "a wrong answer, given as a warning; the test asserts that ours is far from it"
    ),
    ("moisture", "dry_mass_from_moisture", "wrong_answer_if_percent_taken_of_wet_mass_g"): (
        "a wrong answer, given as a warning; the test asserts that ours is far from it"
    ),
    ("moments", "surface_mean_two_part_density", "number_below_10um"): (
        "a count of grains; sieving gives masses, and no result here is made from counts"
    ),
    ("moments", "surface_mean_two_part_density", "number_total"): (
        "a count of grains; sieving gives masses, and no result here is made from counts"
    ),
    ("precision", "robust_z_scores_30_laboratories", "q1"): (
        "a step on the way to nIQR, which is asserted; the estimate does not hand it out"
    ),
    ("precision", "robust_z_scores_30_laboratories", "q3"): (
        "a step on the way to nIQR, which is asserted; the estimate does not hand it out"
    ),
}
"""Topic, name of the example and figure; the reason goes into README.md."""
