"""What a run owes to a drying: its dry mass, taken from there and corrected with it."""

from __future__ import annotations

from uuid import uuid5

from gradation.errors import Conflict
from gradation.models import Drying, DryingMass, Run, User, Weighing
from gradation.policy import Action, require
from gradation.queries.portion_mass import plain
from gradation.queries.preparation import drying_view, find_drying
from gradation.queries.readings import current_weighing
from gradation.services.weighing import Reading, correct_weighing

__all__ = ["carry_into_runs", "reading_of", "refuse_settled"]

#: The key of a run's reading is made from the key of the drying mass, so that a repeat is harmless.
_DRY_MASS_OF_RUN = "dry mass of run {}"


def refuse_settled(drying: Drying) -> None:
    """Refuse (`Conflict`) to change what a run that was handed over rests on."""
    settled = [Run.State.WEIGHED, Run.State.ACCEPTED]
    run = drying.portion.runs.filter(state__in=settled).first()
    if run is not None:
        msg = f"Run {run} is {run.state} and rests on this drying. Have it returned first."
        raise Conflict(msg)


def reading_of(drying: Drying, run: Run, last: DryingMass | None) -> Reading:
    """Give the last mass of a drying as a reading of a run, under a key of its own."""
    assert last is not None  # noqa: S101 - refused before
    return Reading(
        slot=_slot(drying).value,
        text=last.entered_text,
        tare_text=plain(drying.container_g),
        key=uuid5(last.key, _DRY_MASS_OF_RUN.format(run.pk)),
    )


def carry_into_runs(*, actor: User, drying: Drying, reason: str) -> list[Weighing]:
    """Correct the dry mass of each open run that took it from this drying, when it changed.

    Technicians may, with the reason of the correction. Ledger: reading corrected.
    """
    require(actor, Action.RECORD_RUN)
    last = drying_view(find_drying(actor, drying.pk)).last_mass
    runs = drying.portion.runs.filter(state__in=Run.EDITABLE).select_related("portion")
    taken = [(run, _taken_from(drying, run)) for run in runs]
    return [
        correct_weighing(actor=actor, run=run, reading=reading_of(drying, run, last), reason=reason)
        for run, weighing in taken
        if weighing is not None and last is not None and weighing.mass_g != last.mass_g
    ]


def _taken_from(drying: Drying, run: Run) -> Weighing | None:
    """Give the dry mass that counts in a run, if it came from this drying."""
    weighing = current_weighing(run, _slot(drying).value)
    keys = {
        uuid5(key, _DRY_MASS_OF_RUN.format(run.pk))
        for key in drying.masses.values_list("key", flat=True)
    }
    return weighing if weighing is not None and weighing.key in keys else None


def _slot(drying: Drying) -> Weighing.Slot:
    is_washed = drying.stage == Drying.Stage.AFTER_WASHING
    return Weighing.Slot.WASHED_DRY_MASS if is_washed else Weighing.Slot.DRY_MASS
