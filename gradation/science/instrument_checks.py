"""Checks of instruments against a limit: each gives a verdict, a sentence and its findings.

Public: `Finding`, `CheckVerdict`, `check_visual`, `check_weights`, `check_shaker`,
`check_temperature`, `check_halves`, `check_against_master`, and what they take: `CheckWeight`,
`ShakerFigures`. A deviation that is exactly at its limit is inside. Limits are the laboratory's
own: nothing here says what they should be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gradation.science.errors import Impossible, OutOfRange
from gradation.science.quantities import as_typed


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: the sentence that says what was found, and whether it is in order."""

    text: str
    ok: bool


@dataclass(frozen=True, slots=True)
class CheckVerdict:
    """What a check comes to.

    Parameters
    ----------
    passed : bool
        whether every finding is in order
    sentence : str
        the verdict in words
    findings : tuple of Finding
        each thing looked at
    error_pct : Decimal | None
        greatest relative error of a balance's reading, with its sign [%]; None for other checks
    """

    passed: bool
    sentence: str
    findings: tuple[Finding, ...]
    error_pct: Decimal | None = None


@dataclass(frozen=True, slots=True)
class CheckWeight:
    """One check-weight on a balance: its mass, what was read, and what deviation is permitted [g].

    `nominal_g` is the mass that its certificate states, or its nominal one.
    """

    nominal_g: Decimal
    reading_g: Decimal
    limit_g: Decimal


@dataclass(frozen=True, slots=True)
class ShakerFigures:
    """Amplitude [mm] and timer [s] of a shaker: found, wanted, permitted deviation; either or both.

    A pair that was not looked at has None in all three places.
    """

    amplitude_mm: Decimal | None = None
    set_amplitude_mm: Decimal | None = None
    tolerance_mm: Decimal | None = None
    timer_s: Decimal | None = None
    reference_s: Decimal | None = None
    timer_limit_s: Decimal | None = None


def check_visual(items: Mapping[str, bool]) -> CheckVerdict:
    """Verdict on a look at an item by a list.

    Parameters
    ----------
    items : mapping of str to bool
        what was looked at, and whether it is in order; at least one

    Returns
    -------
    CheckVerdict
        passed when everything is in order

    Raises
    ------
    Impossible
        when nothing was looked at

    Notes
    -----
    What was not looked at does not stand in the list; it is not taken as in order.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> check_visual({"cloth taut": True, "no torn wire": False}).sentence
    'Not in order: “no torn wire”.'
    """
    if not items:
        raise Impossible("Nothing was looked at. Tick each item of the list.")
    findings = tuple(Finding(name, ok) for name, ok in items.items())
    bad = [f"“{name}”" for name, ok in items.items() if not ok]
    sentence = f"Not in order: {', '.join(bad)}." if bad else f"In order: {', '.join(items)}."
    return CheckVerdict(not bad, sentence, findings)


def check_weights(weights: Sequence[CheckWeight]) -> CheckVerdict:
    """Verdict on a balance from its readings of check-weights.

    Parameters
    ----------
    weights : sequence of CheckWeight, (k,)
        each weight's mass, reading and permitted deviation [g]; mass > 0, limit >= 0, k >= 1

    Returns
    -------
    CheckVerdict
        passed when every deviation is within its limit; with the greatest relative error [%]

    Raises
    ------
    Impossible
        when there is no weight
    OutOfRange
        for a mass that is not above zero, or a negative limit

    Notes
    -----
    Deviation = reading - mass; inside when its size is at most the limit. Exact decimals, so that a
    deviation at the limit is at the limit. Relative error = deviation / mass.

    References
    ----------
    Common practice of daily balance checks; the limits are the laboratory's own.

    Examples
    --------
    >>> one = CheckWeight(Decimal("200"), Decimal("200.03"), Decimal("0.02"))
    >>> check_weights([one]).sentence
    'Outside: 200 g read as 200.03 g, off by +0.03 g, permitted ±0.02 g.'
    """
    if not weights:
        raise Impossible("No check-weight was put on. Enter at least one.")
    findings = tuple(_weight_finding(weight) for weight in weights)
    worst = max(weights, key=lambda one: abs(one.reading_g - one.nominal_g) / one.nominal_g)
    error_pct = (worst.reading_g - worst.nominal_g) / worst.nominal_g * 100
    return _verdict(findings, error_pct=error_pct)


