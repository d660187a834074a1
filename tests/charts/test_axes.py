"""Places on the axes, against arithmetic that a reader can repeat."""

import pytest

from gradation.charts.axes import (
    ApertureAxis,
    Tick,
    aperture_axis,
    passing_at,
    passing_ticks,
    spaced,
)
from gradation.charts.figure import (
    Curve,
    CurvePoint,
    Direction,
    GradationFigure,
    Scale,
    SieveName,
)


def make_axis(scale=Scale.LOG, direction=Direction.FINE_LEFT, low_mm=0.1, high_mm=10.0, sieves=()):
    return ApertureAxis(scale, direction, low_mm, high_mm, sieves)


def make_figure(*apertures_um, scale=Scale.LOG):
    points = tuple(CurvePoint(it, 50.0) for it in apertures_um)
    names = tuple(SieveName(it, f"{it / 1000:g} mm") for it in apertures_um)
    return GradationFigure("Sample", curves=(Curve("Run", points),), sieves=names, scale=scale)


def test_one_millimetre_stands_midway_between_a_tenth_and_ten_on_logarithmic_paper():
    assert make_axis().at(1000) == pytest.approx(0.5, abs=1e-12)


def test_coarse_left_mirrors_fine_left():
    fine, coarse = make_axis(), make_axis(direction=Direction.COARSE_LEFT)

    assert [coarse.at(um) for um in (100, 500, 10_000)] == pytest.approx(
        [1 - fine.at(um) for um in (100, 500, 10_000)], abs=1e-12
    )


def test_power_chart_places_a_quarter_of_the_maximum_size_at_two_to_minus_point_nine():
    # (1/4)**0.45 = 2**-0.9 = 0.53589 (hand: ln 2 = 0.693147, exp(-0.623832) = 0.535887)
    axis = make_axis(Scale.POWER45, low_mm=0.0, high_mm=19.0)

    assert axis.at(4750) == pytest.approx(0.535887, abs=1e-6)


def test_power_chart_starts_at_zero_and_is_labelled_with_sizes():
    axis = aperture_axis(make_figure(19_000, 4750, scale=Scale.POWER45))

    assert [tick.text for tick in axis.ticks()] == ["0", "4.75", "19"]
    assert axis.ticks()[0].at == 0


def test_phi_marks_are_whole_and_grow_towards_the_fine_end():
    # Krumbein's phi = -log2(size in mm): 4 mm is -2, 1 mm is 0, 0.25 mm is 2.
    axis = make_axis(Scale.PHI, Direction.COARSE_LEFT, low_mm=0.25, high_mm=4.0)

    assert [tick.text for tick in axis.ticks()] == ["−2", "−1", "0", "1", "2"]
    assert [tick.at for tick in axis.ticks()] == pytest.approx([0, 0.25, 0.5, 0.75, 1])


def test_linear_axis_counts_in_even_steps_from_zero():
    axis = make_axis(Scale.LINEAR, low_mm=0.0, high_mm=40.0)

    assert [tick.text for tick in axis.ticks()] == [
        "0",
        "5",
        "10",
        "15",
        "20",
        "25",
        "30",
        "35",
        "40",
    ]


def test_logarithmic_paper_is_marked_at_one_two_and_five():
    assert [tick.text for tick in make_axis().ticks()] == ["0.1", "0.2", "0.5", "1", "2", "5", "10"]


def test_every_aperture_of_a_figure_lies_inside_its_axis():
    figure = make_figure(63, 1000, 45_000)
    axis = aperture_axis(figure)

    assert all(0 < axis.at(um) < 1 for um in (63, 1000, 45_000))


@pytest.mark.parametrize("scale", list(Scale))
def test_a_figure_without_points_still_has_an_axis(scale):
    axis = aperture_axis(GradationFigure("Sample", scale=scale))

    assert axis.low_mm < axis.high_mm
    assert 0 <= axis.at(1000) <= 1


def test_a_single_sieve_has_an_axis_with_room_on_both_sides():
    assert 0 < aperture_axis(make_figure(1000)).at(1000) < 1


def test_passing_is_linear_unless_the_paper_is_probability_paper():
    assert [passing_at(it, Scale.LOG) for it in (0, 25, 100)] == [0, 0.25, 1]


def test_probability_paper_follows_the_normal_distribution():
    # Normal table: z(0.8413) = 1.0000, z(0.999) = 3.0902; so (1 + 3.0902) / (2 * 3.0902) = 0.6618
    assert passing_at(84.134, Scale.PROBABILITY) == pytest.approx(0.6618, abs=5e-5)
    assert passing_at(50, Scale.PROBABILITY) == pytest.approx(0.5, abs=1e-12)


def test_probability_paper_puts_nought_and_a_hundred_on_its_edges():
    assert passing_at(0, Scale.PROBABILITY) == pytest.approx(0, abs=1e-12)
    assert passing_at(100, Scale.PROBABILITY) == pytest.approx(1, abs=1e-12)


def test_passing_is_marked_every_ten_per_cent():
    assert [passing for passing, _ in passing_ticks(Scale.LOG)] == list(range(0, 101, 10))


def test_crowded_marks_give_way_from_the_right_end():
    ticks = (Tick(0.0, "a"), Tick(0.5, "b"), Tick(0.52, "c"), Tick(1.0, "d"))

    assert [tick.text for tick in spaced(ticks, 0.1)] == ["d", "c", "a"]


@pytest.mark.parametrize("aperture_um", [0, -1, float("nan"), float("inf")])
def test_an_aperture_that_cannot_be_is_refused(aperture_um):
    with pytest.raises(ValueError, match="above 0 µm"):
        CurvePoint(aperture_um, 50)
