"""Nests: whether sieves stand together as a procedure asks, and whether a nest is fit for use."""

from __future__ import annotations

from collections import Counter as Tally
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from django.db.models import Prefetch, QuerySet

from gradation.models import (
    Laboratory,
    Nest,
    NestSieve,
    Procedure,
    ProcedureVersion,
    RunSieve,
    Sieve,
    VersionState,
)
from gradation.queries.due import places_taken, said_taken, unfit_reasons
from gradation.science.apertures import designation

__all__ = [
    "OUT_OF_ORDER",
    "NestState",
    "doubled_sizes",
    "frame_faults",
    "is_out_of_order",
    "missing_sizes",
    "nest_list",
    "nest_state",
    "nest_states",
    "nests_for",
    "order_faults",
    "other_frames",
    "strange_sieves",
]


def order_faults(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> list[str]:
    """Say how the sizes differ from those of the procedure, and whether their order does."""
    if is_out_of_order(sieves):
        return [OUT_OF_ORDER]
    missing = [designation(size) for size in missing_sizes(sieves, procedure)]
    strange = [str(sieve) for sieve in strange_sieves(sieves, procedure)]
    return [
        f"{label}: {', '.join(sizes)}."
        for label, sizes in (
            (f"{procedure} asks for sizes that are missing", missing),
            (f"{procedure} has no such size", strange),
            ("Two sieves of the same size", doubled_sizes(sieves)),
        )
        if sizes
    ]


OUT_OF_ORDER = "The sieves are out of order. The coarsest stands on top, the finest above the pan."


def is_out_of_order(sieves: Sequence[Sieve]) -> bool:
    """Say whether a coarser sieve stands below a finer one."""
    return any(lower.aperture_um > upper.aperture_um for upper, lower in pairwise(sieves))


def missing_sizes(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> list[Decimal]:
    """Give the sizes that the procedure asks for, leaving it no choice, and nobody placed."""
    given = {sieve.aperture_um for sieve in sieves}
    return [
        place.aperture_um
        for place in procedure.apertures.all()
        if not place.is_optional and place.aperture_um not in given
    ]


def strange_sieves(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> list[Sieve]:
    """Give the sieves whose size the procedure does not have."""
    wanted = {place.aperture_um for place in procedure.apertures.all()}
    return [sieve for sieve in sieves if sieve.aperture_um not in wanted]


def doubled_sizes(sieves: Sequence[Sieve]) -> list[str]:
    """Name the sizes of which two sieves are given."""
    given = Tally(sieve.aperture_um for sieve in sieves)
    return [designation(size) for size, n in given.items() if n > 1]


def frame_faults(sieves: Sequence[Sieve], procedure: ProcedureVersion | None = None) -> list[str]:
    """Say when the frames differ in diameter, or are not those the procedure asks for."""
    frames = {sieve.frame_diameter_mm for sieve in sieves}
    if len(frames) > 1:
        sizes = ", ".join(_mm(frame) for frame in sorted(frames))
        return [f"The frames differ ({sizes}): such sieves do not nest. Use one diameter."]
    return [] if procedure is None else list(other_frames(sieves, procedure))


def other_frames(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> Iterator[str]:
    """Say which frames are not of the diameter or height that a procedure asks for."""
    for words, name in (("diameter", "frame_diameter_mm"), ("height", "frame_height_mm")):
        asked = getattr(procedure, name)
        found = {getattr(sieve, name) for sieve in sieves} - {None, asked}
        if asked is not None and found:
            sizes = ", ".join(_mm(frame) for frame in sorted(found))
            yield f"{procedure} asks for frames of {_mm(asked)} {words}; these have {sizes}."


def _mm(size: Decimal) -> str:
    return f"{size.normalize():f} mm"


def nest_list() -> QuerySet[Nest]:
    """List the nests in use with their sieves and the sizes their procedure asks for."""
    released = ProcedureVersion.objects.filter(state=VersionState.RELEASED).prefetch_related(
        "apertures"
    )
    return (
        Nest.objects.filter(is_active=True)
        .select_related("procedure", "bench")
        .prefetch_related(
            Prefetch("places", NestSieve.objects.select_related("sieve")),
            Prefetch("procedure__versions", released, to_attr="released_versions"),
        )
    )


def nests_for(procedure: Procedure) -> QuerySet[Nest]:
    """List the nests built for a procedure."""
    return nest_list().filter(procedure=procedure)


@dataclass(frozen=True)
class NestState:
    """Whether a nest is fit for use today, and if not, why not."""

    nest: Nest
    reasons: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    """What is allowed by the laboratory's policies but will be noted with the run."""

    @property
    def is_fit(self) -> bool:
        """Say whether nothing stops its use."""
        return not self.reasons


def nest_state(nest: Nest, today: date) -> NestState:
    """Look at one nest from `nest_list`."""
    return nest_states([nest], today)[0]


def nest_states(nests: Iterable[Nest], today: date) -> list[NestState]:
    """Look at each sieve of each nest: in service, in date, free, of the right size and frame.

    The number of queries does not grow with the number of nests.
    """
    nests = list(nests)
    laboratory = Laboratory.objects.first()
    taken = places_taken(sieve for nest in nests for sieve in _sieves(nest))
    return [_state(nest, today, laboratory, taken) for nest in nests]


def _sieves(nest: Nest) -> list[Sieve]:
    return [place.sieve for place in nest.places.all()]


def _said_all_taken(places: Sequence[RunSieve]) -> list[str]:
    """Say which runs have sieves of a nest: once a run, however many they are."""
    by_run: dict[int, list[RunSieve]] = defaultdict(list)
    for place in places:
        by_run[place.run_id].append(place)
    return [said_taken(*together) for together in by_run.values()]


def _state(
    nest: Nest, today: date, laboratory: Laboratory | None, taken: dict[int, RunSieve]
) -> NestState:
    sieves = _sieves(nest)
    unfit = [reason for sieve in sieves for reason in unfit_reasons(sieve, today, laboratory)]
    reasons = [reason.text for reason in unfit if reason.blocks]
    reasons += _said_all_taken([taken[sieve.pk] for sieve in sieves if sieve.pk in taken])
    reasons += frame_faults(sieves)
    for version in getattr(nest.procedure, "released_versions", ()):
        reasons += [*order_faults(sieves, version), *other_frames(sieves, version)]
    warnings = [reason.text for reason in unfit if not reason.blocks]
    return NestState(nest, tuple(reasons), tuple(warnings))
