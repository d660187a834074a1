"""A run laid out for the page: one row per sieve with its drawing, figures, strip and verdict.

The figures come from the one calculation (`queries.runs` while open, the frozen result after);
here they are only placed and written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from django.utils.safestring import SafeString

from gradation.charts.strip import NestPiece, Strip, StripVerdict, envelope_strip, nest_piece
from gradation.documents.certificate_content import Characteristic
from gradation.documents.figures import Figure, aligned
from gradation.models import Run, RunSieve, Sieve, SpecificationLine, Weighing
from gradation.queries.runs import Place, RunView
from gradation.queries.verdicts import verdict_sentence
from gradation.science.acceptance import overload_limit_g
from gradation.science.envelopes import LineKind
from gradation.science.errors import GradationError
from gradation.science.worksheet_form import Entry
from gradation.web.run_values import OtherLine, other_lines, values_of
from gradation.web.templatetags.notebook import STRIP_PX, figure, on_day, stretched

UNWEIGHED = Figure("")
_BY_LOAD = (
    "Dark fill: the load of a sieve against its limit, the dotted line. "
    "Pale fill of the pan: its mass against the heaviest fraction."
)
_BY_SHARE = (
    "Pale fill: the mass of a fraction against the heaviest one; "
    "this procedure sets no limit on the load of a sieve."
)
NEST_PX = (110.0, 44.0)
Figures = Mapping[str, Any]


@dataclass(frozen=True)
class Verdict:
    """What a row's comparison said: the tag's kind, its words and the side exceeded."""

    kind: str
    words: str
    side: str = ""


@dataclass(frozen=True)
class Row:
    """One row: a sieve, the pan, or a mass of the whole portion."""

    place: Place
    label: str
    serial: str = ""
    unfit: str = ""
    nest: SafeString = field(default_factory=lambda: SafeString(""))
    retained_pct: str = ""
    cumulative_pct: str = ""
    passing: str = ""
    limits: str = ""
    strip: SafeString = field(default_factory=lambda: SafeString(""))
    verdict: Verdict | None = None
    mass: Figure = UNWEIGHED
    key: UUID = field(default_factory=uuid4)

    @property
    def name(self) -> str:
        """Give the row's name on the page."""
        return row_name(self.place.slot, self.place.position)

    @property
    def weighing(self) -> Weighing | None:
        """Give the reading that counts, if there is one."""
        return self.place.weighing


@dataclass(frozen=True)
class Tally:
    """The figures worked out while weighing."""

    dry_mass: str
    recovered: str
    loss: str
    loss_word: str
    loss_limit: str
    loss_look: str


@dataclass(frozen=True)
class Sheet:
    """A run as bench, review and result page show it."""

    run: Run
    portion_rows: tuple[Row, ...]
    rows: tuple[Row, ...]
    pan: Row
    tally: Tally
    flags: tuple[str, ...]
    outcome: str
    sentence: str
    values: tuple[Characteristic, ...]
    other_lines: tuple[OtherLine, ...]
    figures: Figures
    fault: str
    nest_legend: str


def run_sheet(view: RunView) -> Sheet:
    """Lay out a run: as far as it is weighed while open, as frozen when it was handed over."""
    figures = _figures(view)
    table = {Decimal(str(row["aperture_um"])): row for row in figures.get("table", ())}
    laid = _Layout(view, table, _limits(view.run), _lines(figures), _retained_g(view, figures))
    outcome, sentence = _said(view.run, figures)
    portion_rows = tuple(_portion_rows(view))
    fractions = (laid.row(place) for place in view.fractions)
    rows = _lined_up([*portion_rows, *fractions, laid.pan(figures)])
    return Sheet(
        run=view.run,
        portion_rows=rows[: len(portion_rows)],
        rows=rows[len(portion_rows) : -1],
        pan=rows[-1],
        tally=_tally(view, figures),
        flags=tuple(warning["sentence"] for warning in figures.get("warnings", ())),
        outcome=outcome,
        sentence=sentence,
        values=values_of(figures),
        other_lines=other_lines(figures, (place.aperture_um for place in view.run.places.all())),
        figures=figures,
        fault=view.fault if view.run.is_editable else "",
        nest_legend=_BY_LOAD if view.run.procedure_version.loading_rule else _BY_SHARE,
    )


