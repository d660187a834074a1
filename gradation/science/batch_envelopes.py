"""Verdicts of an envelope over many runs, the same as `envelopes.assess` gives one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from operator import ge, gt, le, lt

import numpy as np
import numpy.typing as npt

from gradation.science.decisions import Rule
from gradation.science.envelopes import (
    AssessmentRule,
    EnvelopeLine,
    LineKind,
    MissingAperture,
    Outcome,
    check_line,
    compared_figure,
)
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.gradation import Gradation
from gradation.science.interpolation import BoolArray, FloatArray
from gradation.science.percentiles import passing_at_size

# No percentage lies outside; a characteristic value may be any number a person would write.
_PERCENTAGES = (-1.0, 101.0)
_ANY_NUMBER = (-1e12, 1e12)


@dataclass(frozen=True, slots=True)
class InsideSpan:
    """The unrounded numbers of one line that are inside, both ends included."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class EnvelopeVerdicts:
    """What every line of a specification found in every run."""

    is_inside: BoolArray
    """(..., l) whether the run keeps the limits of the line; false where not tested."""
    is_tested: BoolArray
    """(..., l) whether there was a figure to compare."""

    @property
    def outcomes(self) -> npt.NDArray[np.object_]:
        """(...) the `Outcome` of every run."""
        is_broken = (self.is_tested & ~self.is_inside).any(axis=-1)
        is_open = ~self.is_tested.all(axis=-1)
        if self.is_tested.shape[-1] == 0:
            is_open = np.ones_like(is_open)
        kinds = np.empty(3, dtype=object)
        kinds[:] = [Outcome.CONFORMS, Outcome.NOT_DETERMINED, Outcome.DOES_NOT_CONFORM]
        codes = np.where(is_broken, 2, is_open.astype(np.intp))
        found = np.empty(codes.shape, dtype=object)
        found[...] = kinds[codes]
        return found


@lru_cache(maxsize=1024)
def inside_span(line: EnvelopeLine, rule: AssessmentRule) -> InsideSpan:
    """Give the unrounded numbers that a line accepts.

    Parameters
    ----------
    line : EnvelopeLine
        Limits [%], or in the unit of the characteristic value.
    rule : AssessmentRule
        Rounded or unrounded comparison, and rounding.

    Returns
    -------
    InsideSpan
        In terms of the number that `envelopes.compared_figure` takes; infinite where a limit
        is missing or cannot be broken, and empty (least above most) where nothing is inside.

    Raises
    ------
    OutOfRange
        When the line cannot be compared.
    NotDeterminable
        When the decision rule asks for the uncertainty of every run.

    Notes
    -----
    Rounding never changes the order of two numbers, so what is inside is one span. Its ends
    are found by halving between two neighbouring doubles with the very comparison a single
    run goes through: a batch cannot decide differently, not even on a tie.

    References
    ----------
    ASTM E29, 4-7 (from memory), as in `envelopes`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> line = EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5))
    >>> round(inside_span(line, AssessmentRule()).most, 6)
    5.5
    """
    check_line(line)
    if rule.decision.rule is not Rule.PLAIN:
        raise NotDeterminable(
            "Many runs at once are judged by plain acceptance. A rule that takes uncertainty into "
            "account is applied run by run."
        )
    low, high = line.limits()
    above, below = (ge, le) if line.is_inclusive else (gt, lt)
    ends = _ANY_NUMBER if line.kind is LineKind.CHARACTERISTIC else _PERCENTAGES

    def keeps(limit: Decimal, holds: Callable[[Decimal, Decimal], bool]) -> _Test:
        return lambda number: holds(compared_figure(line, number, rule), limit)

    is_falling = line.kind is LineKind.RETAINED
    if is_falling:
        low, high, above, below = high, low, below, above
    return InsideSpan(
        -np.inf if low is None else _first(keeps(low, above), *ends),
        np.inf if high is None else -_first(_mirrored(keeps(high, below)), -ends[1], -ends[0]),
    )


_Test = Callable[[float], bool]


def _mirrored(test: _Test) -> _Test:
    """The test of a number with its sign changed."""
    return lambda number: test(-number)


def _first(test: _Test, start: float, end: float) -> float:
    """The smallest double from which a test holds; infinite when it always or never does."""
    if test(start):
        return -np.inf
    if not test(end):
        return np.inf
    while True:
        middle = 0.5 * (start + end)
        if not start < middle < end:
            return end
        if test(middle):
            end = middle
        else:
            start = middle


