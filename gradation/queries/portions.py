"""Test portions: what they are called, and one with what a run of it needs to know."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from gradation.errors import NotFound
from gradation.models import Run, Sample, TestPortion, User
from gradation.queries.halves import halves_in, said_half
from gradation.queries.portion_mass import portion_band
from gradation.queries.preparation import (
    DryingState,
    DryingView,
    drying_state,
    dryings_of,
    run_for,
)
from gradation.queries.samples import samples_visible_to

__all__ = ["Pass", "PortionPage", "find_portion", "portion_label", "portion_list", "portion_page"]


def find_portion(actor: User, label: str) -> TestPortion:
    """Give one portion with its sample and procedure, or `NotFound`."""
    portion = (
        TestPortion.objects.filter(label=label, sample__in=samples_visible_to(actor))
        .select_related(
            "sample__material",
            "sample__customer",
            "sample__source",
            "sample__procedure_version__procedure",
            "sample__specification_version",
            "parent__sample__procedure_version__procedure",
            "divider",
            "prepared_by",
        )
        .first()
    )
    if portion is None:
        msg = f"There is no test portion {label}. Check the label on the tray."
        raise NotFound(msg)
    return portion


def portion_list(actor: User, sample: str = "") -> QuerySet[TestPortion]:
    """List the portions a person may see, of one sample if its number is given."""
    rows = TestPortion.objects.filter(sample__in=samples_visible_to(actor)).select_related(
        "sample", "parent", "divider", "prepared_by"
    )
    return rows.filter(sample__number=sample) if sample else rows


def portion_label(sample: Sample, nth: int) -> str:
    """Give the label of the nth portion (from 0) of a sample: its number and a letter."""
    return f"{sample.number}-{_letters(nth)}"


def _letters(index: int) -> str:
    """Name the n-th portion A, B, ... Z, AA, AB: without I and O, which look like figures."""
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, len(alphabet))
        name = alphabet[rest] + name
    return name


@dataclass(frozen=True)
class Pass:
    """One pass of the divider: the half that was drawn, the half that was kept."""

    number: int
    drawn: str
    kept: str

    @property
    def as_drawn(self) -> bool:
        """Say whether the half drawn was kept."""
        return self.drawn == self.kept


@dataclass(frozen=True)
class Waiting:
    """A drying whose last mass may become the dry mass of a run."""

    view: DryingView
    run: Run


@dataclass(frozen=True)
class PortionPage:
    """A portion with how it was made, dried and tested."""

    portion: TestPortion
    passes: tuple[Pass, ...]
    mass_said: str
    parts: tuple[TestPortion, ...]
    dryings: tuple[DryingView, ...]
    state: DryingState
    runs: tuple[Run, ...]
    waiting: tuple[Waiting, ...]

    @property
    def open_drying(self) -> DryingView | None:
        """Give the drying that goes on now."""
        return next((view for view in self.dryings if view.is_open), None)

    @property
    def moisture(self) -> DryingView | None:
        """Give the drying that showed the moisture."""
        return next(
            (view for view in reversed(self.dryings) if view.moisture_pct is not None), None
        )

    @property
    def may_dry(self) -> bool:
        """Say whether it may be put into the oven before its test."""
        return not (self.portion.is_as_received or self.open_drying)

    @property
    def washed_runs(self) -> tuple[Run, ...]:
        """List the runs of which something may be dried after washing."""
        drying = {view.drying.run_id for view in self.dryings if view.is_open}
        return tuple(
            run
            for run in self.runs
            if run.is_editable and run.procedure_version.wash and run.pk not in drying
        )


def portion_page(portion: TestPortion) -> PortionPage:
    """Give everything that the page of a portion from `find_portion` shows."""
    views = tuple(dryings_of(portion))
    runs = portion.runs.select_related(
        "bench", "technician", "portion", "procedure_version__procedure"
    ).order_by("id")
    return PortionPage(
        portion=portion,
        passes=tuple(_passes(portion)),
        mass_said=_mass_said(portion),
        parts=tuple(portion.parts.order_by("id")),
        dryings=views,
        state=drying_state(portion),
        runs=tuple(runs),
        waiting=tuple(_waiting(views)),
    )


def _passes(portion: TestPortion) -> list[Pass]:
    drawn = halves_in(portion.halves_drawn) or ()
    kept = halves_in(portion.halves_taken) or ()
    way = portion.division_way
    return [
        Pass(number, said_half(way, one), said_half(way, other))
        for number, (one, other) in enumerate(zip(drawn, kept, strict=False), start=1)
    ]


def _mass_said(portion: TestPortion) -> str:
    band = portion_band(portion.sample.procedure_version, portion.top_size_um)
    if portion.moist_mass_g is not None:
        return band.judged(portion.moist_mass_g)
    wanted = "" if band.is_open else f"The procedure wants {band.words}."
    return " ".join(word for word in (wanted, band.missing) if word)


def _waiting(views: tuple[DryingView, ...]) -> list[Waiting]:
    ended = [view for view in views if not view.is_open and view.rows]
    newest = {view.drying.stage: view for view in ended}
    found = [(view, run_for(view.drying)) for view in newest.values()]
    return [Waiting(view, run) for view, run in found if run is not None]
