"""A certificate computed again from the masses it carries: whether every printed figure follows.

Needs no database: all it looks at is in the file.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from statistics import fmean
from typing import Any

from gradation import __version__
from gradation.documents.certificate import certificate_pdf
from gradation.documents.certificate_content import CertificateContent, ResultRow, ResultTable
from gradation.documents.content_json import ContentFault
from gradation.documents.printing import pool
from gradation.language import speaking
from gradation.science.computing import compute
from gradation.science.errors import GradationError
from gradation.science.rounding import Rounding, reported_passing, round_reported
from gradation.science.worksheet_parsing import parse_worksheet
from gradation.services.certificate_values import characteristic_values, verdict_of

__all__ = ["CannotRecompute", "Figure", "Recomputed", "recomputed"]

Values = dict[str, Any]


class CannotRecompute(ValueError):
    """The file holds nothing that could be computed again; says why."""


@dataclass(frozen=True)
class Figure:
    """One printed figure beside the one that follows from the masses."""

    where: str
    printed: str
    computed: str

    @property
    def follows(self) -> bool:
        """Say whether the printed figure is the computed one; of masses also as numbers."""
        return self.printed == self.computed or _same_number(self.printed, self.computed)


@dataclass(frozen=True)
class Recomputed:
    """What came of computing a certificate again; `pages` is '' where the file could be redrawn."""

    number: str
    figures: tuple[Figure, ...]
    pages: str

    @property
    def faults(self) -> tuple[Figure, ...]:
        """List the figures that do not follow."""
        return tuple(figure for figure in self.figures if not figure.follows)


@dataclass(frozen=True)
class _Run:
    """A run of the certificate, computed again."""

    name: str
    table: str
    values: Values
    rounding: Rounding
    masses_g: frozenset[Decimal]


def recomputed(pdf: bytes) -> Recomputed:
    """Compute the certificate in a file again, figure by figure; raises `CannotRecompute`."""
    content = _content_in(pdf)
    runs = [_computed(record.run, record.table, record.worksheet) for record in content.runs]
    if not runs:
        raise CannotRecompute("The file carries no masses; it was issued by an earlier version.")
    with speaking(content.language):
        figures = tuple(_figures(content, runs))
    return Recomputed(content.number, figures, _pages(content, pdf))


def _content_in(pdf: bytes) -> CertificateContent:
    found = pool.read(pdf)
    if not found["data"]:
        raise CannotRecompute("The file carries no data of a certificate.")
    try:
        return CertificateContent.from_json(found["data"])
    except ContentFault as fault:
        raise CannotRecompute(f"The data in the file cannot be read: {fault}") from fault


def _computed(name: str, table: str, worksheet: dict[str, object]) -> _Run:
    data = json.loads(json.dumps(worksheet), parse_float=Decimal)
    try:
        return _Run(
            name, table, compute(data), parse_worksheet(data).rounding, frozenset(_masses_g(data))
        )
    except GradationError as fault:
        raise CannotRecompute(f"The masses of run {name} cannot be computed: {fault}") from fault


def _masses_g(data: object) -> Iterator[Decimal]:
    """Yield every mass that the worksheet holds, and the sum of each row of increments."""
    if isinstance(data, dict):
        for name, value in data.items():
            if name.endswith("_g"):
                values = [
                    Decimal(str(each)) for each in (value if isinstance(value, list) else [value])
                ]
                yield from values
                yield sum(values, Decimal(0))
            else:
                yield from _masses_g(value)
    elif isinstance(data, list):
        for each in data:
            yield from _masses_g(each)


def _figures(content: CertificateContent, runs: Sequence[_Run]) -> Iterator[Figure]:
    for table in content.results:
        own = [run for run in runs if run.table == table.label]
        if own:
            yield from _of_run(table, own[0])
        else:
            yield from _of_mean(table, [run for run in runs if _holds(run, table)])
    yield from _of_values(content, runs)


def _holds(run: _Run, table: ResultTable) -> bool:
    sizes = {_mm(row["aperture_um"]) for row in run.values["table"]}
    return all(row.aperture_mm in sizes for row in table.rows)


def _of_run(table: ResultTable, run: _Run) -> Iterator[Figure]:
    rows = {_mm(row["aperture_um"]): row for row in run.values["table"]}
    lines = {
        _mm(line["aperture_um"]): line
        for line in (run.values["assessment"] or {}).get("lines", [])
        if line["kind"] == "passing"
    }
    for printed in table.rows:
        where = f"{table.label}, {printed.designation}"
        row = rows.get(printed.aperture_mm)
        yield from _of_sieve(where, printed, row, lines.get(printed.aperture_mm))
    yield from _of_balance(table, run)


def _of_sieve(
    where: str, printed: ResultRow, row: Values | None, line: Values | None
) -> Iterator[Figure]:
    if row is not None:
        yield Figure(f"{where}, retained g", printed.retained_g, row["weighed_g"])
        yield Figure(f"{where}, retained %", printed.retained_pct, _tenth(row["retained_pct"]))
        yield Figure(
            f"{where}, cumulative %", printed.cumulative_pct, _tenth(row["cumulative_pct"])
        )
        yield Figure(f"{where}, passing %", printed.passing_pct, row["passing_reported"])
    else:
        read = (line or {}).get("reported") or "n.d."
        yield Figure(f"{where}, passing %", printed.passing_pct, read)
    if line is not None:
        yield Figure(f"{where}, lower %", printed.lower_pct, line["min"] or "")
        yield Figure(f"{where}, upper %", printed.upper_pct, line["max"] or "")
        yield Figure(f"{where}, verdict", printed.verdict, verdict_of(line))


def _of_balance(table: ResultTable, run: _Run) -> Iterator[Figure]:
    """Look for each figure of the mass balance among those that the masses give.

    Its lines are named in the certificate's language, so they are known by their figures.
    """
    values = run.values
    lost = {abs(Decimal(str(values[name] or 0))) for name in ("loss_g", "wash_loss_g")}
    shares = {_tenth(values["pan"]["retained_pct"])}
    if values["loss_pct"] is not None:
        shares.add(str(round_reported(values["loss_pct"], 2)))
    for line in table.balance:
        where = f"{table.label}, {line.label}"
        if line.mass_g:
            yield Figure(f"{where}, g", line.mass_g, _nearest(line.mass_g, run.masses_g | lost))
        if line.share_pct:
            among = line.share_pct if line.share_pct in shares else " or ".join(sorted(shares))
            yield Figure(f"{where}, %", line.share_pct, among)


def _nearest(printed: str, known: frozenset[Decimal] | set[Decimal]) -> str:
    """Give the known mass that the printed one stands for, rounded as it is printed."""
    try:
        mass = Decimal(printed)
    except InvalidOperation:
        return ""
    step = Decimal(1).scaleb(int(mass.as_tuple().exponent))
    return str(min(known, key=lambda each: abs(each - mass)).quantize(step))


def _of_mean(table: ResultTable, runs: Sequence[_Run]) -> Iterator[Figure]:
    if not runs:
        yield Figure(table.label, "a table", "no run with these sieves")
        return
    for printed in table.rows:
        rows = [
            row
            for run in runs
            for row in run.values["table"]
            if _mm(row["aperture_um"]) == printed.aperture_mm
        ]
        where = f"{table.label}, {printed.designation}"
        mean = {
            name: fmean(row[name] for row in rows)
            for name in ("retained_pct", "cumulative_pct", "passing_pct")
        }
        size = Decimal(str(rows[0]["aperture_um"]))
        passing = str(reported_passing(mean["passing_pct"], runs[0].rounding, size))
        yield Figure(f"{where}, retained %", printed.retained_pct, _tenth(mean["retained_pct"]))
        yield Figure(
            f"{where}, cumulative %", printed.cumulative_pct, _tenth(mean["cumulative_pct"])
        )
        yield Figure(f"{where}, passing %", printed.passing_pct, passing)


def _of_values(content: CertificateContent, runs: Sequence[_Run]) -> Iterator[Figure]:
    several = len(runs) > 1
    expected = {
        (each.run, each.name): each
        for run in runs
        for each in characteristic_values(run.values, run=run.name if several else "")
    }
    for item in content.characteristics:
        if item.external:
            continue
        found = expected.get((item.run, item.name))
        where = ", ".join(filter(None, (item.run, item.name)))
        yield Figure(where, item.value, found.value if found else "nothing")
        if found is not None:
            printed = (item.unit, item.lower, item.upper, item.verdict)
            computed = (found.unit, found.lower, found.upper, found.verdict)
            yield Figure(f"{where}, unit, limits, verdict", "; ".join(printed), "; ".join(computed))


def _pages(content: CertificateContent, pdf: bytes) -> str:
    """Print the data again: whether the pages say what the data say; '' when they do."""
    if content.software_version != __version__:
        return (
            f"not compared: they were made with version {content.software_version}, this is "
            f"{__version__}"
        )
    return "" if pdf.startswith(certificate_pdf(content)) else "differ from what the data print"


def _same_number(one: str, other: str) -> bool:
    try:
        return Decimal(one) == Decimal(other)
    except InvalidOperation:
        return False


def _mm(aperture_um: object) -> str:
    return f"{(Decimal(str(aperture_um)) / 1000).normalize():f}"


def _tenth(value: float) -> str:
    return str(round_reported(value, 1))
