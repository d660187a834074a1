"""Determinations of a sample laid out for the page: figures down, determinations across."""

from __future__ import annotations

from dataclasses import dataclass

from gradation.models import Run, Sample
from gradation.queries.determination_set import Compared, DeterminationSet, determinations_of
from gradation.web.templatetags.notebook import figure

__all__ = ["DeterminationSheet", "determination_sheet"]


@dataclass(frozen=True)
class FigureRow:
    """One figure of every determination, and how they lie together."""

    name: str
    values: tuple[str, ...]
    mean: str
    median: str
    spread: str
    limit: str
    look: str
    """'' where the determinations agree, 'outside' where they do not."""


@dataclass(frozen=True)
class Column:
    """One determination: its run, and what the outlier rule says of it."""

    run: Run
    outlier: str
    sentence: str

    @property
    def may_be_set_aside(self) -> bool:
        """Say whether the procedure's rule finds it an outlier and it still counts."""
        return self.outlier == "outlier" and self.run.counts


@dataclass(frozen=True)
class DeterminationSheet:
    """What the page shows."""

    found: DeterminationSet
    columns: tuple[Column, ...]
    rows: tuple[FigureRow, ...]


def determination_sheet(sample: Sample) -> DeterminationSheet:
    """Lay out the determinations of a sample."""
    found = determinations_of(sample)
    outliers = found.outliers
    columns = []
    for each in found.determinations:
        outlier = outliers.get(each.run.pk)
        verdict, said = (outlier.verdict, outlier.sentence) if outlier else ("", "")
        columns.append(Column(each.run, verdict, said))
    return DeterminationSheet(found, tuple(columns), tuple(_row(each) for each in found.compared))


def _row(compared: Compared) -> FigureRow:
    return FigureRow(
        name=compared.name,
        values=tuple("" if value is None else _shown(value) for value in compared.values),
        mean=_shown(compared.mean),
        median=_shown(compared.median),
        spread=_shown(compared.spread) if compared.counted > 1 else "",
        limit="" if compared.limit is None else _shown(compared.limit),
        look="outside" if compared.agrees is False else "",
    )


def _shown(value: float) -> str:
    return figure(f"{value:.2f}")
