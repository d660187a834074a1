"""The result table as it is shown: columns of the report form, figures lined up, strips."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _noop

from gradation.charts.strip import Strip, StripVerdict, envelope_strip
from gradation.documents.certificate_content import BalanceRow, ResultRow, ResultTable, Verdict
from gradation.documents.figures import Figure, aligned, as_number
from gradation.language import localized

__all__ = ["COLUMNS", "ShownTable", "shown_table", "strip_of"]

_STRIP_PX = (132.0, 13.0)
_STRIP_VERDICTS = {
    Verdict.WITHIN: StripVerdict.WITHIN,
    Verdict.OUTSIDE: StripVerdict.OUTSIDE,
    Verdict.UNDECIDED: StripVerdict.UNDECIDED,
}
#: Verdicts and sides as they are written in a row.
_SAID = (
    _noop("within"),
    _noop("outside"),
    _noop("undecided"),
    _noop("not tested"),
    _noop("outside, above"),
    _noop("outside, below"),
)


@dataclass(frozen=True)
class Column:
    """One column of figures: its key, its heading with the unit, its place in the style sheet."""

    key: str
    head: tuple[str, str]
    width: str
    value: Callable[[ResultRow], str]


#: In the order of the table. Sieve and passing stand on every form.
_COLUMNS = (
    Column("aperture", (_noop("Aperture"), "mm"), "c-aperture", lambda row: row.aperture_mm),
    Column("retained_g", (_noop("Retained"), "g"), "c-mass", lambda row: row.retained_g),
    Column("retained_pct", (_noop("Retained"), "%"), "c-share", lambda row: row.retained_pct),
    Column(
        "cumulative",
        (_noop("Cumulative"), _noop("retained, %")),
        "c-share",
        lambda row: row.cumulative_pct,
    ),
    Column("passing", (_noop("Passing"), "%"), "c-passing", lambda row: row.passing_pct),
    Column("uncertainty", ("± U", "%"), "c-limit", lambda row: row.uncertainty_pct),
    Column("lower", (_noop("Lower"), "%"), "c-limit", lambda row: row.lower_pct),
    Column("upper", (_noop("Upper"), "%"), "c-limit", lambda row: row.upper_pct),
)
_WHERE_FILLED = frozenset({"retained_g", "uncertainty", "lower", "upper"})
_WEIGHED = frozenset({"retained_g", "retained_pct"})

#: What a report form can choose, by key, with its words on the form's page.
COLUMNS: dict[str, str] = {
    "alternative": "alternative name of the sieve",
    "aperture": "aperture, mm",
    "retained_g": "retained, g",
    "retained_pct": "retained, %",
    "cumulative": "cumulative retained, %",
    "lower": "lower limit, %",
    "upper": "upper limit, %",
    "strip": "strip of passing against limits",
    "verdict": "verdict",
}
#: What no form can leave out once it is called for.
_ALWAYS = frozenset({"passing", "uncertainty"})


@dataclass(frozen=True)
class Cell:
    """One figure in its column."""

    figure: Figure
    is_passing: bool = False


@dataclass(frozen=True)
class ShownRow:
    """One line: names and figures in column order, marks, verdict in words, strip."""

    designation: str
    alternative: str
    cells: tuple[Cell, ...]
    marks: str
    verdict: str
    outside: bool
    strip: SafeString


@dataclass(frozen=True)
class ShownBalance:
    """One line under the sieves: its figures stand under the columns of masses and shares."""

    label: str
    cells: tuple[Figure | None, ...]
    marks: str


@dataclass(frozen=True)
class Head:
    """The heading of a column of figures."""

    first: str
    second: str
    width: str


@dataclass(frozen=True)
class ShownTable:
    """A whole result table; the flags say which columns beside the figures it needs."""

    label: str
    heads: tuple[Head, ...]
    rows: tuple[ShownRow, ...]
    balance: tuple[ShownBalance, ...]
    has_alternatives: bool
    has_limits: bool
    has_strip: bool
    has_verdict: bool
    columns_before_figures: int
    """How many columns a line under the sieves gives to its label."""

    @property
    def columns_after_figures(self) -> int:
        """Return how many columns stand to the right of the figures."""
        return self.has_strip + self.has_verdict


def shown_table(
    table: ResultTable, chosen: Sequence[str] = (), *, with_balance: bool = True
) -> ShownTable:
    """Return `table` ready to be set, with the columns of its report form.

    Masses and shares line up through sieves and balance.
    """
    rows = table.rows
    columns = [it for it in _COLUMNS if _is_wanted(it, rows, chosen)]
    balance = [it for it in table.balance if with_balance and _says_something(it, columns)]
    count = len(rows)
    figures = {it.key: aligned(_values(it, rows, balance)) for it in columns}
    has_alternatives = _may(chosen, "alternative") and any(it.alternative for it in rows)
    has_limits = any(it.lower_pct or it.upper_pct for it in rows)
    return ShownTable(
        label=table.label,
        heads=tuple(Head(_worded(it.head[0]), _worded(it.head[1]), it.width) for it in columns),
        rows=tuple(
            _row(row, tuple(Cell(figures[it.key][i], it.key == "passing") for it in columns))
            for i, row in enumerate(rows)
        ),
        balance=tuple(
            _balance(line, [figures[it.key][count + i] for it in columns], columns)
            for i, line in enumerate(balance)
        )
        if _WEIGHED & figures.keys()
        else (),
        has_alternatives=has_alternatives,
        has_limits=has_limits,
        has_strip=_may(chosen, "strip"),
        has_verdict=_may(chosen, "verdict") and has_limits,
        columns_before_figures=1 + has_alternatives + _lead(columns),
    )


def _lead(columns: Sequence[Column]) -> int:
    """Return how many columns of figures stand before the masses and shares."""
    return next((i for i, it in enumerate(columns) if it.key in _WEIGHED), len(columns))


def _worded(text: str) -> str:
    """Translate the words of a heading; units and symbols are the same in every language."""
    return gettext(text) if len(text) > 3 else text


def _may(chosen: Sequence[str], key: str) -> bool:
    return not chosen or key in chosen or key in _ALWAYS


def _is_wanted(column: Column, rows: Sequence[ResultRow], chosen: Sequence[str]) -> bool:
    if not _may(chosen, column.key):
        return False
    return column.key not in _WHERE_FILLED or any(column.value(row) for row in rows)


def _values(column: Column, rows: Sequence[ResultRow], balance: Sequence[BalanceRow]) -> list[str]:
    return [column.value(row) for row in rows] + [_below(column.key, line) for line in balance]


def _says_something(line: BalanceRow, columns: Sequence[Column]) -> bool:
    """Say whether a line under the sieves has a figure in a column that is shown."""
    return any(_below(column.key, line) for column in columns)


def _below(key: str, line: BalanceRow) -> str:
    return {"retained_g": line.mass_g, "retained_pct": line.share_pct}.get(key, "")


def _balance(
    line: BalanceRow, figures: Sequence[Figure], columns: Sequence[Column]
) -> ShownBalance:
    cells = tuple(
        figure if column.key in _WEIGHED else None
        for figure, column in zip(figures, columns, strict=True)
    )
    return ShownBalance(line.label, cells[_lead(columns) :], "§" if line.corrected else "")


def _row(row: ResultRow, cells: tuple[Cell, ...]) -> ShownRow:
    strip = envelope_strip(strip_of(row), *_STRIP_PX)
    return ShownRow(
        designation=localized(row.designation),
        alternative=localized(row.alternative),
        cells=cells,
        marks="".join(_marks(row)),
        verdict=_verdict_words(row),
        outside=row.verdict is Verdict.OUTSIDE,
        strip=mark_safe(strip),  # noqa: S308 - the strip escapes its words
    )


def _marks(row: ResultRow) -> Iterator[str]:
    flags = (("§", row.corrected), ("‡", row.external), ("¤", row.interpolated))
    return (mark for mark, wanted in flags if wanted)


def strip_of(row: ResultRow) -> Strip:
    """Return the row's envelope strip."""
    return Strip(
        name=localized(row.designation),
        passing_pct=as_number(row.passing_pct),
        minimum_pct=as_number(row.lower_pct),
        maximum_pct=as_number(row.upper_pct),
        target_pct=as_number(row.target_pct),
        uncertainty_pct=as_number(row.uncertainty_pct),
        verdict=_STRIP_VERDICTS.get(row.verdict, StripVerdict.NONE),
    )


def _verdict_words(row: ResultRow) -> str:
    """Return the verdict with the side that is exceeded, so that no colour is needed."""
    if not row.verdict:
        return ""
    side = strip_of(row).side() if row.verdict is Verdict.OUTSIDE else None
    return gettext(f"outside, {side}" if side else row.verdict.value)
