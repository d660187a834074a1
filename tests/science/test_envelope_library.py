"""Published gradings as drafts: categories by their sizes, grits by their sieves, marks kept."""

from decimal import Decimal

import pytest

from gradation.science.envelope_form import LineKind
from gradation.science.envelope_library import library, library_entry
from gradation.science.envelopes import check_line
from gradation.science.errors import OutOfRange, UnknownName
from gradation.science.grading_categories import categories, category_entry


def limits(entry):
    return {
        int(line.aperture_um): (line.minimum, line.maximum)
        for line in entry.lines
        if line.kind is LineKind.PASSING
    }


def test_category_for_its_sizes_equals_the_worked_example_of_the_table():
    # en_gc90_10_8_11 is the worked example of EN 13043 GC90/10 for 8/11.2 kept with its source.
    worked = limits(library_entry("en_gc90_10_8_11"))

    assert limits(category_entry("EN 13043", "GC90/10", Decimal(8000), Decimal(11200))) == worked


def test_multiples_stand_for_the_sieve_next_to_them():
    # EN 12620 GC85/20 16/32 by hand: 2D = 63, 1.4D = 44.1 -> 45, D = 31.5, d = 16, d/2 = 8 mm.
    entry = category_entry("EN 12620", "GC85/20", Decimal(16000), Decimal(31500))

    assert limits(entry) == {
        63000: (100, 100),
        45000: (98, 100),
        31500: (85, 99),
        16000: (0, 20),
        8000: (0, 5),
    }
    assert entry.is_from_memory
    assert entry.mark == "confirm against your edition"


def test_fine_category_without_a_limit_at_1_4_d_has_lines_at_2d_and_d_only():
    # EN 13043 GF85 as kept with its source: 2D 100, D 85 to 99, nothing at 1.4D and at d.
    entry = category_entry("EN 13043", "GF85", Decimal(0), Decimal(2000))

    assert limits(entry) == {4000: (100, 100), 2000: (85, 99)}


def test_category_is_found_again_by_its_key():
    entry = category_entry("EN 12620", "GC85/20", Decimal(4000), Decimal(8000))

    assert library_entry(entry.key) == entry


@pytest.mark.parametrize(
    ("sizes", "said"),
    [((0, 8000), "coarse category"), ((8000, 8000), "below the upper"), ((40000, 80000), "near")],
)
def test_sizes_that_make_no_category_are_refused(sizes, said):
    with pytest.raises(OutOfRange, match=said):
        category_entry("EN 12620", "GC85/20", Decimal(sizes[0]), Decimal(sizes[1]))


def test_grit_is_held_on_all_five_sieves():
    # FEPA 42-1 F30 as kept in abrasive_grits.csv: nothing on the first sieve, at most q on the
    # second, shares between, at most 3 % through the last.
    lines = library_entry("grit_f30").lines

    said = [(line.kind.value, int(line.aperture_um), line.finer_um, line.minimum, line.maximum)
            for line in lines]  # fmt: skip
    assert said == [
        ("retained", 1000, None, None, 0),
        ("retained", 710, None, None, 25),
        ("between", 710, 600, 45, None),
        ("between", 710, 500, 65, None),
        ("passing", 425, None, None, 3),
    ]


def test_limit_that_is_itself_outside_does_not_turn_zero_away():
    # USP <811>: "less than 0.50" of the powder passes.
    strict = [line for entry in library() for line in entry.lines if not line.is_inclusive]

    assert strict
    assert all(line.minimum is None for line in strict)


def test_every_line_of_the_library_can_be_compared():
    for entry in library():
        for line in entry.lines:
            check_line(line)
        assert len(entry.lines) == len(entry.marks)


def test_unknown_grading_is_refused():
    with pytest.raises(UnknownName):
        library_entry("EN 12620 GX1 4000 8000")
    with pytest.raises(UnknownName):
        library_entry("no such thing")


def test_mid_size_category_limits_the_one_sieve_between():
    # EN 13043 G20/15 for 8/16 by hand: D/1.4 = 11.4 -> 11.2 mm, 20 to 70 % over all.
    entry = category_entry("EN 13043", "G20/15", Decimal(8000), Decimal(16000))

    assert limits(entry) == {11200: (20, 70)}
    assert ("EN 13043", "G20/15", "mid-size, D/d <4") in categories()


def test_declared_passing_narrows_a_mid_size_category():
    # By hand: 60 declared, tolerance 15: 45 to 75, and not above 70 over all; D/2 is for wide ones.
    narrow = category_entry("EN 13043", "G20/15", Decimal(8000), Decimal(16000), [Decimal(60)])
    wide = category_entry("EN 13043", "G20/17.5", Decimal(4000), Decimal(16000), [Decimal(40)])

    assert narrow.lines[0].limits() == (45, 70)
    assert wide.lines[0].aperture_um == 8000
    assert wide.lines[0].limits() == (Decimal("22.5"), Decimal("57.5"))
    assert library_entry(narrow.key) == narrow


def test_tolerances_of_fines_lie_around_what_is_declared():
    # EN 13043 GTC10 for 0/2 by hand: 95 ± 5 at 2 mm, 65 ± 10 at 1 mm, 8 ± 3 at 63 µm.
    declared = [Decimal(95), Decimal(65), Decimal(8)]

    entry = category_entry("EN 13043", "GTC10", Decimal(0), Decimal(2000), declared)

    assert [(int(line.aperture_um), line.limits()) for line in entry.lines] == [
        (2000, (90, 100)),
        (1000, (55, 75)),
        (63, (5, 11)),
    ]


@pytest.mark.parametrize(
    ("category", "sizes", "declared", "said"),
    [
        ("G20/15", (4000, 16000), (), "is for D/d <4"),
        ("G20/17.5", (8000, 16000), (), "is for D/d >=4"),
        ("G20/15", (0, 16000), (), "Check d and D"),
        ("G20/15", (16000, 8000), (), "below the upper"),
        ("G20/15", (8000, 16000), (50, 60), "takes one declared passing"),
        ("G20/15", (8000, 16000), (160,), "between 0 and 100"),
        ("GTC10", (0, 2000), (95,), "typical passing at D, D/2, 0.063 mm"),
    ],
)
def test_mid_size_that_cannot_be_is_refused(category, sizes, declared, said):
    lower_um, upper_um = (Decimal(size) for size in sizes)

    with pytest.raises(OutOfRange, match=said):
        category_entry("EN 13043", category, lower_um, upper_um, [Decimal(it) for it in declared])
