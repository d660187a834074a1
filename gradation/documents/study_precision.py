"""What a precision study shows: limits, outlier tests, every cell, Mandel's h and k."""

from collections.abc import Iterator
from typing import Any

from gradation.charts.series import Level, LevelKind, Mark, Series, SeriesFigure, SeriesPoint
from gradation.documents.figures import shown_date
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

__all__ = ["precision_parts"]

Data = dict[str, Any]
_INDICATED = (("5_pct", "5 %", LevelKind.NOMINAL), ("1_pct", "1 %", LevelKind.LIMIT))
_LIMITS = (
    "Standard deviations within a participant, between them and of both together are s_r, s_L and "
    "s_R of ISO 5725-2; r and R are 2.8 times the first and the last (ISO 5725-6)."
)


def precision_parts(inputs: Data, figures: Data, unit: str) -> Parts:
    """Put a precision study into facts, tables and charts."""
    return Parts(
        facts=(Fact("Participants", f"{_count(inputs)} {inputs['participants_are']}"),),
        tables=(
            _limits(figures["used"]["levels"], unit),
            _tests(inputs, figures["used"]["levels"]),
            _cells(inputs, figures["entered"]["levels"], unit),
        ),
        charts=(_chart(inputs, figures, "h"), _chart(inputs, figures, "k")),
        notes=(*figures["notes"], *_left_out(inputs)),
    )


def _count(inputs: Data) -> int:
    return len(_participants(inputs))


def _participants(inputs: Data) -> list[str]:
    names: dict[str, None] = {}
    for level in inputs["levels"]:
        names.update(dict.fromkeys(cell["participant"] for cell in level["cells"]))
    return list(names)


def _limits(levels: list[Data], unit: str) -> StudyTable:
    names = ("Participants", "Results")
    spreads = ("Mean", "s within", "s between", "s of both", "r", "R")
    columns = (
        Column("Level", is_figure=False),
        *(Column(name) for name in names),
        *(Column(name, unit) for name in spreads),
        Column("r within", "%"),
        Column("R within", "%"),
    )
    note = (
        f"{_LIMITS} 'Within' is how far this study's size lets r and R lie from the truth, in 19 "
        "cases of 20 (ISO 5725-1, 6.3.2)."
    )
    return StudyTable("Repeatability and reproducibility", columns,
                      tuple(_limit_row(level) for level in levels), note)  # fmt: skip


def _limit_row(level: Data) -> StudyRow:
    found, sure = level["precision"], level["reliability"] or {}
    spreads = ("repeatability_sd", "between_sd", "reproducibility_sd")
    return StudyRow(
        (
            level["name"],
            str(found["laboratories"]),
            str(found["results"]),
            short(found["mean"], 4),
            *(short(found[name]) for name in spreads),
            short(found["repeatability_limit"]),
            short(found["reproducibility_limit"]),
            *(_share(sure.get(name)) for name in ("repeatability", "reproducibility")),
        )
    )


def _share(value: float | None) -> str:
    return "–" if value is None else f"±{tenths(100 * value, 0)}"


def _tests(inputs: Data, levels: list[Data]) -> StudyTable:
    columns = (
        Column("Level", is_figure=False),
        Column("Test", is_figure=False),
        Column("Suspected", is_figure=False),
        Column("Statistic"),
        Column("at 5 %"),
        Column("at 1 %"),
        Column("Verdict", is_figure=False),
    )
    rows = tuple(row for level in levels for row in _test_rows(level, _kept(inputs, level["name"])))
    note = (
        "Of the results used. A straggler is looked into; an outlier is left out by a person with "
        "a reason, or stays. No test leaves anything out."
    )
    return StudyTable("Outlier tests", columns, rows, note)


def _kept(inputs: Data, level: str) -> list[str]:
    gone = {(each["level"], each["participant"]) for each in inputs["left_out"]}
    cells = next(it["cells"] for it in inputs["levels"] if it["name"] == level)
    return [it["participant"] for it in cells if (level, it["participant"]) not in gone]