def _weight_finding(weight: CheckWeight) -> Finding:
    if weight.nominal_g <= 0 or weight.limit_g < 0:
        raise OutOfRange("A check-weight has a mass above zero and a limit not below it.")
    off = weight.reading_g - weight.nominal_g
    return Finding(
        f"{as_typed(weight.nominal_g)} g read as {as_typed(weight.reading_g)} g, off by "
        f"{_signed(off)} g, permitted ±{as_typed(weight.limit_g)} g",
        abs(off) <= weight.limit_g,
    )


def check_shaker(figures: ShakerFigures) -> CheckVerdict:
    """Verdict on a shaker, or on a timer alone.

    Parameters
    ----------
    figures : ShakerFigures
        amplitude [mm], timer [s] or both, with what was wanted and is permitted

    Returns
    -------
    CheckVerdict
        passed when what was looked at is within its limits

    Raises
    ------
    Impossible
        when neither was looked at, or one of the three figures of a pair is missing
    OutOfRange
        for a negative figure

    Notes
    -----
    Amplitudes are compared as given: peak to peak with peak to peak.

    References
    ----------
    Common practice; the tolerances are the laboratory's own.

    Examples
    --------
    >>> figures = ShakerFigures(Decimal("1.52"), Decimal("1.5"), Decimal("0.1"))
    >>> check_shaker(figures).sentence
    'In order: amplitude 1.52 mm, wanted 1.5 mm, off by +0.02 mm, permitted ±0.1 mm.'
    """
    pairs = (
        ("amplitude", "mm", figures.amplitude_mm, figures.set_amplitude_mm, figures.tolerance_mm),
        ("timer", "s", figures.timer_s, figures.reference_s, figures.timer_limit_s),
    )
    findings = []
    for name, unit, found, wanted, limit in pairs:
        if found is None and wanted is None and limit is None:
            continue
        if found is None or wanted is None or limit is None:
            raise Impossible(f"The {name} needs three figures: found, wanted, permitted deviation.")
        if min(found, wanted, limit) < 0:
            raise OutOfRange(f"The {name} and its limit cannot be negative.")
        findings.append(_beside(name, unit, (found, wanted, limit)))
    if not findings:
        raise Impossible("Neither amplitude nor timer was looked at. Enter one of them.")
    return _verdict(tuple(findings))


def check_temperature(set_c: Decimal, found_c: Decimal, tolerance_c: Decimal) -> CheckVerdict:
    """Verdict on an oven or thermometer at one temperature.

    Parameters
    ----------
    set_c, found_c : Decimal
        temperature wanted, and found with the reference thermometer [°C]
    tolerance_c : Decimal
        permitted deviation to either side [K], >= 0

    Returns
    -------
    CheckVerdict
        passed when the deviation is within the tolerance

    Raises
    ------
    OutOfRange
        for a negative tolerance

    Notes
    -----
    One place and one time: how even an oven is takes several such checks.

    References
    ----------
    ASTM C136/C136M: aggregates dry at 110 ± 5 °C (from memory); the check is common practice.

    Examples
    --------
    >>> check_temperature(Decimal(110), Decimal("116.5"), Decimal(5)).passed
    False
    """
    if tolerance_c < 0:
        raise OutOfRange("A tolerance cannot be negative (°C).")
    return _verdict((_beside("temperature", "°C", (found_c, set_c, tolerance_c)),))


