"""What a comparison round and a comparison of two methods show."""

from collections.abc import Iterator
from typing import Any

from gradation.charts.series import (
    Level,
    LevelKind,
    Mark,
    Series,
    SeriesFigure,
    SeriesPoint,
    Trend,
)
from gradation.documents.figures import written
from gradation.documents.study_content import (
    Column,
    Fact,
    Parts,
    StudyChart,
    StudyRow,
    StudyTable,
    short,
    tenths,
)

__all__ = ["methods_parts", "round_parts"]

Data = dict[str, Any]
_ESTIMATES = {
    "stated": "as stated by the provider",
    "algorithm_a": "robust, algorithm A of ISO 13528",
    "quartiles": "median and interquartile range",
}
_SCORES = {
    "z": ("z", "distance in standard deviations of the round"),
    "z_prime": ("z'", "as z, with the uncertainty of the assigned value"),
    "zeta": ("zeta", "distance in the combined standard uncertainty"),
    "en": ("En", "distance in the combined expanded uncertainty, k = 2"),
}
_MARKS = {"unsatisfactory": "outside", "questionable": "look"}
#: Longer feet of a chart show numbers, not names.
_MOST_NAMES = 16


def round_parts(inputs: Data, figures: Data, unit: str) -> Parts:
    """Put a comparison round into facts, tables and charts."""
    z = figures["z"]
    facts = (
        Fact("Our result", _with_u(inputs["own"], inputs["u_own"], unit)),
        Fact(
            "Assigned value",
            _with_u(_plain(z["assigned"]), figures["u_assigned"], unit),
        ),
        Fact("Standard deviation", f"{_plain(z['sd'])} {unit}".strip()),
        Fact("Taken from", _ESTIMATES[inputs["estimate"]]),
    )
    names = inputs["participants"]
    tables = [_score_table(figures["own"])]
    if names:
        tables.append(_result_table(inputs, z, unit))
    charts = (_z_chart(inputs, z),) if names else ()
    return Parts(facts, tuple(tables), charts)


def _with_u(value: str, u: str | None, unit: str) -> str:
    spread = f", u = {_plain(float(u), 3)}" if u is not None else ", uncertainty not stated"
    return f"{written(value)} {unit}{spread}"


def _plain(value: float, digits: int = 5) -> str:
    """Write a figure that somebody stated without zeros of ours."""
    return written(f"{value:.{digits}g}")


def _score_table(own: Data) -> StudyTable:
    columns = (
        Column("Score", is_figure=False),
        Column("What it says", is_figure=False),
        Column("Ours"),
        Column("Verdict", is_figure=False),
    )
    rows = tuple(
        StudyRow(
            (*_SCORES[name], tenths(it["score"]), it["verdict"]), _MARKS.get(it["verdict"], "")
        )
        for name, it in own.items()
    )
    note = (
        "ISO 13528: |z| up to 2 satisfactory, from 3 unsatisfactory, between questionable; |En| "
        "below 1 satisfactory. From 2, or 1 of En, on somebody answers."
    )
    return StudyTable("Our scores", columns, rows, note)


def _result_table(inputs: Data, z: Data, unit: str) -> StudyTable:
    columns = (
        Column("Participant", is_figure=False),
        Column("Result", unit),
        Column("z"),
        Column("Verdict", is_figure=False),
    )
    results = inputs["requests"]["z"]["results"]
    rows = tuple(
        StudyRow(
            (
                f"{name} (ours)" if i == inputs["own_place"] else name,
                written(results[i]),
                tenths(z["scores"][i]),
                z["verdicts"][i],
            ),
            _MARKS.get(z["verdicts"][i], ""),
        )
        for i, name in enumerate(inputs["participants"])
    )
    return StudyTable("All results", columns, rows)


def _z_chart(inputs: Data, z: Data) -> StudyChart:
    names = inputs["participants"]
    order = sorted(range(len(names)), key=lambda i: z["scores"][i])

    def points(*, ours: bool) -> Iterator[SeriesPoint]:
        for place, i in enumerate(order):
            if (i == inputs["own_place"]) is ours:
                said = f"{names[i]}: z = {tenths(z['scores'][i])}"
                yield SeriesPoint(place, z["scores"][i], said, is_outside=abs(z["scores"][i]) >= 3)

    figure = SeriesFigure(
        title="z of every participant",
        along_title="participant, in order of z",
        value_title="z",
        series=(
            Series("ours", tuple(points(ours=True)), joined=False),
            Series("others", tuple(points(ours=False)), joined=False),
        ),
        levels=(
            *(Level(side, f"{written(str(side))}", LevelKind.NOMINAL) for side in (-2, 2)),
            *(Level(side, f"{written(str(side))}", LevelKind.LIMIT) for side in (-3, 3)),
        ),
        marks=tuple(
            Mark(place, names[i] if len(names) <= _MOST_NAMES else "")
            for place, i in enumerate(order)
        ),
    )
    return StudyChart("z of every participant", figure)


