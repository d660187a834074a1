"""The library of procedures: every trade, every figure with its source and mark."""

from decimal import Decimal

import pytest

from gradation.science.apertures import designation, sieve_sizes
from gradation.science.confidence import unconfirmed
from gradation.science.errors import UnknownName
from gradation.science.procedure_library import (
    CONFIRMED,
    Figure,
    library_procedure,
    marked_from_memory,
    procedures,
)
from gradation.science.tables import read_table

MARKS = {"confirmed", "one source", "from memory", "common practice"}
TRADES = {
    "Aggregates, dry", "Aggregates, washed", "Aggregates, coarse and fine parts", "Soils",
    "Foundry sand", "Abrasive grain", "Metal powder", "Plastics pellets",
    "Pharmaceutical powder", "Milled grain and feed", "Fertiliser", "Filter media",
    "General test sieving",
}  # fmt: skip
RULES = {
    "loading_rule": "loading_limits",
    "portion_rule": "sample_mass",
    "loss_rule": "acceptance_rules",
    "end_point_rule": "acceptance_rules",
}


def test_every_trade_has_its_procedure():
    assert {kept.trade for kept in procedures()} == TRADES


def test_every_figure_names_its_source_and_carries_a_known_mark():
    rows = read_table("procedures")

    assert [row for row in rows if not row["source"] or not row["value"]] == []
    assert {row["confidence"] for row in rows} == MARKS


def test_no_figure_stands_twice_in_one_procedure():
    named = [(row["procedure"], row["what"]) for row in read_table("procedures")]

    assert len(named) == len(set(named))


def test_each_procedure_names_standard_edition_basis_and_loss():
    for kept in procedures():
        assert {"standard_reference", "edition", "basis", "loss_limit_pct"} <= kept.figures.keys()


def test_a_figure_whose_source_is_memory_is_not_marked_as_confirmed():
    for kept in procedures():
        for figure in kept.every_figure:
            assert not ("from memory" in figure.source and figure.is_confirmed), figure


def test_a_rule_is_no_surer_here_than_in_its_own_table():
    for kept in procedures():
        for field, table in RULES.items():
            figure = kept.figures.get(field)
            if figure is not None and unconfirmed(table, [figure.value]):
                assert figure.mark == "from memory", (kept.key, field)


def test_sizes_stand_in_a_standard_series_from_the_top():
    known = {size.aperture_um for size in sieve_sizes()}
    for kept in procedures():
        sizes = kept.apertures_um
        assert list(sizes) == sorted(set(sizes), reverse=True), kept.key
        assert set(sizes) <= known, kept.key
        assert set(kept.optional_um) | set(kept.split_um) <= set(sizes), kept.key


def test_published_figures_are_those_of_the_excerpts():
    """ASTM C136/C136M-14 and -19, public excerpts: 0.3 %, 0.5 % a minute, 110 °C, 300 g."""
    figures = library_procedure("astm_c136_fine").figures
    told = {"loss_limit_pct": "0.3", "end_point_limit_pct": "0.5", "drying_temperature_c": "110"}

    assert {name: figures[name].value for name in told} == told
    assert {figures[name].mark for name in told} == {CONFIRMED}
    assert (figures["minimum_portion_g"].value, figures["minimum_portion_g"].mark) == (
        "300",
        CONFIRMED,
    )


def test_foundry_sieves_are_those_with_a_factor():
    factors = [
        Decimal(row["aperture_um"])
        for row in read_table("afs_multipliers")
        if row["set"] == "afs_grain_fineness" and row["designation"] != "pan"
    ]

    assert list(library_procedure("afs_1105_foundry").apertures_um) == factors


def test_abrasive_sieves_are_the_five_of_the_grit():
    grit = next(row for row in read_table("abrasive_grits") if row["grit"] == "F80")
    five = [Decimal(grit[f"s{number}_um"]) for number in range(1, 6)]

    assert list(library_procedure("fepa_42_f80").apertures_um) == five


def test_what_is_from_memory_is_named():
    names = marked_from_memory(library_procedure("en_933_1_washed"))

    assert {"loss_limit_pct", "end_point_limit_pct", "guard_aperture_um"} <= set(names)
    assert "minimum_portion_g" not in names


def test_a_procedure_that_is_not_kept_is_named():
    with pytest.raises(UnknownName, match="no procedure 'en_999'"):
        library_procedure("en_999")


def test_splits_are_at_4_75_mm():
    split = [designation(size) for kept in procedures() for size in kept.split_um]

    assert split == ["4.75 mm", "4.75 mm"]


def test_every_procedure_says_what_materials_it_is_for():
    assert all(kept.figures["material_classes"].value for kept in procedures())


def test_named_sets_are_those_that_the_sums_use():
    """EN 12620:2002+A1:2008 Annex B: (>4 + >2 + >1 + >0.5 + >0.25 + >0.125 mm) / 100."""
    said = library_procedure("en_933_1_dry").figures["conventions"].value

    assert said.endswith("4, 2, 1 mm, 500, 250, 125 µm")


@pytest.mark.parametrize(
    ("mark", "confirmed", "to_compare"),
    [
        ("confirmed", True, False),
        ("common practice", False, False),
        ("one source", False, True),
        ("from memory", False, True),
    ],
)
def test_only_what_was_not_seen_or_agreed_needs_the_laboratory_s_own_edition(
    mark, confirmed, to_compare
):
    figure = Figure("0.3", "ASTM C136", mark)

    assert (figure.is_confirmed, figure.needs_edition) == (confirmed, to_compare)


def test_figures_to_compare_are_counted_from_the_table_of_procedures():
    for kept in procedures():
        marks = [
            row["confidence"]
            for row in read_table("procedures")
            if row["procedure"] == kept.key and row["what"] not in {"trade", "title"}
        ]

        assert kept.to_confirm == sum(mark in {"one source", "from memory"} for mark in marks)


def test_mark_is_told_for_figures_and_for_the_nest_and_empty_for_what_is_not_said():
    kept = library_procedure("astm_c136_fine")
    nest = next(
        row["confidence"]
        for row in read_table("procedures")
        if (row["procedure"], row["what"]) == (kept.key, "sieves")
    )

    assert kept.mark_of("loss_limit_pct") == "confirmed"
    assert kept.mark_of("sieves") == nest
    assert kept.mark_of("colour_of_the_bag") == ""
