"""Check of the versions of procedure and specification on the day of the test. Number 20."""

from __future__ import annotations

from collections.abc import Iterator

from gradation.models import Stage, VersionState
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import Limits, Rule, Seen

__all__ = ["RULES"]

_ADVICE = "Have the sample moved to the version in force with the customer's word, or say why not."


def _valid(context: Context, limits: Limits) -> Iterator[Seen]:
    yield from _procedure(context)
    yield from _specification(context)


def _procedure(context: Context) -> Iterator[Seen]:
    version = context.procedure
    if context.replaced_on is not None and context.replaced_on[1] <= context.day:
        newer, since = context.replaced_on
        said = f"{version} was replaced by {newer} on {since:%d %b %Y}."
    elif version.state == VersionState.RETIRED and context.replaced_on is None:
        said = f"{version} is retired."
    elif version.released_at is None:
        said = f"{version} was never released."
    elif (begins := version.released_at.astimezone(context.zone).date()) > context.day:
        said = f"{version} was released on {begins:%d %b %Y}, after the day of the test."
    else:
        return
    yield Seen(said, _ADVICE, "run", field="bench")


def _specification(context: Context) -> Iterator[Seen]:
    version = context.specification
    if version is None:
        return
    ends = version.effective_to
    if version.effective_from > context.day:
        said = f"{version} is valid from {version.effective_from:%d %b %Y}"
    elif ends is not None and ends < context.day:
        said = f"{version} was valid until {ends:%d %b %Y}"
    else:
        return
    said = f"{said}; the day of the test is {context.day:%d %b %Y}."
    yield Seen(said, _ADVICE, "run", field="bench")


RULES = (
    Rule(
        number=20,
        code="version-not-valid",
        title="Version not valid on the day of the test",
        looks_at=(
            "Whether the procedure was replaced, and whether the specification was valid, on the "
            "day the run was opened."
        ),
        stages=frozenset({Stage.OPENING, Stage.REVIEW}),
        check=_valid,
        needs=frozenset({Part.REPLACED_ON}),
        is_deviation=True,
    ),
)
