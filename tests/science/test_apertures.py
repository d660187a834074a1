"""Names and series of sieves."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gradation.science.apertures import (
    Series,
    UnknownAperture,
    designation,
    parse_aperture,
    series_apertures_um,
    sieve_sizes,
    size_text,
)
from gradation.science.errors import NotDeterminable, OutOfRange


@pytest.mark.parametrize(
    ("aperture_um", "iso", "astm"),
    [
        (75, "75 µm", "No. 200"),
        (150, "150 µm", "No. 100"),
        (425, "425 µm", "No. 40"),
        (850, "850 µm", "No. 20"),
        (2000, "2 mm", "No. 10"),
        (4750, "4.75 mm", "No. 4"),
        (9500, "9.5 mm", "3/8 in."),
        (37500, "37.5 mm", "1 1/2 in."),
        (63, "63 µm", "No. 230"),
        (1000, "1 mm", "No. 18"),
    ],
)
def test_trade_names_of_apertures(aperture_um: int, iso: str, astm: str) -> None:
    """ASTM E11 names, as in any sieve table of a textbook."""
    assert designation(aperture_um) == iso
    assert designation(Decimal(aperture_um), "astm") == astm
    assert parse_aperture(iso) == aperture_um
    assert parse_aperture(astm) == aperture_um


def test_every_standard_size_reads_back_from_both_names() -> None:
    for size in sieve_sizes():
        assert parse_aperture(designation(size.aperture_um)) == size.aperture_um
        assert parse_aperture(designation(size.aperture_um, "astm")) == size.aperture_um


@pytest.mark.parametrize(
    ("typed", "aperture_um"),
    [
        ("125 um", "125"), ("125um", "125"), ("125 μm", "125"), ("4,75 mm", "4750"),
        ("0.075 mm", "75"), ("#200", "75"), ("no 4", "4750"), ("3/8\"", "9500"),
        ("1-1/2 in", "37500"), ("1 in.", "25000"), ("  63   µm ", "63"), ("0.530 in.", "13200"),
        ("No. 3 1/2", "5600"),
    ],
)  # fmt: skip
def test_other_spellings(typed: str, aperture_um: str) -> None:
    assert parse_aperture(typed) == Decimal(aperture_um)


@pytest.mark.parametrize(
    "typed", ["", "63", "No. 201", "40 mesh", "5/9 in.", "0 µm", "1.2.3 mm", "-63 µm", "sieve"]
)
def test_what_is_no_aperture_is_refused(typed: str) -> None:
    with pytest.raises(UnknownAperture, match="unit"):
        parse_aperture(typed)


def test_an_aperture_of_no_standard_keeps_its_size_in_both_styles() -> None:
    assert designation(66.5, "astm") == "66.5 µm"
    with pytest.raises(OutOfRange):
        designation(0)


@pytest.mark.parametrize(
    ("size_um", "text"),
    [(189.06, "189 µm"), (66.04, "66.0 µm"), (1234.5, "1.23 mm"), (999.6, "1.00 mm"),
     (12345.0, "12.3 mm"), (5.5555, "5.56 µm")],
)  # fmt: skip
def test_sizes_are_printed_with_three_figures(size_um: float, text: str) -> None:
    assert size_text(size_um) == text


def test_an_unknown_size_has_no_text() -> None:
    with pytest.raises(NotDeterminable):
        size_text(float("nan"))


def test_principal_series_is_part_of_both_supplementary_ones() -> None:
    """ISO 565: R 20/3 sizes are members of R 20 and of R 40/3."""
    principal = set(series_apertures_um(Series.R20_3))

    assert len(principal) == 24
    assert principal <= set(series_apertures_um(Series.R20))
    assert principal <= set(series_apertures_um(Series.R40_3))


def test_series_run_coarse_to_fine() -> None:
    for series in Series:
        sizes = series_apertures_um(series)
        assert list(sizes) == sorted(sizes, reverse=True)


def test_e11_apertures_equal_those_of_a_general_library() -> None:
    """`fluids` (MIT) carries the ASTM E11-17 table by number."""
    from fluids.particle_size_distribution import ASTM_E11_sieves

    for sieve in ASTM_E11_sieves.values():
        aperture_um = float(parse_aperture(sieve.old_designation))
        assert aperture_um == pytest.approx(sieve.opening * 1e6, rel=1e-9)
