"""Curves compared: on common sieves, as differences, on each sieve, per decade of size."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, OuterRef, QuerySet

from gradation.errors import Fault, Invalid
from gradation.models import (
    Material,
    Result,
    Run,
    Sample,
    SpecificationVersion,
    User,
    VersionState,
)
from gradation.queries.curve_picks import Pick
from gradation.queries.curves import PickedCurve, picked_curves
from gradation.queries.runs import runs_visible_to
from gradation.queries.samples import samples_visible_to
from gradation.queries.worksheets import envelope_of
from gradation.science.apertures import designation, size_text
from gradation.science.envelopes import EnvelopeLine, LineKind
from gradation.science.errors import GradationError
from gradation.science.fits import Fit, fit_straight_line
from gradation.science.models import Model
from gradation.science.rounding import round_reported
from gradation.science.side_by_side import (
    ClassDensity,
    Known,
    class_densities,
    differences,
    individual_retained,
    side_by_side,
)

__all__ = [
    "MOST_CURVES",
    "Asked",
    "Cell",
    "Comparison",
    "FittedCurve",
    "SieveRow",
    "compare",
    "densities",
    "fitted",
    "materials_with_results",
    "recent_runs",
    "recent_samples",
    "specification_choices",
]

#: More lines than these nobody tells apart on one chart.
MOST_CURVES = 12
DIFFERENCE_DECIMALS = 1


@dataclass(frozen=True)
class Asked:
    """What is to be compared: curves, which of them is the reference, against which limits."""

    picks: tuple[Pick, ...]
    reference: str = ""
    """Token of the reference curve; the first curve unless given."""
    specification: int | None = None


@dataclass(frozen=True)
class Cell:
    """One curve at one sieve."""

    text: str
    known: Known
    passing_pct: float | None
    difference: str
    difference_pct: float | None
    retained: str
    """Percent on this sieve alone, where the curve's own nest has it."""
    retained_pct: float | None


@dataclass(frozen=True)
class SieveRow:
    """One sieve with every curve's passing and the limits that stand there."""

    aperture_um: float
    name: str
    cells: tuple[Cell, ...]
    minimum: Decimal | None
    maximum: Decimal | None
    target: Decimal | None


@dataclass(frozen=True)
class Comparison:
    """Curves side by side."""

    asked: Asked
    curves: tuple[PickedCurve, ...]
    rows: tuple[SieveRow, ...]
    reference: int
    specification: SpecificationVersion | None
    lines: tuple[EnvelopeLine, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]

    @property
    def tokens(self) -> list[str]:
        """List the curves as they stand in the address."""
        return [curve.pick.token for curve in self.curves]


def compare(actor: User, asked: Asked) -> Comparison:
    """Give the curves asked for side by side; what cannot be shown is named among the faults."""
    faults = list(_too_many(asked.picks))
    found = picked_curves(actor, list(dict.fromkeys(asked.picks))[:MOST_CURVES])
    faults += [fault for each in found if isinstance(each, Invalid) for fault in each.faults]
    curves = tuple(each for each in found if isinstance(each, PickedCurve))
    specification = _specification(asked.specification)
    if asked.specification is not None and specification is None:
        msg = "There is no such specification. Choose one of the list."
        faults.append(Fault("specification", msg, "unknown-specification"))
    lines = _passing_lines(envelope_of(specification))
    reference, strange = _reference(curves, asked.reference)
    return Comparison(
        asked=asked,
        curves=curves,
        rows=tuple(_rows(curves, reference, lines)),
        reference=reference,
        specification=specification,
        lines=lines,
        faults=(*faults, *strange),
        notes=tuple(_notes(curves)),
    )


def _too_many(picks: Sequence[Pick]) -> Iterator[Fault]:
    if len(set(picks)) > MOST_CURVES:
        msg = (
            f"A chart shows at most {MOST_CURVES} curves; the first {MOST_CURVES} of {len(picks)} "
            "are shown. Take some away."
        )
        yield Fault("curve", msg, "too-many")


def _reference(curves: Sequence[PickedCurve], token: str) -> tuple[int, list[Fault]]:
    tokens = [curve.pick.token for curve in curves]
    if not token or token in tokens:
        return (tokens.index(token) if token else 0), []
    msg = "The reference is not among the curves; differences are taken from the first."
    return 0, [Fault("reference", msg, "unknown-reference")]


def _specification(pk: int | None) -> SpecificationVersion | None:
    return None if pk is None else specification_choices().filter(pk=pk).first()


def _passing_lines(lines: Sequence[EnvelopeLine]) -> tuple[EnvelopeLine, ...]:
    passing = (line for line in lines if line.kind is LineKind.PASSING and line.aperture_um)
    return tuple(sorted(passing, key=lambda line: -(line.aperture_um or 0)))