def check_halves(left_g: Decimal, right_g: Decimal, limit_pct: Decimal) -> CheckVerdict:
    """Verdict on a divider from the two halves it gave.

    Parameters
    ----------
    left_g, right_g : Decimal
        masses of the halves [g], >= 0, not both zero
    limit_pct : Decimal
        permitted difference of the halves, in % of their mean, >= 0

    Returns
    -------
    CheckVerdict
        passed when the difference is within the limit

    Raises
    ------
    Impossible
        when both halves are empty
    OutOfRange
        for a negative mass or limit

    Notes
    -----
    Difference = |left - right| / ((left + right) / 2). Equal masses do not show equal gradations;
    that takes sieving of both halves.

    References
    ----------
    Common practice; the limit is the laboratory's own.

    Examples
    --------
    >>> check_halves(Decimal(1010), Decimal(990), Decimal(2)).passed
    True
    """
    if min(left_g, right_g, limit_pct) < 0:
        raise OutOfRange("Masses of the halves and their limit cannot be negative.")
    if left_g + right_g == 0:
        raise Impossible("Both halves are empty. Weigh what the divider gave on each side.")
    difference_pct = abs(left_g - right_g) / ((left_g + right_g) / 2) * 100
    text = (
        f"{as_typed(left_g)} g and {as_typed(right_g)} g differ by {difference_pct:.2f} % of their "
        f"mean, permitted {as_typed(limit_pct)} %"
    )
    return _verdict((Finding(text, difference_pct <= limit_pct),))


def check_against_master(
    this_passing_pct: Decimal, master_passing_pct: Decimal, limit_pct: Decimal
) -> CheckVerdict:
    """Verdict on a sieve from split portions sieved on it and on a master sieve.

    Parameters
    ----------
    this_passing_pct, master_passing_pct : Decimal
        passing of the two portions [%], 0 to 100
    limit_pct : Decimal
        permitted difference [% passing], >= 0

    Returns
    -------
    CheckVerdict
        passed when the difference is within the limit

    Raises
    ------
    OutOfRange
        for a passing outside 0 to 100 %, or a negative limit

    Notes
    -----
    The difference holds the division of the portions too, so the limit cannot be smaller than what
    two portions on one sieve differ by.

    References
    ----------
    ASTM E2427 (the user sets the tolerance from the own material; from memory).

    Examples
    --------
    >>> check_against_master(Decimal("48.2"), Decimal("47.1"), Decimal("1.5")).passed
    True
    """
    if not all(0 <= value <= 100 for value in (this_passing_pct, master_passing_pct)):
        raise OutOfRange("A passing lies between 0 and 100 %. Check what was typed.")
    if limit_pct < 0:
        raise OutOfRange("The permitted difference cannot be negative (% passing).")
    off = this_passing_pct - master_passing_pct
    text = (
        f"passing {as_typed(this_passing_pct)} %, on the master sieve "
        f"{as_typed(master_passing_pct)} %, off by {_signed(off)} %, permitted "
        f"±{as_typed(limit_pct)} %"
    )
    return _verdict((Finding(text, abs(off) <= limit_pct),))


def _beside(name: str, unit: str, figures: tuple[Decimal, Decimal, Decimal]) -> Finding:
    """One value beside the one wanted and its permitted deviation."""
    found, wanted, limit = figures
    off = found - wanted
    text = (
        f"{name} {as_typed(found)} {unit}, wanted {as_typed(wanted)} {unit}, off by {_signed(off)} "
        f"{unit}, permitted ±{as_typed(limit)} {unit}"
    )
    return Finding(text, abs(off) <= limit)


def _signed(off: Decimal) -> str:
    """Write a deviation with its sign, as printed: a true minus, none for zero."""
    return f"{abs(off):f}" if off == 0 else f"{off:+f}".replace("-", "\N{MINUS SIGN}")


def _verdict(findings: tuple[Finding, ...], error_pct: Decimal | None = None) -> CheckVerdict:
    outside = [finding.text for finding in findings if not finding.ok]
    said = outside or [finding.text for finding in findings]
    sentence = f"{'Outside' if outside else 'In order'}: {'; '.join(said)}."
    return CheckVerdict(not outside, sentence, findings, error_pct)
