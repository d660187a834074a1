"""Rows of the nest: drawing, figures, strip, verdict of each sieve, and what is weighed there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from django.utils.safestring import SafeString
from django.utils.timezone import get_current_timezone

from gradation.charts.strip import NestPiece, Strip, StripVerdict, envelope_strip, nest_piece
from gradation.models import Run, RunSieve, Sieve, SpecificationLine, Weighing
from gradation.queries.days import day_of_work
from gradation.queries.run_view import AtSieve, Place, RunView
from gradation.queries.worksheets import envelope_line
from gradation.science.rounding import FURTHER_THAN_PASSING, uncertainty_beside
from gradation.web.run_sheet.loads import Loads, load_of
from gradation.web.run_sheet.offers import (
    increment_offer,
    join_offer,
    remedy_offers,
    weigh_again_offer,
)
from gradation.web.run_sheet.rows import Offer, Row, Verdict, together
from gradation.web.templatetags.notebook import STRIP_PX, figure, on_day, stretched

__all__ = ["Layout", "plain_rows", "share", "spread_words", "spreads_pct"]

NEST_PX = (110.0, 44.0)
Figures = Mapping[str, Any]
Slot = Weighing.Slot

_OF_A_SPLIT = {
    Slot.SPLIT_PASSING.value: "passed {size}",
    Slot.SPLIT_REDUCED.value: "of it sieved on",
    Slot.SPLIT_WASHED.value: "sieved on, after washing",
}


def plain_rows(places: tuple[Place, ...], label: str) -> Row:
    """Lay out a mass of the whole portion."""
    return Row(places[0], label, remark=together(places), parts=tuple(_increments(places)))


def _increments(places: tuple[Place, ...]) -> Iterator[Row]:
    for place in places[1:]:
        yield Row(place, f"increment {place.increment}", is_part=True)


@dataclass(frozen=True)
class Layout:
    """What every sieve's row is laid out from."""

    view: RunView
    table: Mapping[Decimal, Figures]
    limits: Mapping[Decimal, SpecificationLine]
    lines: Mapping[Decimal, Figures]
    loads: Loads
    warned: Mapping[Decimal, frozenset[str]]
    """Codes of the warnings about each size."""
    spreads_pct: Mapping[Decimal, float] = field(default_factory=dict)
    """Expanded uncertainty of each passing, where the decision rule asks for it."""

    def pan(self, figures: Figures) -> Row:
        """Lay out the pan's row."""
        places = self.view.pan
        retained_pct = (figures.get("pan") or {}).get("retained_pct")
        piece = NestPiece("pan", is_pan=True, share_pct=self.loads.share_pct(0))
        return Row(
            places[0],
            "pan",
            remark=together(places),
            nest=stretched(nest_piece(piece, *NEST_PX)),
            retained_pct=share(retained_pct, decimals=1),
            offers=self._offers(places),
            parts=tuple(self._increments(places)),
        )

    def row(self, at: AtSieve) -> Row:
        """Lay out one sieve's row and those below it."""
        sieve, aperture_um = at.sieve, at.sieve.aperture_um
        found = self.table.get(aperture_um, {})
        limit, verdict = self.limits.get(aperture_um), _verdict(self.lines.get(aperture_um))
        unfit, spread_pct = _unfit(self.view.run, sieve), self.spreads_pct.get(aperture_um)
        label = sieve.sieve.designation
        load = load_of(self.view, self.loads, sieve.position)
        return Row(
            place=at.fraction[0],
            label=label,
            serial=sieve.sieve.serial,
            unfit=unfit,
            remark="; ".join(filter(None, self._remarks(at))),
            nest=self._drawn(sieve, unfit),
            retained_pct=share(found.get("retained_pct"), decimals=1),
            cumulative_pct=share(found.get("cumulative_pct"), decimals=1),
            passing=(passing := found.get("passing_reported") or ""),
            spread=spread_words(spread_pct, passing),
            limits=_range(limit),
            strip=_strip(label, Measured(found.get("passing_pct"), spread_pct), limit, verdict),
            verdict=verdict,
            load=load and replace(load, offers=self._remedies(at)),
            offers=self._offers(at.fraction),
            parts=tuple(self._parts(at)),
        )

    def _remarks(self, at: AtSieve) -> Iterator[str]:
        yield "relief sieve" if at.sieve.is_relief else ""
        yield together(at.fraction)
        check = self.view.evaluation and self.view.evaluation.worksheet.end_point
        if check and at.sieve.aperture_um in dict(check.before_g):
            yield self._end_point(at.sieve).words

    def _remedies(self, at: AtSieve) -> tuple[Offer, ...]:
        return tuple(remedy_offers(self.view, at)) if self.view.run.is_editable else ()

    def _offers(self, places: tuple[Place, ...]) -> tuple[Offer, ...]:
        if not self.view.run.is_editable:
            return ()
        again = weigh_again_offer(self.view, places[0])
        return (*again, *increment_offer(self.view, places))

    def _parts(self, at: AtSieve) -> Iterator[Row]:
        yield from self._increments(at.fraction)
        for place in at.split:
            is_further = place.increment > 1
            label = f"increment {place.increment}" if is_further else _OF_A_SPLIT[place.slot]
            label = label.format(size=at.sieve.sieve.designation)
            yield Row(place, label, is_part=True, offers=self._split_offers(at, place))
        if at.end_point is not None:
            verdict = self._end_point(at.sieve) if at.end_point.weighing else None
            label = "extra minute"
            yield Row(at.end_point, label, is_part=True, verdict=verdict)

    def _increments(self, places: tuple[Place, ...]) -> Iterator[Row]:
        for place in places[1:]:
            offers = weigh_again_offer(self.view, place) if self.view.run.is_editable else ()
            yield Row(place, f"increment {place.increment}", is_part=True, offers=tuple(offers))

    def _split_offers(self, at: AtSieve, place: Place) -> tuple[Offer, ...]:
        if not self.view.run.is_editable or place.increment > 1:
            return ()
        if place.slot == Slot.SPLIT_PASSING and place.weighing is None:
            return tuple(join_offer(self.view, at))
        same = tuple(each for each in at.split if each.slot == place.slot)
        return () if place.slot == Slot.SPLIT_WASHED else tuple(increment_offer(self.view, same))

    def _end_point(self, sieve: RunSieve) -> Verdict:
        check = self.view.evaluation and self.view.evaluation.worksheet.end_point
        if check is None:
            return Verdict("untested", "no limit set")
        if "end_point_not_reached" in self.warned.get(sieve.aperture_um, frozenset()):
            return Verdict("look", "still passing")
        return Verdict("within", "end point")

    def _drawn(self, sieve: RunSieve, unfit: str) -> SafeString:
        load_pct = self.loads.load_pct.get(sieve.position)
        share_pct = self.loads.share_pct(sieve.position)
        piece = NestPiece(sieve.sieve.designation, load_pct, unfit, share_pct=share_pct)
        return stretched(nest_piece(piece, *NEST_PX))


