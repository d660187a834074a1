"""Checks of the figures: determinations that agree, figures that can be determined. 18 and 22."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import Severity
from gradation.queries.determinations import disagreements, figures_of
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import COMPLETE, Limits, Rule, Seen
from gradation.science.envelopes import LineKind
from gradation.science.worksheet_output import as_json

__all__ = ["RULES"]


def _duplicate(context: Context, limits: Limits) -> Iterator[Seen]:
    evaluation = context.evaluation
    if evaluation is None or not evaluation.is_complete or not context.siblings:
        return
    values = [*context.siblings, as_json(evaluation)]
    figures = [figures_of(each, context.procedure) for each in values]
    apart = disagreements(figures, context.procedure)
    if not apart:
        return
    worst = max(apart, key=lambda each: each.spread / each.limit)
    yield Seen(
        f"{len(figures)} determinations of sample {context.portion.sample} differ by "
        f"{worst.spread:.3g} at {worst.name}; {context.procedure} allows {worst.limit:.3g}.",
        "Look for what differed between them; make a further determination as the procedure says.",
        "run",
    )


def _undetermined(context: Context, limits: Limits) -> Iterator[Seen]:
    evaluation = context.evaluation
    if evaluation is None or not evaluation.is_complete:
        return
    asked = {
        line.characteristic
        for line in (context.specification.lines.all() if context.specification else ())
        if line.kind == LineKind.CHARACTERISTIC
    } | {context.procedure.repeatability_of}
    for each in evaluation.characteristics:
        if each.name in asked and each.value is None:
            words = each.name.replace("_", " ")
            yield Seen(
                f"The {words} is asked for and cannot be determined. {each.reason}",
                "It is reported so and never guessed; add the sieve that is missing and repeat.",
                "run",
            )


RULES = (
    Rule(
        number=18,
        code="not-repeatable",
        title="Determinations outside repeatability",
        looks_at=(
            "The determinations of a sample against the procedure's repeatability, at each sieve "
            "or for the figure it names."
        ),
        stages=COMPLETE,
        check=_duplicate,
        needs=frozenset({Part.SIBLINGS}),
    ),
    Rule(
        number=22,
        code="not-determinable",
        title="Figure not determinable",
        looks_at=(
            "Characteristic values that specification or procedure ask for and these sieves cannot "
            "give."
        ),
        stages=COMPLETE,
        check=_undetermined,
        severity=Severity.NOTE,
    ),
)