def _rows(
    curves: Sequence[PickedCurve], reference: int, lines: Sequence[EnvelopeLine]
) -> Iterator[SieveRow]:
    if not curves:
        return
    limits = {float(line.aperture_um or 0): line for line in lines}
    table = side_by_side([curve.group for curve in curves], list(limits))
    away = differences(table, reference)
    retained = [_on_each_sieve(curve) for curve in curves]
    for column, um in enumerate(table.apertures_um):
        line = limits.get(um)
        low, high = line.limits() if line else (None, None)
        cells = tuple(
            _cell(
                curve,
                um,
                _Found(table.known[i][column], table.passing[i, column], away[i, column]),
                retained[i].get(um),
            )
            for i, curve in enumerate(curves)
        )
        yield SieveRow(um, designation(um), cells, low, high, line.target if line else None)


@dataclass(frozen=True)
class _Found:
    known: Known
    share: float
    away: float


def _cell(curve: PickedCurve, um: float, found: _Found, retained: float | None) -> Cell:
    on_sieve = "" if retained is None else f"{round_reported(100 * retained, 1):f}"
    on_sieve_pct = None if retained is None else 100 * retained
    if found.known is Known.NOT_DETERMINED:
        return Cell("n.d.", found.known, None, "n.d.", None, on_sieve, on_sieve_pct)
    is_known = math.isfinite(found.away)  # the reference is known here too
    return Cell(
        text=curve.written(um, found.share),
        known=found.known,
        passing_pct=100 * found.share,
        difference=_signed(100 * found.away) if is_known else "n.d.",
        difference_pct=100 * found.away if is_known else None,
        retained=on_sieve,
        retained_pct=on_sieve_pct,
    )


def _signed(points: float) -> str:
    """Write a difference with its sign, to a tenth of a point."""
    rounded = round_reported(points, DIFFERENCE_DECIMALS)
    return f"{rounded:+f}" if rounded else f"{rounded:f}"


def _on_each_sieve(curve: PickedCurve) -> dict[float, float]:
    shares = individual_retained(curve.passing).tolist()
    return dict(zip(curve.group.apertures_um, shares, strict=True))


def _notes(curves: Sequence[PickedCurve]) -> Iterator[str]:
    yield from (f"{curve.label}: {note}" for curve in curves for note in curve.notes)
    if len({curve.group.apertures_um for curve in curves}) > 1:
        yield (
            "The curves were measured on different sieves: what is retained on a single sieve "
            "depends on the sieves above it. Compare passing or density instead."
        )


def densities(curve: PickedCurve) -> tuple[ClassDensity, ...]:
    """Give the density of a curve; empty for a single sieve."""
    if len(curve.group.apertures_um) < 2:
        return ()
    return class_densities(curve.group.apertures_um, curve.passing)


@dataclass(frozen=True)
class FittedCurve:
    """The straight line of a model through one curve, or why there is none."""

    curve: PickedCurve
    fit: Fit | None
    sentence: str


def fitted(curves: Sequence[PickedCurve], model: Model) -> tuple[FittedCurve, ...]:
    """Fit a model to every curve; one that cannot be fitted says why."""
    return tuple(_fitted(curve, model) for curve in curves)


def _fitted(curve: PickedCurve, model: Model) -> FittedCurve:
    try:
        fit = fit_straight_line(model, curve.group.apertures_um, curve.passing)
    except GradationError as error:
        return FittedCurve(curve, None, f"{curve.label}: {error}")
    values = ", ".join(
        f"{each.symbol} = {size_text(each.value) if each.unit else f'{each.value:.3g}'}"
        for each in fit.curve.parameters()
    )
    return FittedCurve(curve, fit, f"{curve.label}: {values}, R² on paper {fit.r2_on_paper:.3f}")


def recent_runs(actor: User, material: int | None = None) -> QuerySet[Run]:
    """List runs that have a result, the newest first, of one material if asked."""
    rows = runs_visible_to(actor).filter(Exists(Result.objects.filter(run=OuterRef("pk"))))
    rows = rows.exclude(state=Run.State.INVALID).order_by("-pk")
    return rows.filter(portion__sample__material=material) if material else rows


def recent_samples(actor: User, material: int | None = None) -> QuerySet[Sample]:
    """List samples with several runs that have results, the newest first."""
    runs = Run.objects.filter(
        portion__sample=OuterRef("pk"), state__in=[Run.State.ACCEPTED, Run.State.WEIGHED]
    )
    rows = samples_visible_to(actor).filter(Exists(runs)).order_by("-pk")
    return rows.filter(material=material) if material else rows


def materials_with_results() -> QuerySet[Material]:
    """List the materials of which a run was accepted."""
    accepted = Run.objects.filter(
        portion__sample__material=OuterRef("pk"), state=Run.State.ACCEPTED
    )
    return Material.objects.filter(Exists(accepted)).order_by("name")


def specification_choices() -> QuerySet[SpecificationVersion]:
    """List the specification versions in force or once in force, the newest of each first."""
    return (
        SpecificationVersion.objects.filter(state__in=[VersionState.RELEASED, VersionState.RETIRED])
        .select_related("specification")
        .prefetch_related("lines")
    )
