"""Blends of stockpiles: from curves and a specification to the calculation, and what it found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import numpy as np
from django.db.models import QuerySet

from gradation.errors import Fault, Invalid, NotFound
from gradation.models import BlendRecord, SpecificationVersion, User
from gradation.queries.blend_limits import BlendLimitsPct, limits_of
from gradation.queries.comparisons import specification_choices
from gradation.queries.curve_picks import Pick
from gradation.queries.curves import PickedCurve, picked_curves
from gradation.science.apertures import designation
from gradation.science.blend import Nearness, blend_passing
from gradation.science.blend_lines import shares_on_step
from gradation.science.computing import compute
from gradation.science.errors import GradationError
from gradation.science.rounding import round_reported
from gradation.science.side_by_side import SideBySide, side_by_side
from gradation.science.worksheet import WorksheetFaults

__all__ = [
    "MOST_PILES",
    "BlendAsked",
    "BlendOutcome",
    "PileAsked",
    "blend_list",
    "find_blend",
    "work_out",
]

MOST_PILES = 8
#: Decimals of the frozen percentages: far below any weighing, and short enough to be typed again.
FROZEN_DECIMALS = 4
SHARE_STEP_PCT = Decimal("0.1")
HUNDRED = Decimal(100)


@dataclass(frozen=True)
class PileAsked:
    """One stockpile: the curve that stands for it, and the bounds of its share [%]."""

    pick: Pick
    share_min_pct: Decimal = Decimal(0)
    share_max_pct: Decimal = HUNDRED


@dataclass(frozen=True)
class BlendAsked:
    """What is to be blended, against which limits, towards which target."""

    piles: tuple[PileAsked, ...]
    specification: int | None = None
    aims_at_target: bool = False
    """Nearest to the target instead of the largest margin."""
    nearness: Nearness = Nearness.LEAST_SQUARES
    target: Pick | None = None
    """A run or sample to come near to; the specification's own targets unless given."""
    leaves_out: bool = False
    """Whether lines that a stockpile was not sieved for are left out instead of refused."""


@dataclass(frozen=True)
class BlendOutcome:
    """A blend worked out: what was asked of the calculation, and what it answered."""

    asked: BlendAsked
    specification: SpecificationVersion | None
    piles: tuple[PickedCurve, ...]
    request: dict[str, Any]
    """Exactly what `compute` takes, so that anybody can compute it again."""
    values: dict[str, Any]
    sources: list[dict[str, Any]] = field(default_factory=list)


def work_out(actor: User, asked: BlendAsked) -> BlendOutcome:
    """Search for the shares of a blend; nothing is kept.

    Refuses (`Invalid`), each beside its field: fewer than two stockpiles, one without results or
    named twice, bounds that cannot be or cannot add to 100 %, no limits and no target, and sieves
    that a stockpile does not know.
    """
    work = _Work(actor, asked)
    piles = work.curves()
    limits = work.limits()
    work.check_shares()
    work.stop_at_faults()
    limits, table = work.on_limits(piles, limits)
    work.stop_at_faults()
    request = _request(work, piles, limits, table)
    values = _answers(request, has_limits=limits.has_limits)
    values |= {
        "curve": _blend_curve(piles, values["outcome"]),
        "shown_shares_pct": _shown_shares(values["outcome"]),
        "left_out": [*limits.not_searched, *work.left_out],
    }
    sources = [_source(pile, share) for pile, share in zip(piles, asked.piles, strict=True)]
    return BlendOutcome(asked, work.specification, tuple(piles), request, values, sources)


