"""Tables of the records for other programs: each column defined once, rows read some at a time.

The definition of a column is what a file's heading, its dictionary and its type are made from, so
that none can say something else than another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.db.models import QuerySet

from gradation.errors import Invalid
from gradation.models import Customer, Material, ResultFigure, Run, Sample, User
from gradation.queries.figure_names import (
    CHARACTERISTICS,
    aperture_of,
    figure_title,
    figure_unit,
    unit_suffix,
)
from gradation.queries.samples import samples_visible_to

__all__ = ["AT_ONCE", "Column", "Kind", "Table", "Wanted", "columns_of", "rows_of", "table_named"]

AT_ONCE = 200

Read = Callable[[Any], object]


class Table(StrEnum):
    """What can be taken out."""

    SAMPLES = "samples"
    RUNS = "runs"
    RESULTS_LONG = "results-long"
    RESULTS_WIDE = "results-wide"


class Kind(StrEnum):
    """What stands in a column."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole number"
    YES_NO = "yes or no"
    TIME = "time"
    DAY = "day"


@dataclass(frozen=True)
class Column:
    """One column: its name in files, what it means, its unit ('' for none), its kind."""

    name: str
    meaning: str
    kind: Kind
    unit: str
    read: Read


@dataclass(frozen=True)
class Wanted:
    """What a table is narrowed to: samples by receipt, runs by their opening, half open."""

    since: datetime | None = None
    until: datetime | None = None
    material: Material | None = None
    customer: Customer | None = None


def _text(name: str, meaning: str, read: Read) -> Column:
    return Column(name, meaning, Kind.TEXT, "", read)


def _time(name: str, meaning: str, read: Read) -> Column:
    return Column(name, meaning, Kind.TIME, "UTC", read)


def _named(thing: object) -> str:
    return "" if thing is None else str(thing)


SAMPLE_COLUMNS: tuple[Column, ...] = (
    _text("sample", "Number of the sample.", lambda s: s.number),
    _text("customer", "Who sent the sample.", lambda s: s.customer.name),
    _text("source", "Where the material comes from.", lambda s: _named(s.source)),
    _text("material", "What it is.", lambda s: s.material.name),
    _text("lot", "Lot, as the customer names it.", lambda s: s.lot),
    _text("customer_reference", "The customer's own reference.", lambda s: s.customer_reference),
    _text("description", "Further description.", lambda s: s.description),
    _text("sampled_by", "Who took the sample.", lambda s: s.sampled_by),
    _text("sampler_name", "Name of who took it.", lambda s: s.sampler_name),
    _text("sampling_method", "How it was taken.", lambda s: s.sampling_method),
    _time("sampled_at", "When it was taken.", lambda s: s.sampled_at),
    _time("received_at", "When it was received.", lambda s: s.received_at),
    _text("condition", "Condition on receipt.", lambda s: s.condition),
    Column(
        "mass_received_g",
        "Mass as received.",
        Kind.NUMBER,
        "g",
        lambda s: s.mass_received_g,
    ),
    _text("procedure", "Procedure and its version.", lambda s: _named(s.procedure_version)),
    _text(
        "specification",
        "Specification and its version; empty for none.",
        lambda s: _named(s.specification_version),
    ),
    _text("state", "Where the sample is on its way.", lambda s: s.state),
    Column("due_on", "When the result is due.", Kind.DAY, "", lambda s: s.due_on),
    Column("retain_until", "Kept at least until.", Kind.DAY, "", lambda s: s.retain_until),
)

