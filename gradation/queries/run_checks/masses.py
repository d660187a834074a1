"""Checks of the masses: wash, cumulative, load of each sieve, loss. Numbers 8, 11, 12 and 14."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import Severity, Weighing
from gradation.queries.run_checks.context import Context
from gradation.queries.run_checks.rule import WORKING, Limits, Rule, Seen, place_name
from gradation.science.worksheet_checks import WorksheetWarning
from gradation.science.worksheet_form import Entry

__all__ = ["RULES", "warned"]

Slot = Weighing.Slot


def warned(context: Context, *codes: str) -> Iterator[WorksheetWarning]:
    """Give the calculation's warnings of these kinds."""
    for warning in context.evaluation.warnings if context.evaluation else ():
        if warning.code in codes:
            yield warning


def _washing(context: Context, limits: Limits) -> Iterator[Seen]:
    before_g, after_g = context.mass_g(Slot.DRY_MASS), context.mass_g(Slot.WASHED_DRY_MASS)
    if before_g is not None and after_g is not None and after_g > before_g:
        yield Seen(
            f"After washing {after_g} g, before only {before_g} g.",
            "Material cannot be gained by washing: check both masses and that it was dry.",
            place_name(Slot.WASHED_DRY_MASS),
        )


def _cumulative(context: Context, limits: Limits) -> Iterator[Seen]:
    for row in context.weighings:
        if row.mass_g < 0:
            said = f"A mass of {row.mass_as_entered} g: less than nothing lies on no sieve."
            advice = "Look at gross and tare, and which sieve was weighed."
            yield Seen(said, advice, place_name(row.slot, row.position))
    if context.procedure.entry == Entry.CUMULATIVE:
        yield from _falling(context)
    for warning in warned(context, "more_than_whole"):
        yield Seen(
            warning.sentence,
            "Find the mass that is wrong and correct it.",
            place_name(Slot.DRY_MASS),
            at_most=Severity.REASON,
        )


def _falling(context: Context) -> Iterator[Seen]:
    above, above_g = None, None
    for each in context.standing:
        mass_g = context.mass_g(Slot.FRACTION, each.position)
        if mass_g is None:
            return
        if above is not None and above_g is not None and mass_g < above_g:
            yield Seen(
                f"{each.size} has {mass_g} g in all, {above.size} above it already {above_g} g.",
                "Cumulative masses only grow downwards: look whether two rows are exchanged, or "
                "single fractions were entered.",
                each.place,
            )
        above, above_g = each, mass_g
        if context.at(Slot.SPLIT_PASSING, each.position):
            above, above_g = None, None  # the reduced part is weighed from zero again


def _overload(context: Context, limits: Limits) -> Iterator[Seen]:
    for warning in warned(context, "overloaded"):
        advice = "Say what was done, or why the result can stand."
        yield Seen(warning.sentence, advice, context.place_of(warning.aperture_um))
    for warning in warned(context, "overload_not_determinable"):
        advice = "Ask the quality manager for the limit of this frame."
        place = context.place_of(warning.aperture_um)
        yield Seen(warning.sentence, advice, place, at_most=Severity.NOTE)


def _loss(context: Context, limits: Limits) -> Iterator[Seen]:
    for warning in warned(context, "loss_exceeded", "gain_exceeded"):
        advice = "Say what explains it, or repeat the test; no mass is made to fit."
        yield Seen(warning.sentence, advice, place_name(Slot.PAN))


RULES = (
    Rule(
        number=8,
        code="gained-by-washing",
        title="After washing heavier than before",
        looks_at=(
            "The dry mass after washing against the one before. A reading at the bench is refused "
            "at once; this finds what came in another way."
        ),
        stages=WORKING,
        check=_washing,
        severity=Severity.STOP,
    ),
    Rule(
        number=11,
        code="cumulative-falls",
        title="Negative or falling cumulative mass",
        looks_at=(
            "Masses below zero; where masses are entered cumulatively, that none is less than the "
            "one above; that the sieves hold no more than the portion."
        ),
        stages=WORKING,
        check=_cumulative,
        severity=Severity.STOP,
        override=None,
        fixed_because="Nothing can be computed from cumulative masses that fall.",
    ),
    Rule(
        number=12,
        code="sieve-overloaded",
        title="Sieve overloaded",
        looks_at="The heaviest load of each sieve against the procedure's loading rule.",
        stages=WORKING,
        check=_overload,
    ),
    Rule(
        number=14,
        code="loss-over-limit",
        title="Loss or gain over the limit",
        looks_at="The sum of all fractions against the dry mass, by the procedure's limit.",
        stages=WORKING,
        check=_loss,
    ),
)
