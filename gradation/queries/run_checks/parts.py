"""The parts of a context that cost queries of their own; none grows with the length of the run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from django.db.models import Max

from gradation.models import (
    Check,
    Competence,
    Drying,
    Equipment,
    ProcedureVersion,
    Result,
    Run,
    RunSieve,
    Tare,
    Weighing,
)
from gradation.queries.due import places_taken, said_taken
from gradation.queries.preparation import DryingState, drying_state, washed_drying_state
from gradation.queries.run_checks.context import Claim, Context, Loader, Part
from gradation.queries.settled import settled, was_dried
from gradation.queries.shakings import latest_shakings
from gradation.science.gradation import Basis
from gradation.science.history import Recorded

__all__ = ["LOADERS", "LOADERS_AT_WORK", "MOST_RUNS", "sharing"]

Parts = Mapping[str, Any]

#: As many accepted runs as any laboratory may look back on; its own figure narrows it.
MOST_RUNS = 100


def _tares(context: Context) -> Parts:
    """Read the tares weighed alone, and those typed in each sieve's run before this one."""
    if not _asks_for_tares(context):
        return {"tares": {}}
    sieves = [each.sieve.pk for each in context.standing]
    found: dict[int, list[tuple[Any, Decimal]]] = defaultdict(list)
    for tare in Tare.objects.filter(sieve__in=sieves):
        found[tare.sieve_id].append((tare.weighed_at, tare.tare_g))
    last = {
        row["sieve"]: row["run__max"]
        for row in RunSieve.objects.filter(sieve__in=sieves)
        .exclude(run=context.run)
        .values("sieve")
        .annotate(Max("run"))
        .order_by()
    }
    places = RunSieve.objects.filter(run__in=set(last.values()), sieve__in=sieves)
    here = {
        (place.run_id, place.position): place.sieve_id
        for place in places
        if last[place.sieve_id] == place.run_id
    }
    rows = Weighing.objects.filter(
        run__in=set(last.values()), slot=Weighing.Slot.FRACTION, tare_g__isnull=False
    ).order_by("revision")
    newest = {(row.run_id, row.position): row for row in rows}
    for at, row in newest.items():
        if at in here and row.tare_g is not None:
            found[here[at]].append((row.made_at, row.tare_g))
    return {"tares": {pk: tuple(tare for _, tare in sorted(all_)) for pk, all_ in found.items()}}


def _asks_for_tares(context: Context) -> bool:
    """Say whether a tare was typed, or a shaker is asked what it carries."""
    if context.is_opening:
        return any(getattr(item, "greatest_nest_g", None) for item in context.instruments)
    return any(row.tare_g is not None for row in context.weighings)


def _claims(context: Context) -> Parts:
    """Read who else has one of the sieves, or sieves a portion of the same sample.

    A run recorded elsewhere stands on no sieve now.
    """
    if context.is_elsewhere:
        return {"claims": ()}
    sieves = [each.sieve for each in context.standing]
    taken = places_taken(sieves).values()
    claims = [Claim(place.run, said_taken(place), is_sieve=True) for place in taken]
    others = (
        Run.objects.filter(portion__sample=context.portion.sample_id, state=Run.State.OPEN)
        .select_related("portion", "bench", "technician")
        .order_by("pk")
    )
    for run in others:
        said = f"run {run} on {run.bench} ({run.technician})"
        claims.append(Claim(run, said, is_same_portion=run.portion_id == context.portion.pk))
    return {"claims": tuple(claims)}


def _drying(context: Context) -> Parts:
    """Read the drying of the portion, where the procedure asks for it or somebody dried it."""
    portion = context.portion
    if context.is_elsewhere:
        return {"drying": _dried_elsewhere(context, "The portion")}
    is_asked = context.procedure.constant_mass_pct is not None
    if is_asked or _has_drying(context):
        return {"drying": drying_state(portion)}
    return {"drying": None}


def _has_drying(context: Context) -> bool:
    if context.run is not None:
        return was_dried(context.run)
    portion = context.portion
    concerned = [key for key in (portion.pk, portion.parent_id) if key is not None]
    return Drying.objects.filter(portion__in=concerned).exists()


def _washed_drying(context: Context) -> Parts:
    """Read the drying after washing, once the mass that it ends in is entered."""
    run, weighed = context.run, context.at(Weighing.Slot.WASHED_DRY_MASS)
    if context.is_elsewhere:
        said = _dried_elsewhere(context, "What was left after washing") if weighed else None
        return {"washed_drying": said}
    return {"washed_drying": washed_drying_state(run) if run is not None and weighed else None}