def _test_rows(level: Data, names: list[str]) -> Iterator[StudyRow]:
    found = level["consistency"]
    if found is None:
        yield StudyRow((level["name"], level["consistency_reason"] or "", *[""] * 5))
        return
    tests = [("Cochran, scatter", found["cochran"])] if found["cochran"] else []
    for test in found["grubbs"]:
        double = len(test["positions"]) > 1
        tests.append(("Grubbs, two means" if double else "Grubbs, one mean", test))
    for words, test in tests:
        verdict = test["verdict"]
        yield StudyRow(
            (
                level["name"],
                words,
                ", ".join(names[place - 1] for place in test["positions"]),
                short(test["statistic"], 4),
                short(test["critical_5_pct"], 4),
                short(test["critical_1_pct"], 4),
                verdict,
            ),
            {"outlier": "outside", "straggler": "look"}.get(verdict, ""),
        )


def _cells(inputs: Data, levels: list[Data], unit: str) -> StudyTable:
    has_runs = any(cell["runs"] for level in inputs["levels"] for cell in level["cells"])
    columns = (
        Column("Level", is_figure=False),
        Column("Participant", is_figure=False),
        Column("Results", unit, is_figure=False),
        *((Column("Runs", is_figure=False),) if has_runs else ()),
        Column("h"),
        Column("k"),
        Column("Used", is_figure=False),
    )
    out = {(it["level"], it["participant"]): it["reason"] for it in inputs["left_out"]}
    rows = []
    for level, found in zip(inputs["levels"], levels, strict=True):
        for i, cell in enumerate(level["cells"]):
            reason = out.get((level["name"], cell["participant"]), "")
            runs = (", ".join(cell["runs"]),) if has_runs else ()
            rows.append(
                StudyRow(
                    (
                        level["name"],
                        cell["participant"],
                        "; ".join(cell["results"]),
                        *runs,
                        *_mandel(found["consistency"], i),
                        f"left out: {reason}" if reason else "yes",
                    ),
                    "faint" if reason else "",
                )
            )
    return StudyTable("Every result as entered", columns, tuple(rows))


def _mandel(sane: Data | None, place: int) -> tuple[str, str]:
    if sane is None:
        return "–", "–"
    return tenths(sane["h"][place]), tenths(sane["k"][place])


def _chart(inputs: Data, figures: Data, name: str) -> StudyChart:
    """Draw h or k: participants along the foot, a series for each level."""
    people = _participants(inputs)
    series = []
    for level, found in zip(inputs["levels"], figures["entered"]["levels"], strict=True):
        sane = found["consistency"]
        if sane:
            series.append(_series(level, sane, name, people))
    widest = max(
        (found["consistency"] for found in figures["entered"]["levels"] if found["consistency"]),
        key=lambda sane: len(sane["h"]),
    )
    title = "Mandel's h, between" if name == "h" else "Mandel's k, within"
    figure = SeriesFigure(
        title=title,
        along_title="participant",
        value_title=name,
        series=tuple(series),
        levels=tuple(_indicators(widest[f"{name}_critical"], is_two_sided=name == "h")),
        marks=tuple(Mark(i, words) for i, words in enumerate(people)),
    )
    return StudyChart(title, figure)


def _series(level: Data, sane: Data, name: str, people: list[str]) -> Series:
    beyond = sane[f"{name}_critical"]["1_pct"] or float("inf")
    points = tuple(
        SeriesPoint(
            at=people.index(cell["participant"]),
            value=value,
            said=f"{cell['participant']}, {level['name']}: {name} = {tenths(value)}",
            is_outside=abs(value) > beyond,
        )
        for cell, value in zip(level["cells"], sane[name], strict=True)
        if value is not None
    )
    return Series(level["name"], points, joined=False)


def _indicators(critical: Data, *, is_two_sided: bool) -> Iterator[Level]:
    for key, words, kind in (
        ("5_pct", "5 %", LevelKind.NOMINAL),
        ("1_pct", "1 %", LevelKind.LIMIT),
    ):
        value = critical[key]
        if value is None:
            continue
        yield Level(value, f"{words}: {tenths(value)}", kind)
        if is_two_sided:
            yield Level(-value, f"{words}: {tenths(-value)}", kind)


def _left_out(inputs: Data) -> Iterator[str]:
    for each in inputs["left_out"]:
        yield (
            f"{each['participant']} was left out at {each['level']} by {each['by']}, "
            f"{shown_date(each['at'])}: {each['reason']}"
        )