def methods_parts(inputs: Data, figures: Data, unit: str) -> Parts:
    """Put a comparison of two methods into facts, tables and charts."""
    first, second = inputs["first_method"], inputs["second_method"]
    found = figures["methods"]
    low, high = inputs["range"]
    ratio = inputs["requests"]["methods"]["variance_ratio"]
    return Parts(
        facts=(
            Fact("First method", first),
            Fact("Second method", second),
            Fact("Range compared", f"{written(low)} to {written(high)} {unit}".strip()),
            Fact("Variance ratio", f"{written(ratio)} (second over first)"),
        ),
        tables=(_line_table(found, unit), _pair_table(inputs, found, unit)),
        charts=(_line_chart(inputs, found, unit), _agreement_chart(inputs, found, unit)),
        notes=tuple(figures["notes"]),
    )


def _line_table(found: Data, unit: str) -> StudyTable:
    line, agreement = found["deming"], found["agreement"]
    rows = (
        _interval("Slope (Deming)", line["slope"],
                  "differs from 1" if line["slope_differs"] else "1 is possible"),
        _interval("Intercept (Deming)", line["intercept"],
                  "differs from 0" if line["intercept_differs"] else "0 is possible"),
        _interval("Mean difference", agreement["bias"], agreement["sentence"]),
        _interval("Lower limit of agreement", agreement["lower_limit"], ""),
        _interval("Upper limit of agreement", agreement["upper_limit"], ""),
    )  # fmt: skip
    columns = (
        Column("", is_figure=False),
        Column("Value", unit),
        Column("From"),
        Column("to"),
        Column("Finding", is_figure=False),
    )
    note = (
        "Intervals at 95 %: of the line by the jackknife (Linnet 1993), of the limits after Bland "
        "and Altman (1999). Limits hold 95 % of differences, second less first."
    )
    return StudyTable("Line and limits of agreement", columns, rows, note)


def _interval(name: str, found: Data, said: str) -> StudyRow:
    figures = (short(found[key], 4) for key in ("value", "low", "high"))
    return StudyRow((name, *figures, said), "look" if said.startswith("differs") else "")


def _pair_table(inputs: Data, found: Data, unit: str) -> StudyTable:
    request, differences = inputs["requests"]["methods"], found["agreement"]["differences"]
    columns = (
        Column("Sample", is_figure=False),
        Column(inputs["first_method"], unit),
        Column(inputs["second_method"], unit),
        Column("Difference", unit),
    )
    rows = tuple(
        StudyRow((sample, written(one), written(other), tenths(away)))
        for sample, one, other, away in zip(
            inputs["samples"], request["first"], request["second"], differences, strict=True
        )
    )
    return StudyTable("Samples", columns, rows)


def _line_chart(inputs: Data, found: Data, unit: str) -> StudyChart:
    request = inputs["requests"]["methods"]
    pairs = [(float(a), float(b)) for a, b in zip(request["first"], request["second"], strict=True)]
    low, high = min(a for a, _ in pairs), max(a for a, _ in pairs)
    line = found["deming"]
    slope, intercept = line["slope"]["value"], line["intercept"]["value"]
    points = tuple(
        SeriesPoint(a, b, f"{sample}: {a:g} and {b:g}")
        for sample, (a, b) in zip(inputs["samples"], pairs, strict=True)
    )
    equal = tuple(SeriesPoint(end, end, "both equal") for end in (low, high))
    figure = SeriesFigure(
        title="Both methods",
        along_title=f"{inputs['first_method']} [{unit}]" if unit else inputs["first_method"],
        value_title=f"{inputs['second_method']} [{unit}]" if unit else inputs["second_method"],
        series=(Series("samples", points, joined=False), Series("both equal", equal)),
        trend=Trend("Deming line", tuple((x, intercept + slope * x) for x in (low, high))),
    )
    return StudyChart("Both methods, with the Deming line", figure)


def _agreement_chart(inputs: Data, found: Data, unit: str) -> StudyChart:
    agreement = found["agreement"]
    low, high = agreement["lower_limit"]["value"], agreement["upper_limit"]["value"]
    points = tuple(
        SeriesPoint(mean, away, f"{sample}: {tenths(away)}", is_outside=not low <= away <= high)
        for sample, mean, away in zip(
            inputs["samples"], agreement["means"], agreement["differences"], strict=True
        )
    )
    bias = agreement["bias"]["value"]
    figure = SeriesFigure(
        title="Differences against means",
        along_title=f"mean of both [{unit}]" if unit else "mean of both",
        value_title="difference",
        series=(Series("samples", points, joined=False),),
        levels=(
            Level(bias, f"mean difference {short(bias)}", LevelKind.NOMINAL),
            Level(low, f"lower limit {short(low)}"),
            Level(high, f"upper limit {short(high)}"),
        ),
    )
    return StudyChart("Differences against means (Bland-Altman)", figure)
