"""What a specification says, how it is compared, and what the comparison found."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from gradation.science.decisions import DecisionRule
from gradation.science.errors import OutOfRange
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import Rounding

WHOLE_PCT = Decimal(100)


class LineKind(StrEnum):
    """What a line of a specification limits."""

    PASSING = "passing"
    """Percentage passing an aperture."""
    RETAINED = "retained"
    """Percentage coarser than an aperture (cumulative)."""
    BETWEEN = "between"
    """Percentage passing one aperture and retained on a finer one."""
    CHARACTERISTIC = "characteristic"
    """A characteristic value by its name, in its own unit."""


class MissingAperture(StrEnum):
    """What happens when a line's aperture is not in the nest."""

    INTERPOLATE = "interpolate"
    NOT_TESTED = "not_tested"


class CompareWith(StrEnum):
    """Which figure meets the limit."""

    REPORTED = "reported"
    """The rounded figure on the certificate (ASTM E29, rounding method)."""
    UNROUNDED = "unrounded"
    """The full figure (ASTM E29, absolute method)."""


class Outcome(StrEnum):
    """What the comparison as a whole says."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    NOT_DETERMINED = "not_determined"
    """A line was not tested, or there is none."""
    NOT_DECIDABLE = "not_decidable"
    """The uncertainty leaves the decision open at the confidence of the rule."""


@dataclass(frozen=True, slots=True)
class EnvelopeLine:
    """One line of a specification; percentages for all kinds but `characteristic`."""

    kind: LineKind = LineKind.PASSING
    aperture_um: Decimal | None = None
    finer_um: Decimal | None = None
    """The finer aperture of a `between` line."""
    characteristic: str = ""
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    target: Decimal | None = None
    tolerance: Decimal | None = None
    is_inclusive: bool = True
    """Whether a value equal to a limit is inside."""
    decimals: int | None = None
    """Decimals the value is reported and compared with; None: as the procedure reports."""

    def limits(self) -> tuple[Decimal | None, Decimal | None]:
        """The limits in force: the stated ones, narrowed by target and tolerance.

        Percentages from target and tolerance are capped at 0 and 100.
        """
        low, high = self.minimum, self.maximum
        if self.target is None or self.tolerance is None:
            return low, high
        around = self.target - self.tolerance, self.target + self.tolerance
        if self.kind is not LineKind.CHARACTERISTIC:
            around = max(around[0], Decimal(0)), min(around[1], WHOLE_PCT)
        return (
            around[0] if low is None else max(low, around[0]),
            around[1] if high is None else min(high, around[1]),
        )


@dataclass(frozen=True, slots=True)
class AssessmentRule:
    """How lines are compared."""

    missing: MissingAperture = MissingAperture.INTERPOLATE
    interpolation: Interpolation = Interpolation.LOG_LINEAR
    compare: CompareWith = CompareWith.REPORTED
    rounding: Rounding = field(default_factory=Rounding)
    decision: DecisionRule = field(default_factory=DecisionRule)
    """How the uncertainty enters the verdict; plain acceptance leaves it out."""


@dataclass(frozen=True, slots=True)
class LineVerdict:
    """What one line of the specification found."""

    line: EnvelopeLine
    value: float | None
    """Unrounded value in the line's unit; None when not tested."""
    reported: Decimal | None
    """The value as reported; None when not tested."""
    minimum: Decimal | None
    maximum: Decimal | None
    margin: Decimal | None
    """Distance to the nearer limit that can be broken: positive inside, negative outside."""
    nearer_limit: str
    """'minimum', 'maximum', or '' without a limit that can be broken."""
    is_inside: bool | None
    """None when not tested."""
    is_interpolated: bool
    is_moved_by_rounding: bool
    """Whether the rounded and the unrounded value fall on different sides of a limit."""
    reason: str
    """Why the line was not tested, or why it cannot be decided."""
    outcome: Outcome = Outcome.NOT_DETERMINED
    """The statement of conformity under the rule agreed."""
    standard: float | None = None
    """Standard uncertainty of the value, in the line's unit; None when not known."""
    probability: float | None = None
    """Probability that the true value keeps the limits; None without an uncertainty."""

    @property
    def is_tested(self) -> bool:
        """Whether there is a value to compare."""
        return self.value is not None


@dataclass(frozen=True, slots=True)
class Assessment:
    """The outcome over all lines."""

    outcome: Outcome
    lines: tuple[LineVerdict, ...]

    @property
    def smallest_margin(self) -> LineVerdict | None:
        """The tested line nearest to, or furthest beyond, a limit."""
        tested = [line for line in self.lines if line.margin is not None]
        return min(tested, key=lambda line: line.margin or Decimal(0), default=None)


def check_line(line: EnvelopeLine) -> None:
    """Refuse a line that cannot be compared.

    Parameters
    ----------
    line : EnvelopeLine
        As entered.

    Returns
    -------
    None

    Raises
    ------
    OutOfRange
        When the aperture or name its kind needs is missing, the two apertures of a
        `between` line are not coarse and fine, there is no limit, or they are crossed.

    Notes
    -----
    Limits that only meet (100 to 100) are fine.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> check_line(EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5)))
    """
    if line.kind is LineKind.CHARACTERISTIC and not line.characteristic:
        raise OutOfRange("This line limits a characteristic value; say which one.")
    if line.kind is not LineKind.CHARACTERISTIC and line.aperture_um is None:
        raise OutOfRange("This line limits a percentage; say at which aperture.")
    if line.kind is LineKind.BETWEEN and not _is_coarse_then_fine(line):
        raise OutOfRange("A line between two sieves needs the coarser and then the finer one.")
    low, high = line.limits()
    if low is None and high is None:
        raise OutOfRange("This line has no limit. Enter a minimum, a maximum, or a target.")
    if low is not None and high is not None and low > high:
        raise OutOfRange(f"The minimum {low} is larger than the maximum {high}.")


def _is_coarse_then_fine(line: EnvelopeLine) -> bool:
    """Whether a `between` line has two apertures in order."""
    return (
        line.aperture_um is not None
        and line.finer_um is not None
        and line.finer_um < line.aperture_um
    )
