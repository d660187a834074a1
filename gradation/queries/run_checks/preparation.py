"""Checks of the portion: dry, and of the right mass. Numbers 6 and 7."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import Severity, Weighing
from gradation.queries.portion_mass import portion_band
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import WORKING, Limits, Rule, Seen, place_name

__all__ = ["RULES"]

Slot = Weighing.Slot
_DRY_MASS = place_name(Slot.DRY_MASS)


def _drying(context: Context, limits: Limits) -> Iterator[Seen]:
    advice = (
        "Moist fines clump and make the curve look too coarse: dry on, or say why it is sieved."
    )
    if context.drying is not None and not context.drying.is_constant:
        yield Seen(context.drying.sentence, advice, _DRY_MASS)
    washed = context.washed_drying
    if washed is not None and not washed.is_constant:
        yield Seen(washed.sentence, advice, place_name(Slot.WASHED_DRY_MASS))


def _band(context: Context, limits: Limits) -> Iterator[Seen]:
    dry_g = context.mass_g(Slot.DRY_MASS)
    band = portion_band(context.procedure, None)
    if dry_g is not None and not band.is_open and band.is_outside(dry_g):
        yield Seen(
            f"Portion of {band.judged(dry_g)}",
            "Say why this portion was sieved all the same.",
            _DRY_MASS,
        )
    for warning in context.evaluation.warnings if context.evaluation else ():
        if warning.code == "portion_too_small":
            yield Seen(warning.sentence, "Say why this portion was sieved.", _DRY_MASS)
        if warning.code == "portion_not_determinable":
            advice = "Agree the portion's mass with the customer."
            yield Seen(warning.sentence, advice, _DRY_MASS, at_most=Severity.NOTE)


RULES = (
    Rule(
        number=6,
        code="not-constant-mass",
        title="Not dried to constant mass",
        looks_at=(
            "The weighings in the oven, of the portion and of what was left after washing, where "
            "the procedure asks for constant mass."
        ),
        stages=WORKING,
        check=_drying,
        needs=frozenset({Part.DRYING, Part.WASHED_DRYING}),
    ),
    Rule(
        number=7,
        code="portion-outside-band",
        title="Portion outside its mass band",
        looks_at=(
            "The dry mass against the procedure's band, and against its table for the size of the "
            "material once that is known."
        ),
        stages=WORKING,
        check=_band,
    ),
)