def assess_many(
    gradation: Gradation,
    lines: Sequence[EnvelopeLine],
    rule: AssessmentRule | None = None,
    characteristics: Mapping[str, FloatArray] | None = None,
) -> EnvelopeVerdicts:
    """Give the verdict of every line of a specification on many runs.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    lines : sequence of EnvelopeLine
        Limits [%], or in the unit of the characteristic value.
    rule : AssessmentRule, optional
        Missing apertures, interpolation, rounded or unrounded comparison, rounding.
    characteristics : mapping, optional
        Characteristic values (...) by name; NaN where not determinable.

    Returns
    -------
    EnvelopeVerdicts
        Arrays (..., l) in the order of the lines.

    Raises
    ------
    OutOfRange
        When a line lacks what its kind needs, or its minimum exceeds its maximum.
    NotDeterminable
        When the decision rule asks for the uncertainty of every run.

    Notes
    -----
    The verdicts of `envelopes.assess`; margins and reported figures are given there, run by
    run.

    References
    ----------
    As for `envelopes.assess`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([75], [[470.0, 30.0], [480.0, 20.0]], [500.0, 500.0])
    >>> line = EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5))
    >>> [each.value for each in assess_many(g, [line]).outcomes]
    ['does_not_conform', 'conforms']
    """
    chosen = rule or AssessmentRule()
    spans = [inside_span(line, chosen) for line in lines]
    return verdicts_within(gradation, lines, spans, chosen, characteristics or {})


def verdicts_within(
    gradation: Gradation,
    lines: Sequence[EnvelopeLine],
    spans: Sequence[InsideSpan],
    rule: AssessmentRule,
    characteristics: Mapping[str, FloatArray],
) -> EnvelopeVerdicts:
    """Give the verdicts when the spans of the lines are known already.

    Parameters
    ----------
    gradation : Gradation
        One run or a batch.
    lines : sequence of EnvelopeLine
        As for `assess_many`.
    spans : sequence of InsideSpan
        What each line accepts, by `inside_span` with the same rule.
    rule : AssessmentRule
        Missing apertures and interpolation.
    characteristics : mapping
        Characteristic values (...) by name; NaN where not determinable.

    Returns
    -------
    EnvelopeVerdicts
        Arrays (..., l) in the order of the lines.

    Raises
    ------
    OutOfRange
        When there are not as many spans as lines.

    Notes
    -----
    For a long batch that is worked through in pieces.

    References
    ----------
    As for `envelopes.assess`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([75], [470.0, 30.0], 500.0)
    >>> line = EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5))
    >>> verdicts_within(g, [line], [InsideSpan(0.0, 5.5)], AssessmentRule(), {}).is_inside.item()
    False
    """
    if len(lines) != len(spans):
        raise OutOfRange(f"{len(lines)} lines need as many spans, but {len(spans)} were given.")
    shape = (len(lines), *gradation.passing.shape[:-1])
    is_inside, is_tested = np.empty(shape, np.bool_), np.empty(shape, np.bool_)
    numbers = _numbers(gradation, lines, rule, characteristics)
    for place, (number, span) in enumerate(zip(numbers, spans, strict=True)):
        is_tested[place] = ~np.isnan(number)
        is_inside[place] = (number >= span.least) & (number <= span.most)
    return EnvelopeVerdicts(np.moveaxis(is_inside, 0, -1), np.moveaxis(is_tested, 0, -1))


def _numbers(
    gradation: Gradation,
    lines: Sequence[EnvelopeLine],
    rule: AssessmentRule,
    characteristics: Mapping[str, FloatArray],
) -> list[FloatArray]:
    """The number each line looks at, (...); NaN where not tested."""
    asked = sorted({float(size) for line in lines for size in _apertures(line)})
    passing_pct = {}
    if asked:
        nest = gradation.apertures_um
        found = passing_at_size(nest, gradation.passing, asked, rule.interpolation)
        columns = 100.0 * np.moveaxis(found, -1, 0)
        passing_pct = dict(zip(asked, columns, strict=True))
        if rule.missing is MissingAperture.NOT_TESTED:
            passing_pct.update({each: columns[0] * np.nan for each in asked if each not in nest})
    unknown = np.full(gradation.passing.shape[:-1], np.nan)
    numbers = []
    for line in lines:
        if line.kind is LineKind.CHARACTERISTIC:
            numbers.append(characteristics.get(line.characteristic, unknown))
        else:
            first, *finer = (passing_pct[float(size)] for size in _apertures(line))
            numbers.append(first - finer[0] if finer else first)
    return numbers


def _apertures(line: EnvelopeLine) -> list[Decimal]:
    """The apertures whose passing a line looks at."""
    if line.kind is LineKind.CHARACTERISTIC:
        return []
    asked = (line.aperture_um, line.finer_um if line.kind is LineKind.BETWEEN else None)
    return [size for size in asked if size is not None]