_OF_RUN: tuple[Column, ...] = (
    Column("run", "Key of the run in the interface.", Kind.WHOLE, "", lambda r: r.pk),
    _text("portion", "Label of the test portion.", lambda r: r.portion.label),
    Column(
        "determination",
        "Which determination of the portion.",
        Kind.WHOLE,
        "",
        lambda r: r.determination,
    ),
    _text("sample", "Number of the sample.", lambda r: r.portion.sample.number),
    _text("customer", "Who sent the sample.", lambda r: r.portion.sample.customer.name),
    _text("material", "What it is.", lambda r: r.portion.sample.material.name),
    _text("lot", "Lot, as the customer names it.", lambda r: r.portion.sample.lot),
    _text("procedure", "Procedure and its version.", lambda r: str(r.procedure_version)),
    _text("state", "State of the run; a reviewer stands behind accepted.", lambda r: r.state),
    Column(
        "counts",
        "Whether it counts among the determinations of its sample.",
        Kind.YES_NO,
        "",
        lambda r: r.counts,
    ),
    _time("opened_at", "When the run was opened.", lambda r: r.opened_at),
    Column(
        "recorded_on_paper_on",
        "Day of the work, where the run was recorded on paper and typed later; else empty.",
        Kind.DAY,
        "",
        lambda r: r.on_paper.performed_on if r.on_paper else None,
    ),
)

RUN_COLUMNS: tuple[Column, ...] = (
    *_OF_RUN,
    _text(
        "customer_reference",
        "The customer's own reference.",
        lambda r: r.portion.sample.customer_reference,
    ),
    _text("bench", "Bench it was made at.", lambda r: r.bench.name),
    _text("technician", "Who made it.", lambda r: r.technician.full_name),
    _time("weighed_at", "When it was handed over for review.", lambda r: r.weighed_at),
    _text("reviewer", "Who answered for it.", lambda r: r.reviewer.full_name if r.reviewer else ""),
    _time("reviewed_at", "When it was reviewed.", lambda r: r.reviewed_at),
    _text("state_reason", "Why it is in this state.", lambda r: r.state_reason),
    _text("counts_reason", "Why it was set aside.", lambda r: r.counts_reason),
    Column("wet_sieved", "Whether it was sieved wet.", Kind.YES_NO, "", lambda r: r.wet_sieved),
    _text("deviations", "Deviations from the procedure.", lambda r: r.deviations),
)


@dataclass(frozen=True)
class _Figure:
    """One figure of a run, for the long form."""

    run: Run
    name: str
    value: float


def _through(column: Column, run_of: Read) -> Column:
    """Give a column of runs for things that have a run."""

    def read(thing: object) -> object:
        return column.read(run_of(thing))

    return replace(column, read=read)


LONG_COLUMNS: tuple[Column, ...] = (
    *(_through(each, lambda f: f.run) for each in _OF_RUN),
    _text("figure", "Which figure: passing_<aperture in µm>, loss, d50 ...", lambda f: f.name),
    Column(
        "aperture_um",
        "Aperture, where the figure is a passing; else empty.",
        Kind.NUMBER,
        "µm",
        lambda f: aperture_of(f.name),
    ),
    Column(
        "value",
        "The figure, not rounded, in the unit that stands beside it.",
        Kind.NUMBER,
        "see unit",
        lambda f: f.value,
    ),
    _text("unit", "Unit of the value; empty for a pure number.", lambda f: figure_unit(f.name)),
)


def table_named(name: str, wanted: Wanted) -> Table:
    """Give the table of this name; refuses one there is not, and a period that runs backwards."""
    if name not in set(Table):
        msg = f"There is no table {name}. Choose from: {', '.join(Table)}."
        raise Invalid.one("table", msg, code="unknown-table")
    if wanted.since and wanted.until and wanted.since >= wanted.until:
        msg = "The period ends before it begins. Exchange the two days."
        raise Invalid.one("until", msg, code="period-reversed")
    return Table(name)


def columns_of(table: Table, actor: User, wanted: Wanted) -> tuple[Column, ...]:
    """Give the columns of a table; the wide form has one for each figure that a run has."""
    fixed = {
        Table.SAMPLES: SAMPLE_COLUMNS,
        Table.RUNS: RUN_COLUMNS,
        Table.RESULTS_LONG: LONG_COLUMNS,
    }.get(table)
    return fixed if fixed is not None else _wide_columns(_figures_known(actor, wanted))


def _figures_known(actor: User, wanted: Wanted) -> list[str]:
    runs = _runs(actor, wanted).values("pk")
    names = ResultFigure.objects.filter(run__in=runs).order_by().values_list("name", flat=True)
    return sorted(names.distinct(), key=_in_order)