class _Work:
    """One search as far as it has come, with every fault found on the way."""

    def __init__(self, actor: User, asked: BlendAsked) -> None:
        self.actor, self.asked = actor, asked
        self.faults: list[Fault] = []
        self.left_out: list[str] = []
        self.specification: SpecificationVersion | None = None

    def fault(self, place: str, sentence: str, code: str = "invalid") -> None:
        self.faults.append(Fault(place, sentence, code))

    def stop_at_faults(self) -> None:
        if self.faults:
            raise Invalid(self.faults)

    def curves(self) -> list[PickedCurve]:
        """Give the stockpiles' curves; one without results is a fault beside it."""
        piles = self.asked.piles
        if len(piles) < 2:
            self.fault("stockpiles", "A blend needs at least two stockpiles.", "too-few")
        if len(piles) > MOST_PILES:
            msg = f"A blend takes at most {MOST_PILES} stockpiles."
            self.fault("stockpiles", msg, "too-many")
            self.stop_at_faults()
        found: list[PickedCurve] = []
        for place, each in enumerate(picked_curves(self.actor, [p.pick for p in piles])):
            if isinstance(each, Invalid):
                self.fault(f"stockpiles/{place}/curve", each.message, each.faults[0].code)
            elif each.label in {curve.label for curve in found}:
                msg = f"{each.label} is a stockpile already. Give it one line and one share."
                self.fault(f"stockpiles/{place}/curve", msg, "twice")
            else:
                found.append(each)
        return found

    def limits(self) -> BlendLimitsPct:
        """Give the limits and the target of the search."""
        self.specification = self._specification()
        limits = limits_of(self.specification, aims_at_target=self.asked.aims_at_target)
        if self.asked.aims_at_target and self.asked.target is not None:
            (target,) = picked_curves(self.actor, [self.asked.target])
            if isinstance(target, Invalid):
                self.fault("target", target.message, "no-result")
            else:
                return limits.with_target(target)
        self._refuse_nothing_to_meet(limits)
        return limits

    def _specification(self) -> SpecificationVersion | None:
        key = self.asked.specification
        found = None if key is None else specification_choices().filter(pk=key).first()
        if key is not None and found is None:
            msg = "There is no such specification. Choose one of the list."
            self.fault("specification", msg, "unknown-specification")
        return found

    def _refuse_nothing_to_meet(self, limits: BlendLimitsPct) -> None:
        if self.faults:
            return
        named = self.specification or "Nothing"
        if self.asked.aims_at_target and not limits.has_target:
            msg = f"{named} states no target. Give a run or sample to come near to."
            self.fault("target", msg, "no-target")
        elif not self.asked.aims_at_target and self.specification is None:
            msg = "Choose the specification that the blend is to meet."
            self.fault("specification", msg, "required")
        elif not self.asked.aims_at_target and not limits.has_limits:
            msg = f"{named} limits no percentage passing or retained, so no share follows from it."
            self.fault("specification", msg, "no-limits")

    def check_shares(self) -> None:
        """Note bounds that cannot be, and bounds that cannot add to 100 %."""
        crossed = False
        for place, pile in enumerate(self.asked.piles):
            if not 0 <= pile.share_min_pct <= pile.share_max_pct <= HUNDRED:
                crossed = True
                msg = "The least share must not exceed the largest, both from 0 to 100 %."
                self.fault(f"stockpiles/{place}/share_min_pct", msg, "crossed")
        least = sum((pile.share_min_pct for pile in self.asked.piles), Decimal(0))
        most = sum((pile.share_max_pct for pile in self.asked.piles), Decimal(0))
        if crossed or not self.asked.piles:
            return
        if least > HUNDRED:
            msg = f"The least shares add to {least:f} %, more than 100 %. Lower some of them."
            self.fault("stockpiles", msg, "shares-too-large")
        elif most < HUNDRED:
            msg = f"The largest shares add to {most:f} %, less than 100 %. Raise some of them."
            self.fault("stockpiles", msg, "shares-too-small")

    def on_limits(
        self, piles: Sequence[PickedCurve], limits: BlendLimitsPct
    ) -> tuple[BlendLimitsPct, SideBySide]:
        """Put the stockpiles on the sieves of the limits; what one does not know is a fault."""
        unknown = [_unknown_um(pile, limits.apertures_um) for pile in piles]
        if self.asked.leaves_out and any(unknown):
            gone = {um for each in unknown for um in each}
            self.left_out += _not_sieved(piles, unknown)
            limits = limits.without(gone)
        elif any(unknown):
            for place, (pile, sizes) in enumerate(zip(piles, unknown, strict=True)):
                if sizes:
                    self.fault(f"stockpiles/{place}/curve", _unknown_words(pile, sizes), "sieves")
        if not limits.apertures_um:
            msg = "The stockpiles were sieved on none of the sizes that are limited."
            self.fault("specification", msg, "no-common-sieve")
        return limits, side_by_side([pile.group for pile in piles], limits.apertures_um)


def _unknown_um(pile: PickedCurve, wanted_um: Sequence[float]) -> list[float]:
    if not wanted_um:
        return []
    shares = pile.group.at(np.array(wanted_um))[0]
    return [um for um, share in zip(wanted_um, shares, strict=True) if not np.isfinite(share)]


