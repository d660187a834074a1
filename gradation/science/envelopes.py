"""Comparison of a gradation with a specification: limits, margins, outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from gradation.science.apertures import designation
from gradation.science.decisions import Decisions, Limits, Rule, decide
from gradation.science.decisions import Outcome as Decided
from gradation.science.envelope_form import (
    WHOLE_PCT,
    Assessment,
    AssessmentRule,
    CompareWith,
    EnvelopeLine,
    LineKind,
    LineVerdict,
    MissingAperture,
    Outcome,
    check_line,
)
from gradation.science.gradation import Gradation
from gradation.science.percentiles import passing_at_size
from gradation.science.rounding import (
    NOISE_DECIMALS,
    Rounding,
    reported_passing,
    round_reported,
)

__all__ = [
    "Assessment",
    "AssessmentRule",
    "CompareWith",
    "EnvelopeLine",
    "LineKind",
    "LineVerdict",
    "MissingAperture",
    "Outcome",
    "assess",
    "assess_values",
    "check_line",
    "compared_figure",
    "is_within",
]

_STATEMENTS = {
    Decided.CONFORMS: Outcome.CONFORMS,
    Decided.DOES_NOT_CONFORM: Outcome.DOES_NOT_CONFORM,
    Decided.NOT_DECIDABLE: Outcome.NOT_DECIDABLE,
}


def assess(
    gradation: Gradation,
    lines: Sequence[EnvelopeLine],
    rule: AssessmentRule | None = None,
    characteristics: Mapping[str, float | None] | None = None,
    standard: Sequence[float | None] | None = None,
) -> Assessment:
    """Give the comparison of one run with the lines of a specification.

    Parameters
    ----------
    gradation : Gradation
        One run.
    lines : sequence of EnvelopeLine
        Limits [%], or in the unit of the characteristic value.
    rule : AssessmentRule, optional
        Missing apertures, interpolation, rounded or unrounded comparison, rounding.
    characteristics : mapping, optional
        Characteristic values by name; None where not determinable.
    standard : sequence of float or None, optional
        Standard uncertainty of each line's value, in the line's unit; None where not known.

    Returns
    -------
    Assessment
        Verdicts in the order of the lines, and the outcome.

    Raises
    ------
    OutOfRange
        When a line lacks what its kind needs, its minimum exceeds its maximum, or an
        uncertainty is negative.

    Notes
    -----
    A value equal to a limit is inside unless the line is not inclusive. The outcome is
    `does_not_conform` when any tested line is outside, else `not_determined` when any line
    was not tested, else `not_decidable` when any line is, else `conforms`; without lines it
    is `not_determined`.

    Under plain acceptance a line conforms when it is inside. Under a guard band or a
    conformance probability `decide` says so from the compared value and its uncertainty; a
    limit that cannot be broken is left out there, since no true percentage lies beyond it.
    A line whose uncertainty is not known is then not decidable. A percentage that must be
    exactly 100 or exactly 0 is compared as under plain acceptance, without a probability.

    `retained` is 100 minus passing; `between` is passing of the coarser minus passing of
    the finer aperture, both unrounded, and the difference is rounded. A line that touches an
    aperture outside the nest is marked interpolated, or not tested when the rule says so or
    when the aperture lies outside the measured range and is not certain.

    The margin is value minus minimum or maximum minus value, whichever is smaller. A minimum
    of 0 % or a maximum of 100 % cannot be broken and gives no margin.

    The compared value is the reported one by default. Whenever the unrounded value would
    have come out differently, `is_moved_by_rounding` says so. Characteristic values are
    compared unrounded unless a limit has decimals: then rounded to the limit's decimals. A
    line's own `decimals` go before those of the procedure and of the limits.

    References
    ----------
    ASTM E29, 4-7 (rounding method and absolute method; from memory); FHWA course example of
    a value on its limit (tests/published); JCGM 106:2012, 8.2 and 8.3 (decision rules).

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([4750, 2360], [15.0, 85.0, 400.0], 500.0)
    >>> line = EnvelopeLine(aperture_um=Decimal(4750), minimum=Decimal(95), maximum=Decimal(100))
    >>> a = assess(g, [line])
    >>> a.outcome.value, a.lines[0].margin
    ('conforms', Decimal('2'))
    """
    chosen = rule or AssessmentRule()
    values = characteristics or {}
    known = standard if standard is not None else [None] * len(lines)
    verdicts = tuple(
        _decided(_judge(gradation, line, chosen, values), chosen, u)
        for line, u in zip(lines, known, strict=True)
    )
    return Assessment(_outcome(verdicts), verdicts)


def assess_values(
    values: Sequence[float | None],
    lines: Sequence[EnvelopeLine],
    rule: AssessmentRule | None = None,
    standard: Sequence[float | None] | None = None,
) -> Assessment:
    """Give the comparison of values already known, such as means, with their lines.

    Parameters
    ----------
    values : sequence of float or None
        unrounded value of each line in the line's unit (as `LineVerdict.value`); None where
        it was not tested
    lines : sequence of EnvelopeLine
        limits, in % or in the unit of the characteristic value
    rule : AssessmentRule, optional
        rounding, rounded or unrounded comparison, decision rule
    standard : sequence of float or None, optional
        standard uncertainty of each value, in the line's unit

    Returns
    -------
    Assessment
        as `assess` gives it; nothing is marked as interpolated

    Raises
    ------
    OutOfRange
        when a line cannot be compared

    Notes
    -----
    The same figures are compared in the same way as in `assess`.

    References
    ----------
    As `assess`.

    Examples
    --------
    >>> line = EnvelopeLine(aperture_um=Decimal(600), maximum=Decimal(60))
    >>> assess_values([60.4], [line]).outcome.value
    'conforms'
    """
    chosen = rule or AssessmentRule()
    known = standard if standard is not None else [None] * len(lines)
    verdicts = tuple(
        _decided(_of_value(line, value, chosen), chosen, u)
        for line, value, u in zip(lines, values, known, strict=True)
    )
    return Assessment(_outcome(verdicts), verdicts)


def _of_value(line: EnvelopeLine, value: float | None, rule: AssessmentRule) -> LineVerdict:
    """The verdict on a value that is known in the line's unit."""
    check_line(line)
    if value is None:
        return _against(line, _Found(None, reason="There is no value to compare."), rule)
    is_rest = line.kind is LineKind.RETAINED  # `_reported` takes passing for every percentage
    return _against(line, _reported(line, 100.0 - value if is_rest else value, rule), rule)


