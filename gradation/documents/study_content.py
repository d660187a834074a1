"""A study as it is shown and printed: facts, tables and charts; figures as text."""

from dataclasses import dataclass

from gradation.charts.series import SeriesFigure
from gradation.documents.figures import NOT_SPECIFIED, written
from gradation.science.errors import GradationError
from gradation.science.rounding import round_reported, round_significant

__all__ = [
    "Column",
    "Fact",
    "Parts",
    "StudyChart",
    "StudyContent",
    "StudyRow",
    "StudyTable",
    "short",
    "tenths",
]


@dataclass(frozen=True)
class Fact:
    """One thing said of the study under its name."""

    name: str
    text: str


@dataclass(frozen=True)
class Column:
    """Head of a column; figures stand flush right."""

    text: str
    unit: str = ""
    is_figure: bool = True


@dataclass(frozen=True)
class StudyRow:
    """A row of a table: its cells, and how it is marked ('outside', 'look', 'faint' or '')."""

    cells: tuple[str, ...]
    mark: str = ""


@dataclass(frozen=True)
class StudyTable:
    """A table under its heading."""

    heading: str
    columns: tuple[Column, ...]
    rows: tuple[StudyRow, ...]
    note: str = ""

    @property
    def paired(self) -> list[tuple[StudyRow, list[tuple[str, bool]]]]:
        """Give each row with its cells, each with whether its column holds figures."""
        kinds = [column.is_figure for column in self.columns]
        return [(row, list(zip(row.cells, kinds, strict=True))) for row in self.rows]


@dataclass(frozen=True)
class StudyChart:
    """A chart under its heading."""

    heading: str
    figure: SeriesFigure


@dataclass(frozen=True)
class Parts:
    """What one kind of study shows of itself."""

    facts: tuple[Fact, ...] = ()
    tables: tuple[StudyTable, ...] = ()
    charts: tuple[StudyChart, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class StudyContent:
    """A study on screen and on paper; dates ISO in the laboratory's zone."""

    laboratory: str
    number: str
    kind: str
    state: str
    title: str
    note: str
    figure: str
    material: str
    valid_for: str
    sentence: str
    parts: Parts
    follow_up: tuple[Fact, ...]
    is_follow_up_open: bool
    data: str
    science_version: str
    inputs_digest: str
    computed_at: str
    computed_by: str
    kept_at: str
    kept_by: str
    printed_at: str
    printed_by: str
    time_zone: str
    language: str = "en"


def short(value: float | None, digits: int = 3) -> str:
    """Write a statistic with few digits, '–' where there is none."""
    if value is None:
        return NOT_SPECIFIED
    try:
        return written(f"{round_significant(value, digits):f}" if value else "0")
    except GradationError:
        return NOT_SPECIFIED


def tenths(value: float | None, decimals: int = 2) -> str:
    """Write a figure with its decimals, '–' where there is none."""
    return NOT_SPECIFIED if value is None else written(f"{round_reported(value, decimals):f}")