def _dried_elsewhere(context: Context, what: str) -> DryingState | None:
    """Say that nothing is known of a drying elsewhere, where the procedure asks for its proof."""
    if context.procedure.constant_mass_pct is None:
        return None
    said = f"{what} was dried elsewhere: whether to constant mass is not on record here."
    return DryingState(False, said)


#: Of a frozen result: all that a history needs, and none of its bulk.
_OF_A_RESULT = (
    "run",
    "curve",
    "values__basis",
    "values__loss_g",
    "values__pan__retained_g",
    "inputs__dry_mass_g",
    "inputs__washed_dry_mass_g",
)


@dataclass(frozen=True)
class _Past:
    """One accepted run, as far as a history needs it."""

    run: int
    curve: list[list[float]]
    basis: str
    loss_g: float | None
    pan_g: float | None
    dry_mass_g: str | None
    washed_g: str | None

    def is_on(self, sizes_um: list[float]) -> bool:
        """Say whether it stood on the same sizes and its masses are all known."""
        known = None not in (self.loss_g, self.pan_g, self.dry_mass_g)
        return known and [float(size) for size, _ in self.curve] == sizes_um

    @property
    def masses_g(self) -> list[float]:
        """Give what each sieve and the pan retained [g], from the curve."""
        dry_g, loss_g = float(self.dry_mass_g or 0), float(self.loss_g or 0)
        is_of_sum = self.basis == Basis.SUM_OF_FRACTIONS
        base_g = float(self.washed_g or dry_g) - loss_g if is_of_sum else dry_g
        passing = [100.0, *(pct for _, pct in self.curve)]
        fractions = [base_g * (above - here) / 100 for above, here in pairwise(passing)]
        return [*fractions, float(self.pan_g or 0)]


def _history(context: Context) -> Parts:
    """Read the accepted runs of the same material by the same procedure on the same sizes."""
    rows = (
        Result.objects.filter(
            run__state=Run.State.ACCEPTED,
            run__counts=True,
            run__portion__sample__material=context.portion.sample.material_id,
            run__procedure_version__procedure=context.procedure.procedure_id,
        )
        .exclude(run=context.run)
        .order_by("-run", "-version")
        .values_list(*_OF_A_RESULT)[:MOST_RUNS]
    )
    newest: dict[int, _Past] = {}
    for row in rows:
        newest.setdefault(row[0], _Past(*row))
    sizes_um = [float(each.aperture_um) for each in context.standing]
    return {"history": _recorded([each for each in newest.values() if each.is_on(sizes_um)])}


def _recorded(past: list[_Past]) -> Recorded | None:
    """Give runs on the same sizes as one table of masses, the newest first."""
    if not past:
        return None
    washed = [float(each.washed_g) for each in past if each.washed_g]
    return Recorded(
        apertures_um=np.array([float(size) for size, _ in past[0].curve]),
        masses_g=np.array([each.masses_g for each in past]),
        dry_mass_g=np.array([float(each.dry_mass_g or 0) for each in past]),
        washed_dry_mass_g=np.array(washed) if len(washed) == len(past) else None,
    )


def _siblings(context: Context) -> Parts:
    """Read the newest frozen values of the sample's other determinations."""
    return {"siblings": _beside(context, _determined([context.portion.sample_id], context.run))}


#: Frozen values of runs by sample and version of the procedure, then by run, in their order.
_Determined = Mapping[tuple[int, int], Mapping[int, Mapping[str, Any]]]


def _determined(samples: Iterable[int], but: Run | None = None) -> _Determined:
    """Read the newest frozen values of the determinations of some samples, but for one run."""
    rows = (
        Result.objects.filter(
            run__portion__sample__in=samples,
            run__state__in=[Run.State.WEIGHED, Run.State.ACCEPTED],
            run__counts=True,
        )
        .exclude(run=but)
        .order_by("run", "version")
        .values_list("run__portion__sample", "run__procedure_version", "run", "values")
    )
    found: dict[tuple[int, int], dict[int, Mapping[str, Any]]] = defaultdict(dict)
    for sample, procedure, run, values in rows:
        found[sample, procedure][run] = values
    return found


def _beside(context: Context, determined: _Determined) -> tuple[Mapping[str, Any], ...]:
    """Pick the other determinations of the sample by the same version of the procedure."""
    own = context.run.pk if context.run else None
    all_ = determined.get((context.portion.sample_id, context.procedure.pk), {})
    return tuple(values for run, values in all_.items() if run != own)