def _outcome(verdicts: Sequence[LineVerdict]) -> Outcome:
    """The outcome over all lines."""
    found = {verdict.outcome for verdict in verdicts} or {Outcome.NOT_DETERMINED}
    worst_first = (Outcome.DOES_NOT_CONFORM, Outcome.NOT_DETERMINED, Outcome.NOT_DECIDABLE)
    return next((each for each in worst_first if each in found), Outcome.CONFORMS)


def _decided(verdict: LineVerdict, rule: AssessmentRule, standard: float | None) -> LineVerdict:
    """The verdict with its statement of conformity under the rule agreed."""
    if verdict.value is None:
        return verdict
    is_plain = rule.decision.rule is Rule.PLAIN or _is_met_exactly_only(verdict)
    plain = Outcome.CONFORMS if verdict.is_inside else Outcome.DOES_NOT_CONFORM
    if standard is None:
        is_open = not is_plain and _breakable(verdict) != (None, None)
        said = "Its uncertainty is not known, so it cannot be decided." if is_open else ""
        return replace(verdict, outcome=Outcome.NOT_DECIDABLE if is_open else plain, reason=said)
    if _is_met_exactly_only(verdict):
        return replace(verdict, outcome=plain, standard=standard)
    found = _decision(verdict, rule, standard)
    outcome = plain if is_plain else _STATEMENTS[Decided(found.outcomes.item())]
    return replace(
        verdict, outcome=outcome, standard=standard, probability=float(found.probability)
    )


def _is_met_exactly_only(verdict: LineVerdict) -> bool:
    """Say whether a percentage keeps its limit at one figure alone: 100 %, or nothing at all.

    No uncertainty fits into such a limit, and half of any distribution about it would lie where
    no percentage can be: the reported figure decides, and no probability is stated.
    """
    if verdict.line.kind is LineKind.CHARACTERISTIC:
        return False
    low, high = verdict.minimum, verdict.maximum
    return (low is not None and low >= WHOLE_PCT) or (high is not None and high <= 0)


