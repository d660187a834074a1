"""The result table as it is shown: figures lined up by column, a strip in every row."""

from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from gradation.charts.strip import Strip, StripVerdict, envelope_strip
from gradation.documents.certificate_content import ResultRow, ResultTable, Verdict
from gradation.documents.figures import Figure, aligned, as_number

_STRIP_PX = (132.0, 13.0)
_STRIP_VERDICTS = {
    Verdict.WITHIN: StripVerdict.WITHIN,
    Verdict.OUTSIDE: StripVerdict.OUTSIDE,
    Verdict.UNDECIDED: StripVerdict.UNDECIDED,
}


@dataclass(frozen=True)
class ShownRow:
    """One line: names and figures in column order, marks, verdict in words, strip."""

    designation: str
    alternative: str
    figures: tuple[Figure, ...]
    marks: str
    verdict: str
    outside: bool
    strip: SafeString


@dataclass(frozen=True)
class ShownBalance:
    """One line under the sieves."""

    label: str
    mass: Figure
    share: Figure
    marks: str


@dataclass(frozen=True)
class ShownTable:
    """A whole result table; the three flags say which columns it needs."""

    label: str
    rows: tuple[ShownRow, ...]
    balance: tuple[ShownBalance, ...]
    has_alternatives: bool
    has_uncertainty: bool
    has_limits: bool

    @property
    def columns_after_share(self) -> int:
        """Return how many columns stand to the right of 'retained, %'."""
        return 3 + self.has_uncertainty + 3 * self.has_limits

    @property
    def columns_before_mass(self) -> int:
        """Return how many columns stand to the left of 'retained, g'."""
        return 2 + self.has_alternatives


def shown_table(table: ResultTable) -> ShownTable:
    """Return `table` ready to be set; masses and shares line up through sieves and balance."""
    rows, balance = table.rows, table.balance
    masses = aligned([it.retained_g for it in rows] + [it.mass_g for it in balance])
    shares = aligned([it.retained_pct for it in rows] + [it.share_pct for it in balance])
    count = len(rows)
    columns = [
        aligned([it.aperture_mm for it in rows]),
        masses[:count],
        shares[:count],
        aligned([it.cumulative_pct for it in rows]),
        aligned([it.passing_pct for it in rows]),
        aligned([it.uncertainty_pct for it in rows]),
        aligned([it.lower_pct for it in rows]),
        aligned([it.upper_pct for it in rows]),
    ]
    by_row = zip(*columns, strict=True)
    below = zip(balance, masses[count:], shares[count:], strict=True)
    return ShownTable(
        label=table.label,
        rows=tuple(_row(row, figures) for row, figures in zip(rows, by_row, strict=True)),
        balance=tuple(
            ShownBalance(it.label, mass, share, "§" if it.corrected else "")
            for it, mass, share in below
        ),
        has_alternatives=any(it.alternative for it in rows),
        has_uncertainty=any(it.uncertainty_pct for it in rows),
        has_limits=any(it.lower_pct or it.upper_pct for it in rows),
    )


def _row(row: ResultRow, figures: tuple[Figure, ...]) -> ShownRow:
    flags = (("§", row.corrected), ("‡", row.external), ("¤", row.interpolated))
    strip = envelope_strip(strip_of(row), *_STRIP_PX)
    return ShownRow(
        designation=row.designation,
        alternative=row.alternative,
        figures=figures,
        marks="".join(mark for mark, wanted in flags if wanted),
        verdict=_verdict_words(row),
        outside=row.verdict is Verdict.OUTSIDE,
        strip=mark_safe(strip),  # noqa: S308 - the strip escapes its words
    )


def strip_of(row: ResultRow) -> Strip:
    """Return the row's envelope strip."""
    return Strip(
        name=row.designation,
        passing_pct=as_number(row.passing_pct),
        minimum_pct=as_number(row.lower_pct),
        maximum_pct=as_number(row.upper_pct),
        target_pct=as_number(row.target_pct),
        uncertainty_pct=as_number(row.uncertainty_pct),
        verdict=_STRIP_VERDICTS.get(row.verdict, StripVerdict.NONE),
    )


def _verdict_words(row: ResultRow) -> str:
    """Return the verdict with the side that is exceeded, so that no colour is needed."""
    if row.verdict is not Verdict.OUTSIDE:
        return row.verdict.value
    side = strip_of(row).side()
    return f"outside, {side}" if side else row.verdict.value
