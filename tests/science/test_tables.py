"""The package's own tables."""

from __future__ import annotations

import pytest

from gradation.science.errors import UnknownName
from gradation.science.tables import read_table, table_names

OWN = (
    "sieve_series", "loading_limits", "sample_mass", "acceptance_rules", "envelopes",
    "afs_multipliers", "fineness_classes", "en_grading_categories", "en_mid_size_limits",
    "abrasive_grits",
)  # fmt: skip


@pytest.mark.parametrize("name", OWN)
def test_every_row_names_its_source_and_how_sure_it_is(name: str) -> None:
    rows = read_table(name)

    assert rows
    for row in rows:
        assert row["source"].strip()
        assert row["confidence"] in {"confirmed", "one source", "from memory"}


def test_an_unknown_table_is_refused_with_the_known_ones() -> None:
    with pytest.raises(UnknownName, match="sieve_series"):
        read_table("no_such_table")
    assert set(OWN) <= set(table_names())


def test_envelope_limits_are_in_order() -> None:
    for row in read_table("envelopes"):
        low, high = row["passing_min_pct"], row["passing_max_pct"]
        assert 0 <= float(low or 0) <= float(high or 100) <= 100


def test_german_grading_curves_have_their_published_sums() -> None:
    """Sum of the passings of curves A, B on the nine sieves equals the published D-sum."""
    sums = {
        row["code"]: float(row["min"])
        for row in read_table("fineness_classes")
        if row["parameter"] == "D-sum"
    }
    for size in ("8", "16", "32"):
        rows = [row for row in read_table("envelopes") if row["envelope"] == f"din1045_ab{size}"]
        assert sum(float(row["passing_min_pct"]) for row in rows) == sums[f"A{size}"]
        assert sum(float(row["passing_max_pct"]) for row in rows) == sums[f"B{size}"]


def test_german_k_value_and_sum_of_passings_complete_each_other() -> None:
    """100 k + D = 900 on nine sieves, by definition."""
    rows = read_table("fineness_classes")
    k = {row["code"]: float(row["min"]) for row in rows if row["parameter"] == "k value"}
    d = {row["code"]: float(row["min"]) for row in rows if row["parameter"] == "D-sum"}

    for code, value in k.items():
        assert 100 * value + d[code] == pytest.approx(900, abs=1e-9)