def _in_order(name: str) -> tuple[int, float, str]:
    """Put passings first, coarse to fine, then characteristic values as the trade does."""
    aperture = aperture_of(name)
    if aperture is not None:
        return 0, -float(aperture), name
    return 1, CHARACTERISTICS.index(name) if name in CHARACTERISTICS else 1_000, name


def _wide_columns(figures: Sequence[str]) -> tuple[Column, ...]:
    shared = (_through(each, lambda pair: pair[0]) for each in _OF_RUN)
    return (*shared, *(_figure_column(name) for name in figures))


def _figure_column(name: str) -> Column:
    def read(pair: tuple[Run, dict[str, float]]) -> float | None:
        return pair[1].get(name)

    meaning = f"{figure_title(name)}, not rounded; empty where it was not determinable."
    return Column(f"{name}{unit_suffix(name)}", meaning, Kind.NUMBER, figure_unit(name), read)


def rows_of(
    table: Table, columns: Sequence[Column], actor: User, wanted: Wanted
) -> Iterator[list[object]]:
    """Give the rows of a table, oldest first, read some at a time with constant queries."""
    for thing in _things(table, actor, wanted):
        yield [column.read(thing) for column in columns]


def _things(table: Table, actor: User, wanted: Wanted) -> Iterator[Any]:
    if table == Table.SAMPLES:
        return _pieces(_samples(actor, wanted))
    if table == Table.RUNS:
        return _pieces(_runs(actor, wanted))
    return (_long if table == Table.RESULTS_LONG else _with_figures)(actor, wanted)


def _pieces(rows: QuerySet[Any]) -> Iterator[Any]:
    for piece in _batches(rows):
        yield from piece
        piece.clear()  # before the next is read, so that never two are held


def _batches(rows: QuerySet[Any]) -> Iterator[list[Any]]:
    last = 0
    while piece := list(rows.filter(pk__gt=last).order_by("pk")[:AT_ONCE]):
        last = piece[-1].pk
        yield piece


def _samples(actor: User, wanted: Wanted) -> QuerySet[Sample]:
    rows = samples_visible_to(actor).prefetch_related(
        "procedure_version__procedure", "specification_version__specification"
    )
    return _narrowed(rows, wanted, "received_at", "")


#: Of many runs the same: read as one object each, not as one for every row.
_SHARED = (
    "portion__sample__customer",
    "portion__sample__material",
    "bench",
    "technician",
    "reviewer",
    "procedure_version__procedure",
)


def _runs(actor: User, wanted: Wanted) -> QuerySet[Run]:
    rows = Run.objects.filter(portion__sample__in=samples_visible_to(actor))
    rows = rows.select_related("portion__sample", "transcription").prefetch_related(*_SHARED)
    return _narrowed(rows, wanted, "opened_at", "portion__sample__")


def _narrowed(rows: QuerySet[Any], wanted: Wanted, moment: str, to_sample: str) -> QuerySet[Any]:
    asked = {
        f"{moment}__gte": wanted.since,
        f"{moment}__lt": wanted.until,
        f"{to_sample}material": wanted.material,
        f"{to_sample}customer": wanted.customer,
    }
    return rows.filter(**{name: value for name, value in asked.items() if value is not None})


def _with_figures(actor: User, wanted: Wanted) -> Iterator[tuple[Run, dict[str, float]]]:
    """Give the runs that have results, each with its figures."""
    for runs in _batches(_runs(actor, wanted)):
        figures: dict[int, dict[str, float]] = {}
        found = ResultFigure.objects.filter(run__in=[run.pk for run in runs]).order_by()
        for run, name, value in found.values_list("run", "name", "value"):
            figures.setdefault(run, {})[name] = value
        yield from ((run, figures[run.pk]) for run in runs if run.pk in figures)
        runs.clear()


def _long(actor: User, wanted: Wanted) -> Iterator[_Figure]:
    for run, figures in _with_figures(actor, wanted):
        for name in sorted(figures, key=_in_order):
            yield _Figure(run, name, figures[name])
