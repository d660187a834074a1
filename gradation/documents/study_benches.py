"""What a comparison of benches shows: each difference with its parts, and how both shook."""

from typing import Any

from gradation.charts.series import Level, LevelKind, Mark, Series, SeriesFigure, SeriesPoint
from gradation.documents.study_content import (
    Column,
    Fact,
    Parts,
    StudyChart,
    StudyRow,
    StudyTable,
    tenths,
)
from gradation.science.apertures import designation

__all__ = ["benches_parts"]

Data = dict[str, Any]
_NOTE = (
    "All in percentage points of passing, second less first. Sieves: by the apertures measured at "
    "the last checks, read on the curve. Division: what replicates scatter by, with weighing and "
    "sieving, in 19 cases of 20. Rest: difference less sieves less rounding."
)
_COMPARABLE = {True: "comparable", False: "not comparable", None: "not known"}


def benches_parts(inputs: Data, figures: Data, _unit: str) -> Parts:
    """Put a comparison of benches into facts, tables and charts."""
    first, second = inputs["first"], inputs["second"]
    shaking = figures["shaking"]
    return Parts(
        facts=(
            Fact("Sample", inputs["sample"] or "–"),
            Fact("First", _side(first)),
            Fact("Second", _side(second)),
            Fact("Shaking", f"{_COMPARABLE[shaking['comparable']]}. "
                            f"{' '.join(shaking['reasons'])}".strip()),
        ),
        tables=(_points(first, second, figures["points"]), _sieves(inputs)),
        charts=(_chart(figures["points"]),),
        notes=tuple(figures["notes"]),
    )  # fmt: skip


def _side(side: Data) -> str:
    runs = [run["name"] for run in side["runs"]]
    portions = len(side["passing_pct"])
    told = ", ".join(runs) if runs else f"{portions} portion{'s' * (portions != 1)} as reported"
    return f"{side['name']}: {told}"


def _points(first: Data, second: Data, points: list[Data]) -> StudyTable:
    columns = (
        Column("Sieve", is_figure=False),
        Column(first["name"], "%"),
        Column(second["name"], "%"),
        *(Column(name) for name in ("Difference", "Sieves", "Rounding", "Rest", "Division ±")),
        Column("Finding", is_figure=False),
    )
    rows = tuple(
        StudyRow(
            (
                designation(point["aperture_um"]),
                tenths(point["first_pct"], first["decimals"]),
                tenths(point["second_pct"], second["decimals"]),
                *(tenths(point[f"{name}_pct"]) for name in (
                    "difference", "sieve", "rounding", "rest", "division")),
                point["rest"],
            ),
            {"not explained": "outside", "division not known": "look"}.get(point["rest"], ""),
        )
        for point in points
    )  # fmt: skip
    return StudyTable("The difference, taken apart", columns, rows, _NOTE)


def _sieves(inputs: Data) -> StudyTable:
    first, second = inputs["first"], inputs["second"]
    columns = (
        Column("Sieve", is_figure=False),
        Column(f"{first['name']}, measured", "µm"),
        Column(f"{second['name']}, measured", "µm"),
    )
    rows = tuple(
        StudyRow(
            (designation(um), _sizes(first["measured_um"], i), _sizes(second["measured_um"], i))
        )
        for i, um in enumerate(inputs["apertures_um"])
    )
    note = (
        "Mean aperture found by the last check before each run, from least to largest; – where "
        "one was not measured."
    )
    return StudyTable("Apertures as measured", columns, rows, note)


def _sizes(runs: list[list[float | None]], place: int) -> str:
    found = [sizes[place] for sizes in runs]
    known = [size for size in found if size is not None]
    if not known or len(known) < len(found):
        return "–"
    low, high = tenths(min(known)), tenths(max(known))
    return low if low == high else f"{low} to {high}"


def _chart(points: list[Data]) -> StudyChart:
    names = [designation(point["aperture_um"]) for point in points]
    series = (
        _series("difference as reported", "difference_pct", points, names),
        _series("from the sieves", "sieve_pct", points, names),
        _series("rest, ± division", "rest_pct", points, names, has_division=True),
    )
    figure = SeriesFigure(
        title="Difference by sieve",
        along_title="sieve",
        value_title="points of passing, second less first",
        series=tuple(each for each in series if each.points),
        levels=(Level(0.0, "no difference", LevelKind.NOMINAL),),
        marks=tuple(Mark(i, name) for i, name in enumerate(names)),
    )
    return StudyChart("Difference by sieve", figure)


def _series(
    label: str, key: str, points: list[Data], names: list[str], *, has_division: bool = False
) -> Series:
    found = tuple(
        SeriesPoint(
            at=i,
            value=point[key],
            said=f"{names[i]}, {label}: {tenths(point[key])}",
            uncertainty=point["division_pct"] if has_division else None,
            is_outside=has_division and point["rest"] == "not explained",
        )
        for i, point in enumerate(points)
        if point[key] is not None
    )
    return Series(label, found, joined=key == "difference_pct")
