"""What a study is asked: one frozen shape for each kind, filled by forms and by the interface."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Any

from gradation.models import Material, Study

__all__ = [
    "BenchGroup",
    "BenchesAsked",
    "Cell",
    "Estimate",
    "Head",
    "LeftOut",
    "MethodsAsked",
    "Outcome",
    "Pair",
    "PrecisionAsked",
    "RoundAsked",
    "RoundResult",
    "StudyAsked",
    "TypedGradation",
]


@dataclass(frozen=True)
class Cell:
    """Results of one participant at one level; the runs they came from, if they are ours."""

    participant: str
    level: str
    results: tuple[Decimal, ...]
    runs: tuple[str, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """A cell that a person left out, and why."""

    participant: str
    level: str
    reason: str
    by: str
    at: str


@dataclass(frozen=True)
class PrecisionAsked:
    """A precision study: cells, and what was left out of them."""

    kind = Study.Kind.PRECISION
    cells: tuple[Cell, ...]
    participants_are: str = "laboratories"
    allows_unequal: bool = False
    left_out: tuple[LeftOut, ...] = ()


def refuse_far_aperture(aperture_um: Decimal, measured_um: Decimal) -> str:
    """Say why a figure is no measured aperture of a sieve; '' where it may be one."""
    if abs(measured_um - aperture_um) * 3 <= aperture_um:
        return ""
    return (
        f"{measured_um} µm is no measured aperture of a {aperture_um} µm sieve: it lies more than "
        "a third away."
    )


@dataclass(frozen=True)
class TypedGradation:
    """Passing at one aperture by another laboratory, a value for each of its portions."""

    aperture_um: Decimal
    passing_pct: tuple[Decimal, ...]
    measured_um: Decimal | None = None


@dataclass(frozen=True)
class BenchGroup:
    """One side of a comparison: runs of ours by their keys, or what another laboratory reported."""

    name: str
    runs: tuple[int, ...] = ()
    typed: tuple[TypedGradation, ...] = ()


@dataclass(frozen=True)
class BenchesAsked:
    """Two benches or laboratories on portions of one sample."""

    kind = Study.Kind.BENCHES
    first: BenchGroup
    second: BenchGroup


class Estimate(StrEnum):
    """Where the assigned value and the deviation of a round come from."""

    STATED = "stated"
    ALGORITHM_A = "algorithm_a"
    QUARTILES = "quartiles"


@dataclass(frozen=True)
class RoundResult:
    """What one participant of a round reported."""

    participant: str
    result: Decimal


@dataclass(frozen=True)
class RoundAsked:
    """A comparison round: our result, the assigned value, the results of all if known."""

    kind = Study.Kind.ROUND
    own: Decimal
    u_own: Decimal | None = None
    estimate: Estimate = Estimate.STATED
    assigned: Decimal | None = None
    deviation: Decimal | None = None
    u_assigned: Decimal | None = None
    results: tuple[RoundResult, ...] = ()


@dataclass(frozen=True)
class Pair:
    """Both methods on one sample."""

    sample: str
    first: Decimal
    second: Decimal


@dataclass(frozen=True)
class MethodsAsked:
    """Two methods on the same samples."""

    kind = Study.Kind.METHODS
    pairs: tuple[Pair, ...]
    first_method: str
    second_method: str
    variance_ratio: Decimal = Decimal(1)


StudyAsked = PrecisionAsked | BenchesAsked | RoundAsked | MethodsAsked


@dataclass(frozen=True)
class Head:
    """What every study says of itself."""

    title: str
    figure: str = ""
    material: Material | None = None
    valid_for: str = ""
    note: str = ""
    entered: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """A study worked out: what was asked of the calculation, what it answered, in one sentence."""

    inputs: dict[str, Any]
    figures: dict[str, Any]
    sentence: str
    signals: tuple[str, ...] = ()
    """What somebody must answer once the study is kept."""
