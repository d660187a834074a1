"""Checks of the shaking: shown to be complete, and done as the procedure says. 13 and 15."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import EndPointForm, Severity, Shaking
from gradation.queries.end_points import sieves_without_end_point
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.masses import warned
from gradation.queries.run_checks.rule import COMPLETE, WORKING, Limits, Rule, Seen
from gradation.queries.shakings import compared, plan_of

__all__ = ["RULES"]

_HOW = {
    EndPointForm.EXTRA_MINUTE: "Sieve each by hand for one more minute and weigh what passes.",
    EndPointForm.SUCCESSIVE: "Shake again and weigh the fractions again.",
}


def _end_point(context: Context, limits: Limits) -> Iterator[Seen]:
    for warning in warned(context, "end_point_not_reached"):
        advice = "Sieve on, or say why the result can stand."
        yield Seen(warning.sentence, advice, context.place_of(warning.aperture_um))
    if context.run is None or context.stage not in COMPLETE:
        return
    open_places = set(sieves_without_end_point(context.run, context.run.weighings.all()))
    missing = [each for each in context.standing if each.position in open_places]
    if missing:
        sizes = ", ".join(each.size for each in missing)
        form = EndPointForm(context.procedure.end_point_form)
        yield Seen(
            f"The end point is not shown at {sizes}; {context.procedure} asks for it: {form}.",
            _HOW.get(form, ""),
            missing[0].place,
        )


def _settings(context: Context, limits: Limits) -> Iterator[Seen]:
    """Compare each shaking with the plan; what was noted when it was made is its reason."""
    if plan_of(context.procedure).is_open:
        return
    if not context.shakings and context.stage in COMPLETE:
        yield from _unrecorded(context)
    for shaking in context.shakings:
        found = compared(context.procedure, shaking)
        if found.comparable is True:
            continue
        is_told = found.comparable is None or bool(shaking.note)
        note = f" Noted: {shaking.note}" if shaking.note else ""
        yield Seen(
            f"Shaking {shaking.number}: {' '.join(found.reasons)}{note}",
            "Correct it, or say why it was shaken so.",
            "shaking",
            at_most=Severity.NOTE if is_told else Severity.STOP,
        )


def _unrecorded(context: Context) -> Iterator[Seen]:
    """Say that no shaking was recorded, or that the minutes told are not those of the plan."""
    minutes = context.run.shaking_minutes if context.run else None
    if minutes is None:
        said = f"No shaking is recorded; {context.procedure} says how the nest is to be shaken."
        yield Seen(said, "Record how it was shaken.", "shaking", at_most=Severity.NOTE)
        return
    found = compared(context.procedure, Shaking(number=1, minutes=minutes))
    if found.comparable is False:
        yield Seen(f"Shaken: {' '.join(found.reasons)}", "Say why it was shaken so.", "shaking")


RULES: tuple[Rule, ...] = (
    Rule(
        number=13,
        code="end-point-not-shown",
        title="End point not shown",
        looks_at=(
            "What still passed each sieve in the extra minute, or changed in the last shaking, "
            "against the procedure's limit; that it was looked at where the procedure asks."
        ),
        stages=WORKING,
        check=_end_point,
    ),
    Rule(
        number=15,
        code="shaking-differs",
        title="Time or setting differs from the procedure",
        looks_at=(
            "Drive, acceleration, interval and time of each shaking against the procedure, within "
            "its tolerance. One with its deviation note is noted."
        ),
        stages=WORKING,
        check=_settings,
        needs=frozenset({Part.SHAKINGS}),
    ),
)
