"""The second look a worksheet may ask for: planted mistakes are named, nothing is corrected."""

from __future__ import annotations

from typing import Any

import pytest

from gradation.science.computing import compute
from gradation.science.worksheet import WorksheetFaults

SIZES = (1000, 500, 250)


def sheet(masses: tuple[str, ...], pan: str, **changes: Any) -> dict[str, Any]:
    """500 g on three sieves, and a look at it."""
    return {
        "dry_mass_g": "500.0",
        "fractions": [
            {"aperture_um": size, "mass_g": mass} for size, mass in zip(SIZES, masses, strict=True)
        ],
        "pan_g": pan,
        "loss_tolerance_pct": "0.3",
        "describe": [],
        "plausibility": True,
    } | changes


def history(runs: int = 9, **changes: Any) -> list[dict[str, Any]]:
    """Runs of 500 g that scatter by a gram or two, without loss."""
    earlier = []
    for number in range(runs):
        shift = number % 3 - 1
        masses = (50 + shift, 200 - 2 * shift, 150 + shift)
        earlier.append(
            {
                "dry_mass_g": 500,
                "fractions": [
                    {"aperture_um": size, "mass_g": mass}
                    for size, mass in zip(SIZES, masses, strict=True)
                ],
                "pan_g": 100,
            }
            | changes
        )
    return earlier


def look(data: dict[str, Any]) -> dict[str, Any]:
    found = compute(data)["plausibility"]
    assert found is not None
    return dict(found)


def test_exchanged_digits_are_betrayed_by_the_sum() -> None:
    # 31.2 typed for 13.2: the sum is 517.8 g, 18 g too much, as much as the two differ.
    found = look(sheet(("31.2", "186.3", "203.4"), "96.9"))

    best = found["findings"][0]
    assert best["mistake"] == "transposed_digits"
    assert best["rows"] == [1000]
    assert best["masses_if_so_g"][0] == pytest.approx(13.2)
    assert best["score"] >= 5
    assert "Check the raw data" in best["evidence"]


def test_sound_run_has_no_finding() -> None:
    found = look(sheet(("50.0", "200.0", "150.0"), "99.9", history=history()))

    assert found["findings"] == []
    assert found["unlike_history"]["is_unlike"] is False
    assert found["history_runs"] == 9


def test_exchanged_rows_are_seen_against_the_history() -> None:
    found = look(sheet(("200.0", "50.0", "150.0"), "99.9", history=history()))

    assert found["unlike_history"]["is_unlike"]
    assert found["findings"][0]["mistake"] == "swapped_rows"
    assert found["findings"][0]["rows"] == [1000, 500]


@pytest.mark.parametrize(
    ("changes", "masses", "name"),
    [
        # 499.9 g were found of 5000 g: a point moved in the dry mass.
        ({"dry_mass_g": "5000.0"}, ("50.0", "200.0", "150.0"), "dry_mass"),
        # 490 g were shaken, 409 written down, 489.9 found: digits exchanged in the washed mass.
        ({"washed_dry_mass_g": "409.0"}, ("50.0", "190.0", "150.0"), "washed_dry_mass"),
    ],
)
def test_mistake_in_a_mass_of_the_portion_is_named_as_that_mass(
    changes: dict[str, Any], masses: tuple[str, ...], name: str
) -> None:
    found = look(sheet(masses, "99.9", **changes))

    assert found["findings"][0]["rows"] == [name]


def test_nothing_is_corrected() -> None:
    masses = ("200.0", "50.0", "150.0")

    with_look = compute(sheet(masses, "99.9", history=history()))
    without = compute(sheet(masses, "99.9", plausibility=False))

    assert with_look["table"] == without["table"]


def test_tare_of_another_sieve_is_named() -> None:
    tares = (410.0, 390.0, 370.0)
    earlier = history(pan_tare_g=350)
    for run in earlier:
        for fraction, tare in zip(run["fractions"], tares, strict=True):
            fraction["tare_g"] = tare
    data = sheet(("50.0", "200.0", "150.0"), "99.9", history=earlier, pan_tare_g="350.0")
    for fraction, tare in zip(data["fractions"], (410.0, 370.0, 370.0), strict=True):
        fraction["tare_g"] = tare

    [odd] = look(data)["odd_tares"]

    assert odd["rows"] == [500]
    assert "usual tare of 250 µm" in odd["evidence"]


def test_empty_sieve_between_two_full_ones_is_asked_about() -> None:
    assert look(sheet(("100.0", "0", "300.0"), "100.0"))["empty_inside_um"] == [500]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"loss_tolerance_pct": None}, "nothing to compare with"),
        ({"basis": "sum_of_fractions", "dry_mass_g": None}, "Without a dry mass"),
        (
            {"splits": [{"below_um": 1000, "passing_g": "450", "reduced_g": "450"}]},
            "sieved whole",
        ),
    ],
)
def test_run_that_cannot_be_looked_at_says_why(changes: dict[str, Any], says: str) -> None:
    data = sheet(("50.0", "200.0", "150.0"), "100.0", **changes)

    found = look({name: value for name, value in data.items() if value is not None})

    assert list(found) == ["reason"]
    assert says in found["reason"]


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"history": history(7)}, "$.history"),
        ({"history": history(), "plausibility": False}, "$.plausibility"),
        ({"history": history(fractions=[{"aperture_um": 75, "mass_g": 1}])},
         "$.history[0].fractions"),
        ({"history": [{"dry_mass_g": 5, "pan_g": 5}, *history()]}, "$.history[0].fractions"),
        ({"history": history(pan_g=0, fractions=[{"aperture_um": size, "mass_g": 0}
                                                 for size in SIZES])}, "$.history[0].fractions"),
        ({"history": history(dry_mass_g=None)}, "$.history[0].dry_mass_g"),
        ({"history": history(fractions=[{"aperture_um": 1000}])},
         "$.history[0].fractions[0].mass_g"),
        ({"history": history(washed_dry_mass_g=501)}, "$.history[0].washed_dry_mass_g"),
        ({"plausibility": "yes"}, "$.plausibility"),
    ],
)  # fmt: skip
def test_history_that_tells_nothing_is_a_fault(changes: dict[str, Any], path: str) -> None:
    with pytest.raises(WorksheetFaults) as refusal:
        compute(sheet(("50.0", "200.0", "150.0"), "100.0", **changes))

    assert refusal.value.faults[0].path == path