def _lined_up(rows: list[Row]) -> tuple[Row, ...]:
    """Write the masses so that their decimal points stand under one another."""
    masses = [str(row.weighing.mass_as_entered) if row.weighing else "" for row in rows]
    written = zip(rows, aligned(masses), strict=True)
    return tuple(replace(row, mass=mass) for row, mass in written)


def _figures(view: RunView) -> Figures:
    results = list(view.run.results.all())
    if view.run.is_editable or not results:
        return view.figures
    frozen: Figures = results[0].values
    return frozen


def _said(run: Run, figures: Figures) -> tuple[str, str]:
    """Give the verdict of a whole run: its word and its sentence."""
    specification, compared = run.portion.sample.specification_version, figures.get("assessment")
    if specification is None or not compared or not figures.get("is_complete"):
        return "", ""
    return compared["outcome"], verdict_sentence(compared, str(specification.specification))


def _limits(run: Run) -> dict[Decimal, SpecificationLine]:
    specification = run.portion.sample.specification_version
    if specification is None:
        return {}
    return {
        line.aperture_um: line
        for line in specification.lines.all()
        if line.kind == LineKind.PASSING and line.aperture_um is not None
    }


def _lines(figures: Figures) -> dict[Decimal, Figures]:
    assessment = figures.get("assessment") or {}
    return {
        Decimal(str(line["aperture_um"])): line
        for line in assessment.get("lines", ())
        if line["kind"] == LineKind.PASSING and line["aperture_um"] is not None
    }


def row_name(slot: str, position: int) -> str:
    """Name a row so that page, script and answers mean the same one."""
    return f"{slot.replace(' ', '-')}-{position}"


def _portion_rows(view: RunView) -> Iterator[Row]:
    yield Row(view.dry_mass, "Dry mass of the portion")
    if view.washed_dry_mass is not None:
        yield Row(view.washed_dry_mass, "Dry mass after washing")


def _retained_g(view: RunView, figures: Figures) -> dict[tuple[str, int], float]:
    """Give the mass of each fraction weighed so far, also where they are weighed cumulatively."""
    places = [*view.fractions, view.pan]
    if view.run.procedure_version.entry != Entry.CUMULATIVE:
        return {_at(each): float(each.weighing.mass_g) for each in places if each.weighing}
    rows = [*figures.get("table", ()), figures.get("pan") or {}]
    found = zip(places, (row.get("retained_g") for row in rows), strict=False)
    return {_at(place): mass_g for place, mass_g in found if mass_g is not None}


def _at(place: Place) -> tuple[str, int]:
    return place.slot, place.position


