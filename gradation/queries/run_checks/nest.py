"""Checks of the nest: sizes, frames, order, completeness. Numbers 2, 3, 4 and 5."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from gradation.models import Severity, Stage
from gradation.queries.nests import (
    OUT_OF_ORDER,
    doubled_sizes,
    frame_faults,
    is_out_of_order,
    missing_sizes,
    strange_sieves,
)
from gradation.queries.run_checks.context import Context
from gradation.queries.run_checks.rule import OPENING, Limits, Rule, Seen
from gradation.science.apertures import designation

__all__ = ["RULES"]

_BUILD_AGAIN = "Put the nest together as the procedure lists it, and scan it again."


def _wrong(context: Context, limits: Limits) -> Iterator[Seen]:
    sieves = [each.sieve for each in context.standing]
    wanted = _specified_um(context) | {
        each.aperture_um for each in context.standing if each.is_relief
    }
    strange = [
        str(sieve)
        for sieve in strange_sieves(sieves, context.procedure)
        if sieve.aperture_um not in wanted
    ]
    said = [f"{context.procedure} has no such size: {', '.join(strange)}."] if strange else []
    said += frame_faults(sieves, context.procedure)
    shapes = sorted({sieve.shape for sieve in sieves})
    if len(shapes) > 1:
        said.append(f"The openings differ in shape ({', '.join(shapes)}) within one nest.")
    for sentence in said:
        yield Seen(sentence, _BUILD_AGAIN, field="sieves")
    yield from _series(context)


def _series(context: Context) -> Iterator[Seen]:
    """Name the series when sieves of two stand in one nest: their names and sizes differ."""
    bodies = sorted({each.sieve.standard.split(" ")[0] for each in context.standing} - {""})
    if len(bodies) > 1:
        yield Seen(
            f"Sieves of two series stand in one nest ({', '.join(bodies)}).",
            "Compare each plate with the size that the procedure asks for.",
            field="sieves",
            at_most=Severity.NOTE,
        )


def _specified_um(context: Context) -> set[Decimal]:
    """Give the sizes that the specification limits on a sieve [µm]."""
    if context.specification is None:
        return set()
    ends = [
        size
        for line in context.specification.lines.all()
        for size in (line.aperture_um, line.finer_aperture_um)
    ]
    return {size for size in ends if size}


def _order(context: Context, limits: Limits) -> Iterator[Seen]:
    sieves = [each.sieve for each in context.standing]
    if is_out_of_order(sieves):
        yield Seen(OUT_OF_ORDER, "Scan the nest again from the top down.", field="sieves")
    if doubled := doubled_sizes(sieves):
        said = f"Two sieves of the same size: {', '.join(doubled)}."
        yield Seen(said, _BUILD_AGAIN, field="sieves")


def _missing(context: Context, limits: Limits) -> Iterator[Seen]:
    missing = missing_sizes([each.sieve for each in context.standing], context.procedure)
    if missing:
        sizes = ", ".join(designation(size) for size in missing)
        said = f"{context.procedure} asks for sizes that are missing: {sizes}."
        yield Seen(said, _BUILD_AGAIN, field="sieves")
    yield from _missing_limits(context, missing)


def _missing_limits(context: Context, told: list[Decimal]) -> Iterator[Seen]:
    """Name the sizes that have a limit and no sieve."""
    given = {each.aperture_um for each in context.standing}
    missing = sorted(_specified_um(context) - given - set(told), reverse=True)
    version = context.specification
    if not missing or version is None:
        return
    sizes = ", ".join(designation(size) for size in missing)
    if version.interpolate_missing:
        tail = "its limit will be read between the neighbouring sieves, as the specification allows"
    else:
        tail = "its limit will not be tested"
    yield Seen(
        f"{version} has a limit at {sizes} and no such sieve stands in the nest; {tail}.",
        "Add the sieve, or say why it is left out.",
        field="sieves",
        at_most=Severity.NOTE if version.interpolate_missing else Severity.STOP,
    )


def _pan(context: Context, limits: Limits) -> Iterator[Seen]:
    if context.has_pan:
        return
    if context.is_opening:
        yield Seen(
            "No pan stands below the nest.",
            "Put the pan below and the lid on top: what passes the finest sieve is weighed too.",
            field="no_pan",
        )
    else:
        yield Seen("The pan was not weighed.", "Weigh it, or enter 0 when it is empty.", "pan-0")


RULES = (
    Rule(
        number=2,
        code="wrong-sieve",
        title="Wrong size, series or frame",
        looks_at=(
            "Each sieve's size against procedure and specification, one frame diameter, one shape "
            "of opening. Two series in one nest are noted. A sieve put in "
            "against overload may have any size."
        ),
        stages=OPENING,
        check=_wrong,
        severity=Severity.STOP,
        is_deviation=True,
    ),
    Rule(
        number=3,
        code="order-not-descending",
        title="Order not descending",
        looks_at="The order in which the sieves were scanned: coarsest first, one of each size.",
        stages=OPENING,
        check=_order,
        severity=Severity.STOP,
        override=None,
        fixed_because="Nothing can be computed from sieves out of order, or two of one size.",
    ),
    Rule(
        number=4,
        code="sieve-missing",
        title="Sieve of procedure or specification missing",
        looks_at=(
            "The sizes that the procedure asks for, and those at which the specification has a "
            "limit. Where the specification allows reading between sieves, it is noted."
        ),
        stages=OPENING,
        check=_missing,
        severity=Severity.STOP,
        is_deviation=True,
    ),
    Rule(
        number=5,
        code="pan-missing",
        title="Pan missing",
        looks_at="The pan below the nest when the run is opened, and that it was weighed.",
        stages=OPENING | frozenset({Stage.HAND_OVER, Stage.REVIEW}),
        check=_pan,
        severity=Severity.STOP,
        override=None,
        fixed_because="Without the pan there is no mass balance.",
    ),
)
