"""A blend on paper: its shares, the sieves it was searched on, the curves; drawn as it was kept."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.template.loader import render_to_string

from gradation.charts.figure import (
    Band,
    BandLimit,
    Curve,
    CurvePoint,
    Direction,
    FailingPoint,
    GradationFigure,
    Scale,
    Side,
    SieveName,
)
from gradation.charts.printed import svg
from gradation.documents.content_json import from_json, to_json
from gradation.documents.csv_text import csv_text
from gradation.documents.figures import NOT_SPECIFIED, as_number, shown_date, written
from gradation.documents.pdf import EmbeddedFile, render_pdf

_WIDTH_MM, _HEIGHT_MM = 182.0, 84.0


@dataclass(frozen=True)
class BlendPile:
    """One stockpile: its share, the bounds it was given, the range that the envelope leaves it."""

    name: str
    detail: str
    runs: str
    share_pct: str
    share_min_pct: str
    share_max_pct: str
    smallest_pct: str
    largest_pct: str
    ended_by: str
    apertures_um: tuple[float, ...]
    passing_pct: tuple[float, ...]


@dataclass(frozen=True)
class BlendSieve:
    """One sieve of the search: the stockpiles, the blend, the limits and the margin, in %."""

    aperture_um: float
    name: str
    piles_pct: tuple[str, ...]
    blend_pct: str
    lower_pct: str
    upper_pct: str
    target_pct: str
    margin_pct: str
    nearer: str
    is_inside: bool


@dataclass(frozen=True)
class BlendContent:
    """A blend as it was worked out; percentages as text, dates ISO in the laboratory's zone."""

    laboratory: str
    number: str
    title: str
    note: str
    specification: str
    goal: str
    exists: bool
    sentence: str
    held_by: tuple[str, ...]
    piles: tuple[BlendPile, ...]
    sieves: tuple[BlendSieve, ...]
    apertures_um: tuple[float, ...]
    passing_pct: tuple[float, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    science_version: str
    inputs_digest: str
    computed_at: str
    computed_by: str
    printed_at: str
    printed_by: str
    time_zone: str
    language: str = "en"

    def to_json(self) -> str:
        """Return the content as JSON; equal content gives equal text."""
        return to_json(self)

    @classmethod
    def from_json(cls, text: str) -> "BlendContent":
        """Return the content that `to_json` wrote; raises ContentFault on anything else."""
        return from_json(cls, text)

    @property
    def has_target(self) -> bool:
        """Say whether any sieve has a target."""
        return any(sieve.target_pct for sieve in self.sieves)


def blend_figure(
    content: BlendContent, scale: Scale = Scale.LOG, direction: Direction = Direction.FINE_LEFT
) -> GradationFigure:
    """Return the figure: the blend first, then its stockpiles, inside the envelope."""
    blend = Curve("Blend", _points(content.apertures_um, content.passing_pct))
    piles = [Curve(_named(p), _points(p.apertures_um, p.passing_pct)) for p in content.piles]
    names = {sieve.aperture_um: sieve.name for sieve in content.sieves}
    return GradationFigure(
        title=content.title or "Blend",
        curves=tuple(([blend] if content.exists else []) + piles),
        band=_band(content),
        target=_target(content),
        failing=tuple(_failing(content)),
        sieves=tuple(SieveName(um, name) for um, name in names.items()),
        scale=scale,
        direction=direction,
    )


def _points(sizes: tuple[float, ...], passing: tuple[float, ...]) -> tuple[CurvePoint, ...]:
    return tuple(CurvePoint(um, value) for um, value in zip(sizes, passing, strict=True))


def _named(pile: BlendPile) -> str:
    return f"{pile.name}, {pile.share_pct} %" if pile.share_pct else pile.name


def _band(content: BlendContent) -> Band | None:
    limits = tuple(
        BandLimit(sieve.aperture_um, as_number(sieve.lower_pct), as_number(sieve.upper_pct))
        for sieve in content.sieves
        if sieve.lower_pct or sieve.upper_pct
    )
    return Band(content.specification or "Limits", limits) if limits else None


def _target(content: BlendContent) -> Curve | None:
    points = tuple(
        CurvePoint(sieve.aperture_um, value)
        for sieve in content.sieves
        if (value := as_number(sieve.target_pct)) is not None
    )
    return Curve("Target", points) if points else None


def _failing(content: BlendContent) -> Iterator[FailingPoint]:
    for sieve in content.sieves:
        value = as_number(sieve.blend_pct)
        if not sieve.is_inside and value is not None:
            side = Side.BELOW if sieve.nearer == "lower" else Side.ABOVE
            yield FailingPoint(sieve.aperture_um, value, side, f"{sieve.name}: {sieve.blend_pct} %")


def blend_html(content: BlendContent) -> str:
    """Return the blend as one HTML page."""
    number = content.number or "not kept"
    context = {
        "content": content,
        "identity": f"Blend {number}",
        "computed": shown_date(content.computed_at),
        "printed": shown_date(content.printed_at),
        "figure": svg(blend_figure(content), _WIDTH_MM, _HEIGHT_MM),
        "piles": [_shown_pile(pile) for pile in content.piles],
        "sieves": [_shown_sieve(sieve) for sieve in content.sieves],
    }
    return render_to_string("documents/blend.html", context)


def blend_pdf(content: BlendContent) -> bytes:
    """Return the blend as PDF with its figures as an embedded data file."""
    data = EmbeddedFile("blend.json", content.to_json(), "Every figure of the blend")
    return render_pdf(blend_html(content), embedded=data)


def blend_csv(content: BlendContent) -> str:
    """Return the sieves of the search as CSV, coarse to fine."""
    header = [
        "aperture [mm]",
        *(f"{pile.name} [%]" for pile in content.piles),
        *("blend [%]", "at least [%]", "at most [%]", "target [%]", "margin [points]"),
    ]
    rows = (
        [
            f"{sieve.aperture_um / 1000:g}",
            *sieve.piles_pct,
            *(sieve.blend_pct, sieve.lower_pct, sieve.upper_pct, sieve.target_pct),
            sieve.margin_pct,
        ]
        for sieve in content.sieves
    )
    return csv_text(header, rows)


def _shown_pile(pile: BlendPile) -> dict[str, object]:
    bounds = f"{written(pile.share_min_pct)} to {written(pile.share_max_pct)}"
    free = f"{written(pile.smallest_pct)} to {written(pile.largest_pct)}"
    return {
        "row": pile,
        "share": _or_none(pile.share_pct),
        "bounds": bounds,
        "free": free if pile.smallest_pct else NOT_SPECIFIED,
    }


def _shown_sieve(sieve: BlendSieve) -> dict[str, object]:
    return {
        "row": sieve,
        "piles": [written(each) for each in sieve.piles_pct],
        "blend": _or_none(sieve.blend_pct),
        "lower": _or_none(sieve.lower_pct),
        "upper": _or_none(sieve.upper_pct),
        "target": _or_none(sieve.target_pct),
        "margin": _or_none(sieve.margin_pct),
    }


def _or_none(text: str) -> str:
    return written(text) if text else NOT_SPECIFIED