@dataclass(frozen=True)
class _Layout:
    """What every sieve's row is laid out from."""

    view: RunView
    table: Mapping[Decimal, Figures]
    limits: Mapping[Decimal, SpecificationLine]
    lines: Mapping[Decimal, Figures]
    retained_g: Mapping[tuple[str, int], float]

    def pan(self, figures: Figures) -> Row:
        """Lay out the pan's row."""
        share = (figures.get("pan") or {}).get("retained_pct")
        piece = NestPiece("pan", is_pan=True, share_pct=self._share_pct(self.view.pan))
        drawn = stretched(nest_piece(piece, *NEST_PX))
        return Row(self.view.pan, "pan", nest=drawn, retained_pct=_share(share, decimals=1))

    def row(self, place: Place) -> Row:
        """Lay out one sieve's row."""
        assert place.sieve is not None  # noqa: S101 - a fraction always has its sieve
        sieve, aperture_um = place.sieve, place.sieve.aperture_um
        found = self.table.get(aperture_um, {})
        limit, verdict = self.limits.get(aperture_um), _verdict(self.lines.get(aperture_um))
        unfit = _unfit(self.view.run, sieve)
        label = sieve.sieve.designation
        return Row(
            place=place,
            label=label,
            serial=sieve.sieve.serial,
            unfit=unfit,
            nest=self._drawn(place, unfit),
            retained_pct=_share(found.get("retained_pct"), decimals=1),
            cumulative_pct=_share(found.get("cumulative_pct"), decimals=1),
            passing=found.get("passing_reported") or "",
            limits=_range(limit),
            strip=_strip(label, found.get("passing_pct"), limit, verdict),
            verdict=verdict,
        )

    def _drawn(self, place: Place, unfit: str) -> SafeString:
        name = place.sieve.sieve.designation if place.sieve else "pan"
        piece = NestPiece(name, self._load_pct(place), unfit, share_pct=self._share_pct(place))
        return stretched(nest_piece(piece, *NEST_PX))

    def _share_pct(self, place: Place) -> float | None:
        mass_g = self.retained_g.get(_at(place))
        return 100 * mass_g / max(self.retained_g.values()) if mass_g else None

    def _load_pct(self, place: Place) -> float | None:
        """Give the load in % of the sieve's limit, where the procedure has a load rule."""
        rule = self.view.evaluation and self.view.evaluation.worksheet.overload
        mass_g = self.retained_g.get(_at(place))
        if not rule or mass_g is None or place.sieve is None:
            return None
        try:
            limit_g = overload_limit_g(rule, float(place.sieve.aperture_um))
        except GradationError:
            return None
        return 100 * mass_g / limit_g


def _unfit(run: Run, place: RunSieve) -> str:
    """Say why a sieve should not be used: its state now while open, its check then."""
    sieve = place.sieve
    if run.is_editable and sieve.state != Sieve.State.IN_SERVICE:
        return f"{sieve.state} since {on_day(sieve.state_since)}"
    if place.next_check_on and place.next_check_on < run.opened_at.date():
        return f"check was due {on_day(place.next_check_on)}"
    return ""


def _share(value: float | None, *, decimals: int) -> str:
    return "" if value is None else figure(f"{value:.{decimals}f}")


def _range(limit: SpecificationLine | None) -> str:
    if limit is None:
        return ""
    low, high = (
        "" if end is None else f"{end.normalize():f}" for end in (limit.minimum, limit.maximum)
    )
    if low and high:
        return f"{low} – {high}"
    return f"at least {low}" if low else f"at most {high}"


def _verdict(line: Figures | None) -> Verdict | None:
    if line is None or line.get("value") is None:
        return None
    if line["is_inside"]:
        return Verdict("within", "within")
    if line["nearer_limit"] == "maximum":
        return Verdict("outside", f"above {figure(line['max'])}", "high")
    return Verdict("outside", f"below {figure(line['min'])}", "low")


def _strip(
    name: str, passing_pct: float | None, limit: SpecificationLine | None, verdict: Verdict | None
) -> SafeString:
    if limit is None and passing_pct is None:
        return SafeString("")
    low, high, target = (
        None if limit is None or end is None else float(end)
        for end in ((limit.minimum, limit.maximum, limit.target) if limit else (None, None, None))
    )
    said = StripVerdict(verdict.kind) if verdict else StripVerdict.NONE
    shown = Strip(name, passing_pct, low, high, target, verdict=said)
    return stretched(envelope_strip(shown, *STRIP_PX))


def _tally(view: RunView, figures: Figures) -> Tally:
    dry = view.dry_mass.weighing
    places = [*view.fractions, view.pan]
    weighed = [place.weighing for place in places if place.weighing is not None]
    cumulative = view.run.procedure_version.entry == "cumulative"
    stages = figures.get("stages") or [{}]
    recovered = "" if cumulative else stages[0].get("recovered_g", "")
    loss_pct = figures.get("loss_pct")
    return Tally(
        dry_mass=figure(dry.mass_as_entered) if dry else "",
        recovered=figure(recovered) if weighed and recovered else "",
        loss=_share(loss_pct, decimals=2),
        loss_word="Gain" if (figures.get("loss_g") or 0) < 0 else "Loss",
        loss_limit=f"{view.run.procedure_version.loss_limit_pct.normalize():f}",
        loss_look="look" if figures.get("loss_verdict") == "exceeded" else "",
    )