def _competences(context: Context) -> Parts:
    """Read what the people of the run were found able to do by this procedure."""
    people = {person.pk for person in context.people}
    people |= {context.reviewer.pk} if context.reviewer else set()
    mine = Competence.objects.filter(procedure=context.procedure.procedure_id, person__in=people)
    found = tuple(mine.order_by("valid_from", "pk"))
    return {
        "competences": found,
        "keeps_competence": bool(found) or Competence.objects.exists(),
    }


def _replaced_on(context: Context) -> Parts:
    """Read which version came after the procedure's, and when it was released."""
    newer = (
        ProcedureVersion.objects.filter(
            procedure=context.procedure.procedure_id,
            version__gt=context.procedure.version,
            released_at__isnull=False,
        )
        .select_related("procedure")
        .order_by("version")
        .first()
    )
    if newer is None or newer.released_at is None:
        return {"replaced_on": None}
    return {"replaced_on": (str(newer), newer.released_at.astimezone(context.zone).date())}


def _shakings(context: Context) -> Parts:
    """Read the shakings as they hold now: the newest revision of each."""
    if context.run is None:
        return {"shakings": ()}
    return {"shakings": tuple(latest_shakings(context.run.shakings.all()))}


def _unchecked(context: Context) -> Parts:
    """Read which balances of the run passed no check-weights on its day."""
    balances = {item.pk for item in context.instruments if item.kind == Equipment.Kind.BALANCE}
    balances |= {row.balance_id for row in context.weighings if row.balance_id is not None}
    if not balances:
        return {"unchecked": frozenset()}
    checked = Check.objects.filter(
        equipment__in=balances,
        kind=Check.Kind.WEIGHTS,
        passed=True,
        performed_on=context.day,
    ).values_list("equipment_id", flat=True)
    return {"unchecked": frozenset(balances - set(checked))}


LOADERS: Mapping[Part, Loader] = {
    Part.TARES: _tares,
    Part.CLAIMS: _claims,
    Part.DRYING: _drying,
    Part.WASHED_DRYING: _washed_drying,
    Part.HISTORY: _history,
    Part.SIBLINGS: _siblings,
    Part.COMPETENCES: _competences,
    Part.REPLACED_ON: _replaced_on,
    Part.SHAKINGS: _shakings,
    Part.UNCHECKED: _unchecked,
}


def _settled_history(context: Context) -> Parts:
    """Give the history as of a moment ago; a run at work is no part of it."""
    sizes = tuple(each.aperture_um for each in context.standing)
    material = context.portion.sample.material_id
    key = (Part.HISTORY, context.procedure.procedure_id, material, sizes)
    return settled(key, lambda: _history(context))


def _settled_competences(context: Context) -> Parts:
    people = frozenset(person.pk for person in (*context.people, context.reviewer) if person)
    key = (Part.COMPETENCES, context.procedure.procedure_id, people)
    return settled(key, lambda: _competences(context))


#: For the page of a run at work, which asks after every reading: others' work is a moment old.
LOADERS_AT_WORK: Mapping[Part, Loader] = {
    **LOADERS,
    Part.HISTORY: _settled_history,
    Part.COMPETENCES: _settled_competences,
}

#: The same for all runs of one material by one procedure on the same sizes.
_SHARED = (Part.HISTORY, Part.COMPETENCES, Part.REPLACED_ON)


def sharing(runs: Iterable[Run], new_samples: Collection[int]) -> Mapping[Part, Loader]:
    """Give loaders that read once what many runs recorded elsewhere share.

    A new sample, given by its key, has no other determinations to be read.
    """
    samples = {run.portion.sample_id for run in runs} - set(new_samples)
    known: dict[Hashable, Parts] = {}

    def shared(part: Part) -> Loader:
        def load(context: Context) -> Parts:
            sizes = tuple(each.aperture_um for each in context.standing)
            material = context.portion.sample.material_id
            key = (part, context.procedure.pk, material, sizes)
            if key not in known:
                known[key] = LOADERS[part](context)
            return known[key]

        return load

    determined = cache(lambda: _determined(samples))

    def siblings(context: Context) -> Parts:
        is_new = context.portion.sample_id not in samples
        return {"siblings": () if is_new else _beside(context, determined())}

    return {**LOADERS, **{part: shared(part) for part in _SHARED}, Part.SIBLINGS: siblings}