def _unfit(run: Run, place: RunSieve) -> str:
    """Say why a sieve should not be used: its state now while open, its check then."""
    sieve = place.sieve
    if run.is_editable and sieve.state != Sieve.State.IN_SERVICE:
        return f"{sieve.state} since {on_day(sieve.state_since)}"
    if place.next_check_on and place.next_check_on < day_of_work(run, get_current_timezone()):
        return f"check was due {on_day(place.next_check_on)}"
    return ""


def share(value: float | None, *, decimals: int) -> str:
    """Write a percentage; nothing where it is not known."""
    return "" if value is None else figure(f"{value:.{decimals}f}")


@dataclass(frozen=True)
class Measured:
    """A passing with its expanded uncertainty, in %, as far as they are known."""

    passing_pct: float | None
    spread_pct: float | None = None


def spreads_pct(figures: Figures) -> dict[Decimal, float]:
    """Give the expanded uncertainty of the passing at each sieve, where it was asked for."""
    rows = (figures.get("uncertainty") or {}).get("rows", ())
    return {Decimal(str(row["aperture_um"])): row["U_pct"] for row in rows}


def spread_words(spread_pct: float | None, passing: str) -> str:
    """Write an expanded uncertainty by its passing; nothing where one is not known."""
    if not spread_pct or not passing:
        return ""
    return f"± {uncertainty_beside(spread_pct, passing, FURTHER_THAN_PASSING):f}"


def _limits(limit: SpecificationLine | None) -> tuple[Decimal | None, Decimal | None]:
    """Give the limits in force: those stated, narrowed by target and tolerance."""
    return (None, None) if limit is None else envelope_line(limit).limits()


def _range(limit: SpecificationLine | None) -> str:
    low, high = ("" if end is None else f"{end.normalize():f}" for end in _limits(limit))
    if low and high:
        return f"{low} – {high}"
    if low or high:
        return f"at least {low}" if low else f"at most {high}"
    return ""


def _verdict(line: Figures | None) -> Verdict | None:
    if line is None or line.get("value") is None:
        return None
    if line.get("outcome") == "not_decidable":
        return Verdict("undecided", "not decidable")
    if line["is_inside"]:
        return Verdict("within", "within")
    if line["nearer_limit"] == "maximum":
        return Verdict("outside", f"above {figure(line['max'])}", "high")
    return Verdict("outside", f"below {figure(line['min'])}", "low")


def _strip(
    name: str, measured: Measured, limit: SpecificationLine | None, verdict: Verdict | None
) -> SafeString:
    passing_pct = measured.passing_pct
    if limit is None and passing_pct is None:
        return SafeString("")
    low, high = (None if end is None else float(end) for end in _limits(limit))
    target = None if limit is None or limit.target is None else float(limit.target)
    said = StripVerdict(verdict.kind) if verdict else StripVerdict.NONE
    shown = Strip(name, passing_pct, low, high, target, measured.spread_pct, said)
    return stretched(envelope_strip(shown, *STRIP_PX))
