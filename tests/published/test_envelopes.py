"""Published blends held against their bands: limits that are met exactly count as met."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gradation.science.apertures import parse_aperture
from gradation.science.envelopes import EnvelopeLine, Outcome, assess
from gradation.science.tables import read_table
from tests.builders import from_passing
from tests.published.agreement import agrees
from tests.published.examples import example

# The course sheet names its sieves shortly: 1/2 for 1/2 in., No.4 for No. 4.
NAMES = {"1/2": "1/2 in.", "3/8": "3/8 in."}


def band(apertures_um: list[Decimal], low: list[float], high: list[float]) -> list[EnvelopeLine]:
    return [
        EnvelopeLine(aperture_um=size, minimum=Decimal(str(least)), maximum=Decimal(str(most)))
        for size, least, most in zip(apertures_um, low, high, strict=True)
    ]


def test_blend_on_its_lower_limit_meets_the_target_band() -> None:
    found = example("blend", "two_aggregates_50_50")
    given = found.inputs
    apertures_um = [
        parse_aperture(NAMES.get(name, name.replace("No.", "No. "))) for name in given["sieve"]
    ]
    lines = band(apertures_um, given["target_low"], given["target_high"])
    curve = from_passing([float(each) for each in apertures_um], found.outputs["blend"])

    assessment = assess(curve, lines)

    agrees(found, "meets_target", assessment.outcome is Outcome.CONFORMS)
    on_limit = next(each for each in assessment.lines if each.line.aperture_um == 4750)
    assert on_limit.margin == 0
    assert on_limit.nearer_limit == "minimum"


@pytest.mark.parametrize(
    ("limits", "outcome"),
    [
        ("limits_original", Outcome.CONFORMS),
        ("limits_as_reposted", Outcome.DOES_NOT_CONFORM),
    ],
)
def test_textbook_blend_against_the_true_and_the_misprinted_limits(
    limits: str, outcome: Outcome
) -> None:
    """The reposted sheet misprints two limits, so the textbook's own blend fails it."""
    found = example("blend", "feasible_shares_and_misprint")
    given = found.inputs
    apertures_um = [Decimal(str(1000 * mm)) for mm in given["sieve_mm"]]
    curve = from_passing([float(each) for each in apertures_um], found.outputs["blend_at_0_50"])

    assessment = assess(curve, band(apertures_um, *given[limits]))

    assert assessment.outcome is outcome


def test_concrete_sand_of_the_handbook_lies_in_its_own_band() -> None:
    """PCA's worked sand against the fine-aggregate band of ASTM C33 (both published)."""
    given = example("indices", "fineness_modulus_concrete_sand").inputs
    passing = [100 - sum(given["percent_retained"][: n + 1]) for n in range(7)]
    curve = from_passing([1000 * mm for mm in given["sieve_mm"]], passing)
    lines = [
        EnvelopeLine(
            aperture_um=Decimal(row["aperture_um"]),
            minimum=Decimal(row["passing_min_pct"]),
            maximum=Decimal(row["passing_max_pct"]),
        )
        for row in read_table("envelopes")
        if row["envelope"] == "c33_fine" and float(row["aperture_um"]) >= 150
    ]

    assessment = assess(curve, lines)

    assert len(lines) == 7
    assert assessment.outcome is Outcome.CONFORMS