def _decision(verdict: LineVerdict, rule: AssessmentRule, standard: float) -> Decisions:
    """What the decision rule says of the compared value."""
    low, high = _breakable(verdict)
    inclusive = verdict.line.is_inclusive
    limits = Limits(
        None if low is None else float(low), None if high is None else float(high),
        lower_inclusive=inclusive, upper_inclusive=inclusive,
    )  # fmt: skip
    compared = _compared(_Found(verdict.value, verdict.reported), rule)
    return decide(float(compared or 0), standard, limits, rule.decision)


def _breakable(verdict: LineVerdict) -> tuple[Decimal | None, Decimal | None]:
    """The limits that a true value could break."""
    low, high = verdict.minimum, verdict.maximum
    if verdict.line.kind is LineKind.CHARACTERISTIC:
        return low, high
    return (
        None if low is not None and low <= 0 else low,
        None if high is not None and high >= WHOLE_PCT else high,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """The value a line looks at, before it is compared."""

    value: float | None
    reported: Decimal | None = None
    is_interpolated: bool = False
    reason: str = ""


def _judge(
    gradation: Gradation,
    line: EnvelopeLine,
    rule: AssessmentRule,
    values: Mapping[str, float | None],
) -> LineVerdict:
    """The verdict on one line."""
    check_line(line)
    if line.kind is LineKind.CHARACTERISTIC:
        return _against(line, _characteristic(line, values), rule)
    return _against(line, _percentage(gradation, line, rule), rule)


def _against(line: EnvelopeLine, found: _Found, rule: AssessmentRule) -> LineVerdict:
    """What was found, held against the limits of its line."""
    low, high = line.limits()
    compared = _compared(found, rule)
    margin, nearer = _margin(compared, line, low, high)
    inside = _is_inside(compared, line)
    exact = None if found.value is None else _exact(found.value)
    return LineVerdict(
        line=line,
        value=found.value,
        reported=found.reported,
        minimum=low,
        maximum=high,
        margin=margin,
        nearer_limit=nearer,
        is_inside=inside,
        is_interpolated=found.is_interpolated,
        is_moved_by_rounding=_is_inside(found.reported, line) != _is_inside(exact, line),
        reason=found.reason,
    )


def _characteristic(line: EnvelopeLine, values: Mapping[str, float | None]) -> _Found:
    """The characteristic value a line looks at."""
    value = values.get(line.characteristic)
    if value is None:
        return _Found(None, reason=f"{line.characteristic} could not be determined.")
    return _reported(line, value, AssessmentRule())


def _percentage(gradation: Gradation, line: EnvelopeLine, rule: AssessmentRule) -> _Found:
    """The percentage a line looks at."""
    asked = [each for each in (line.aperture_um, line.finer_um) if each is not None]
    apertures = asked if line.kind is LineKind.BETWEEN else asked[:1]
    nest = gradation.apertures_um.tolist()
    outside = [each for each in apertures if float(each) not in nest]
    if outside and rule.missing is MissingAperture.NOT_TESTED:
        return _Found(None, reason=f"{designation(outside[0])} is not in the nest.")
    if outside:
        sizes_um = [float(each) for each in apertures]
        shares = passing_at_size(
            gradation.apertures_um, gradation.passing, sizes_um, rule.interpolation
        )
    else:
        shares = gradation.passing[[nest.index(float(each)) for each in apertures]]
    passing_pct = [100.0 * share for share in shares.tolist()]
    if any(each != each for each in passing_pct):  # NaN is the only value unlike itself
        return _Found(
            None, reason=f"{designation(outside[0])} lies outside the sieves of the nest."
        )
    return _reported_percentage(line, passing_pct, rule, bool(outside))


def _reported_percentage(
    line: EnvelopeLine, passing_pct: Sequence[float], rule: AssessmentRule, is_interpolated: bool
) -> _Found:
    """The percentage of the line's kind, unrounded and as reported."""
    if line.kind is LineKind.BETWEEN:
        return _reported(line, passing_pct[0] - passing_pct[1], rule, is_interpolated)
    return _reported(line, passing_pct[0], rule, is_interpolated)


def _reported(
    line: EnvelopeLine, number: float, rule: AssessmentRule, is_interpolated: bool = False
) -> _Found:
    """What a line finds in the passing, the difference of two, or the characteristic value."""
    if line.kind is LineKind.CHARACTERISTIC:
        return _Found(number, _reported_value(line, number))
    rounding = rule.rounding if line.decimals is None else _own(line.decimals, rule.rounding)
    if line.kind is LineKind.BETWEEN:
        reported = round_reported(number, rounding.passing_decimals, rounding.mode)
        return _Found(number, reported, is_interpolated)
    reported = reported_passing(number, rounding, line.aperture_um)
    if line.kind is LineKind.RETAINED:
        return _Found(100.0 - number, WHOLE_PCT - reported, is_interpolated)
    return _Found(number, reported, is_interpolated)


def _reported_value(line: EnvelopeLine, number: float) -> Decimal:
    """A characteristic value with the line's own decimals, or those its limits are written with."""
    if line.decimals is not None:
        return round_reported(number, line.decimals)
    decimals = max((_decimals(limit) for limit in line.limits() if limit is not None), default=0)
    return round_reported(number, decimals) if decimals else _exact(number)


def _own(decimals: int, rounding: Rounding) -> Rounding:
    """The procedure's rounding with the decimals a line of the specification asks for."""
    return Rounding(decimals, rounding.mode)


def compared_figure(line: EnvelopeLine, number: float, rule: AssessmentRule) -> Decimal:
    """Give the figure that a line holds against its limits.

    Parameters
    ----------
    line : EnvelopeLine
        A line that can be compared.
    number : float
        Passing [%] at the line's aperture, unrounded; for a `between` line the passing of
        the coarser minus that of the finer aperture; else the characteristic value. Finite.
    rule : AssessmentRule
        Rounded or unrounded comparison, and rounding.

    Returns
    -------
    Decimal
        Never falls while `number` rises; for a `retained` line it never rises.

    Raises
    ------
    NotDeterminable
        When the number is NaN or infinite.

    Notes
    -----
    As in `assess`, which looks at every line through this figure.

    References
    ----------
    ASTM E29, 4-7 (rounding method and absolute method; from memory).

    Examples
    --------
    >>> line = EnvelopeLine(LineKind.RETAINED, Decimal(75), minimum=Decimal(90))
    >>> compared_figure(line, 4.4, AssessmentRule())
    Decimal('96')
    """
    found = _reported(line, number, rule)
    if rule.compare is CompareWith.REPORTED and found.reported is not None:
        return found.reported
    return _exact(number if found.value is None else found.value)


def _compared(found: _Found, rule: AssessmentRule) -> Decimal | None:
    """The figure that meets the limits."""
    if found.value is None or rule.compare is CompareWith.REPORTED:
        return found.reported
    return _exact(found.value)


def _is_inside(value: Decimal | None, line: EnvelopeLine) -> bool | None:
    """Whether a value keeps both limits; None without a value."""
    if value is None:
        return None
    low, high = line.limits()
    if line.is_inclusive:
        return (low is None or value >= low) and (high is None or value <= high)
    return (low is None or value > low) and (high is None or value < high)


def is_within(value: Decimal, line: EnvelopeLine) -> bool:
    """Give whether a figure keeps the limits of a line.

    Parameters
    ----------
    value : Decimal
        Figure in the line's unit, as it is compared.
    line : EnvelopeLine
        A line that can be compared.

    Returns
    -------
    bool
        A figure on a limit is within it unless the line is not inclusive.

    Raises
    ------
    Nothing
        The line was checked before.

    Notes
    -----
    As `assess` judges a line under plain acceptance.

    References
    ----------
    Common practice: a limit written 0-5 includes 5.

    Examples
    --------
    >>> is_within(Decimal(5), EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5)))
    True
    """
    return bool(_is_inside(value, line))


def _margin(
    value: Decimal | None, line: EnvelopeLine, low: Decimal | None, high: Decimal | None
) -> tuple[Decimal | None, str]:
    """Distance to the nearer limit that can be broken, and its name."""
    is_percentage = line.kind is not LineKind.CHARACTERISTIC
    margins: list[tuple[Decimal, str]] = []
    if value is not None and low is not None and not (is_percentage and low <= 0):
        margins.append((value - low, "minimum"))
    if value is not None and high is not None and not (is_percentage and high >= WHOLE_PCT):
        margins.append((high - value, "maximum"))
    return min(margins) if margins else (None, "")


def _exact(value: float) -> Decimal:
    """An unrounded value as a decimal free of binary noise."""
    return Decimal(f"{value:.{NOISE_DECIMALS}f}").normalize()


def _decimals(limit: Decimal) -> int:
    """Decimals a limit was written with."""
    exponent = limit.as_tuple().exponent
    return max(-exponent, 0) if isinstance(exponent, int) else 0