def _unknown_words(pile: PickedCurve, sizes_um: Sequence[float]) -> str:
    names = ", ".join(designation(um) for um in sizes_um)
    coarse, fine = pile.group.apertures_um[0], pile.group.apertures_um[-1]
    return (
        f"{pile.label} has no passing at {names}: it was sieved from {designation(coarse)} to "
        f"{designation(fine)}. Choose a run on these sieves, or leave such lines out."
    )


def _not_sieved(piles: Sequence[PickedCurve], unknown: Sequence[list[float]]) -> Iterator[str]:
    for pile, sizes in zip(piles, unknown, strict=True):
        if sizes:
            names = ", ".join(designation(um) for um in sizes)
            yield f"{names}: {pile.label} was not sieved for it"


def _request(
    work: _Work, piles: Sequence[PickedCurve], limits: BlendLimitsPct, table: SideBySide
) -> dict[str, Any]:
    asked = work.asked
    places = [table.apertures_um.index(um) for um in limits.apertures_um]
    request: dict[str, Any] = {
        "calculation": "blend",
        "goal": "target" if asked.aims_at_target else "margin",
        "apertures_um": [_number(um) for um in limits.apertures_um],
        "stockpiles": [
            {
                "name": pile.label,
                "passing_pct": [_frozen(row[place]) for place in places],
                "share_min_pct": f"{bounds.share_min_pct:f}",
                "share_max_pct": f"{bounds.share_max_pct:f}",
            }
            for pile, row, bounds in zip(piles, table.passing, asked.piles, strict=True)
        ],
    }
    if limits.has_limits:
        request |= {"lower_pct": limits.texts("lower"), "upper_pct": limits.texts("upper")}
    if asked.aims_at_target:
        request |= {"target_pct": limits.texts("target"), "nearness": asked.nearness.value}
    return request


def _number(aperture_um: float) -> int | float:
    return int(aperture_um) if aperture_um == int(aperture_um) else aperture_um


def _frozen(share: float) -> str:
    return f"{round_reported(100 * share, FROZEN_DECIMALS):f}"


def _answers(request: dict[str, Any], *, has_limits: bool) -> dict[str, Any]:
    try:
        found = {"outcome": compute(request), "ranges": None}
        if has_limits:
            found["ranges"] = compute({**_ranged(request), "goal": "range"})
    except WorksheetFaults as error:
        raise Invalid(Fault(each.path, each.message) for each in error.faults) from error
    except GradationError as error:
        raise Invalid.one("stockpiles", str(error), code="cannot-compute") from error
    return found


def _ranged(request: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in request.items() if key not in {"target_pct", "nearness"}}


def _blend_curve(piles: Sequence[PickedCurve], outcome: dict[str, Any]) -> list[list[float]]:
    """Give the whole curve of the blend: every sieve that all stockpiles know."""
    if not outcome["exists"]:
        return []
    shares = [each["share_pct"] / 100 for each in outcome["shares_pct"]]
    table = side_by_side([pile.group for pile in piles])
    is_known = np.isfinite(table.passing).all(axis=0)
    blend = blend_passing(table.passing[:, is_known], shares)
    sizes = np.array(table.apertures_um)[is_known]
    return [
        [_number(um), float(_frozen(share))]
        for um, share in zip(sizes.tolist(), blend, strict=True)
    ]


def _shown_shares(outcome: dict[str, Any]) -> list[str]:
    """Give the shares to a tenth of a percent so that they add to 100."""
    if not outcome["exists"]:
        return []
    shares = [each["share_pct"] / 100 for each in outcome["shares_pct"]]
    return [f"{share:f}" for share in shares_on_step(shares, SHARE_STEP_PCT)]


def _source(pile: PickedCurve, asked: PileAsked) -> dict[str, Any]:
    """Say where a stockpile's curve came from, with the curve itself."""
    return {
        "name": pile.label,
        "detail": pile.detail,
        "curve": asked.pick.token,
        "runs": list(pile.runs),
        "count": pile.count,
        "inputs_digests": list(pile.digests),
        "notes": list(pile.notes),
        "apertures_um": [_number(um) for um in pile.group.apertures_um],
        "passing_pct": [_frozen(share) for share in pile.passing],
    }


def blend_list() -> QuerySet[BlendRecord]:
    """List the blends kept, the newest first."""
    return BlendRecord.objects.select_related("specification_version__specification", "computed_by")


def find_blend(number: str) -> BlendRecord:
    """Give one blend by its number, or `NotFound`."""
    record = blend_list().filter(number__iexact=number).first()
    if record is None:
        msg = f"There is no blend {number}. Look it up in the list of blends."
        raise NotFound(msg)
    return record
